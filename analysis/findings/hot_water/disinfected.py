"""Days on which the cylinder was certainly or possibly disinfected.

A sensor in its pocket reads low, a programme may end its hold early, and readings that are missing may have
held the run: none of these days shows that the cylinder was left without.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C


class Gap(NamedTuple):
    """Days without a sure disinfection: how many count, their first and last index, and the most of them in a
    row on which none is possible either."""

    days: int
    first: int
    last: int
    plain_days: int


@dataclass(frozen=True)
class Disinfected:
    """Of all days, bool (n,) each.

    known : days that count as days without, were they so: the cylinder measured, somebody at home
    sure : held for as long as guidance asks. possible : sure, or within the sensor's error, or held for less
        time and still deadly to Legionella, or hidden by missing readings
    """

    known: Flags
    sure: Flags
    possible: Flags

    def gaps(self) -> list[Gap]:
        """Periods without a certain disinfection, in order; the last one extends to the end."""
        out, count, begin, stretch, longest = [], 0, 0, 0, 0
        last = len(self.known) - 1
        for i, known in enumerate(self.known):
            if self.sure[i]:
                out.append(Gap(count, begin, max(i - 1, begin), longest))
                count, begin, stretch, longest = 0, i + 1, 0, 0
                continue
            count += int(known)
            stretch = 0 if self.possible[i] else stretch + int(known)
            longest = max(longest, stretch)
        out.append(Gap(count, min(begin, last), last, longest))
        return out


def disinfected(context: Context, *, as_scheduled: bool) -> Disinfected:
    """Days with a disinfection.

    as_scheduled : a schedule below 60 °C counts as the site file has it; else only what kills Legionella
    """
    days, limit = context.all_days.days, context.limit
    plant, least = context.site.hot_water, limit("disinfection_minutes")
    measured, total = days.floats("minutes_tank_known"), days.floats("minutes_total")
    known = (measured >= 0.8 * total) & np.isin(days["day"], context.days["day"])
    dose = fill_nan(days.floats("disinfection_min"), 0.0)
    sure = dose >= least
    if as_scheduled and plant is not None and (plant.pasteurise_c or DISINFECTED_AT_C) < DISINFECTED_AT_C:
        sure |= fill_nan(days.floats("minutes_hot_enough"), 0.0) >= least
    most = fill_nan(days.floats("disinfection_most_min"), 0.0)
    hidden = total - fill_nan(measured, 0.0) >= least
    possible = sure | (most >= least) | (dose >= limit("disinfection_brief_minutes")) | hidden
    return Disinfected(*(np.asarray(flags, dtype=np.bool_) for flags in (known, sure, possible)))
