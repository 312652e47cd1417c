"""Days on which the cylinder was certainly or possibly disinfected.

A sensor in its pocket reads low, a programme may end its hold early, and readings that are missing may have
held the run: none of these days shows that the cylinder was left without.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C
from fieldfare.analysis.physics.water import KWH_PER_M3_K


class Gap(NamedTuple):
    """Days without a sure disinfection: how many count, their first and last index, and the most of them in a
    row on which none is possible either; unseen : runs among them that the sensor sits too low to see."""

    days: int
    first: int
    last: int
    plain_days: int
    unseen: int = 0


@dataclass(frozen=True)
class Disinfected:
    """Of all days, bool (n,) each.

    known : days that count as days without, were they so: the cylinder measured, somebody at home
    sure : held for as long as guidance asks. possible : sure, or within the sensor's error, or held for less
        time and still deadly to Legionella, or hidden by missing readings, or above the sensor
    unseen : the immersion heater ran for a disinfection that the sensor sits too low to see
    """

    known: Flags
    sure: Flags
    possible: Flags
    unseen: Flags

    def gaps(self) -> list[Gap]:
        """Periods without a certain disinfection, in order; the last one extends to the end."""
        out, count, begin, stretch, longest = [], 0, 0, 0, 0
        last = len(self.known) - 1
        for i, known in enumerate(self.known):
            if self.sure[i]:
                out.append(Gap(count, begin, max(i - 1, begin), longest, self._unseen(begin, i)))
                count, begin, stretch, longest = 0, i + 1, 0, 0
                continue
            count += int(known)
            stretch = 0 if self.possible[i] else stretch + int(known)
            longest = max(longest, stretch)
        out.append(Gap(count, min(begin, last), last, longest, self._unseen(begin, last + 1)))
        return out

    def _unseen(self, begin: int, end: int) -> int:
        return int(self.unseen[begin:end].sum())


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
    unseen = _above_sensor(context) & ~sure
    possible = sure | (most >= least) | (dose >= limit("disinfection_brief_minutes")) | hidden | unseen
    return Disinfected(*(np.asarray(flags, dtype=np.bool_) for flags in (known, sure, possible, unseen)))


def require_seen(gap: Gap, allowed_days: float) -> None:
    """Raises NotAssessed where runs of the immersion heater that the sensor does not see may have disinfected
    the store as often as it needs."""
    if gap.unseen and gap.plain_days <= allowed_days < gap.days:
        raise NotAssessed(
            f"the immersion heater ran {gap.unseen} times as for a disinfection, but the cylinder's sensor"
            " sits too low to see how hot the water above it got: read the heater's thermostat, or measure"
            " at the top; water below the heater is not disinfected by it",
            "not_enough_data",
        )


def _above_sensor(context: Context) -> Flags:
    """Days on which the immersion heater gave much of the heat that a disinfection of the whole store takes,
    while the sensor rose far less than so much heat warms the store: bool (n,).

    A heater that works on most days makes the daily hot water instead.
    """
    days, limit, plant = context.all_days.days, context.limit, context.site.hot_water
    out = np.zeros(len(days), dtype=np.bool_)
    if plant is None or plant.cylinder_litres is None or "immersion_from_c" not in days:
        return out
    per_k = plant.cylinder_litres * KWH_PER_M3_K / 1000.0
    heat, begun = days.floats("electricity_immersion_kwh"), days.floats("immersion_from_c")
    target = max(plant.pasteurise_c or DISINFECTED_AT_C, DISINFECTED_AT_C)
    enough = heat >= limit("disinfection_heater_share") * per_k * (target - begun)
    behind = days.floats("tank_max") - begun <= limit("sensor_sees_share") * heat / per_k
    worked = heat >= limit("immersion_day_kwh")
    if worked.sum() > limit("disinfection_heater_days") * max(np.isfinite(heat).sum(), 1):
        return out
    return np.asarray(enough & behind & worked & (begun < target), dtype=np.bool_)
