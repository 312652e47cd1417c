"""Whole days of one electricity meter with the weather, for homes without heat measurement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.minutes.rolling import true_runs

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

WHOLE_SHARE = 0.95
"""Share of a day's minutes that must be measured (common practice: a day with an hour missing is not
whole)."""


@dataclass(frozen=True)
class ElectricityDays:
    """Whole days of one meter, with weather.

    kwh, outdoor : float64 (n,), nan where the day is incomplete or left out. day : int64 (n,), days since
        1970
    meter : what the meter counts. filled : bool (n,), days of zeros in place of readings
    """

    kwh: Floats
    outdoor: Floats
    day: NDArray[np.int64]
    meter: str
    filled: Flags

    @property
    def known(self) -> Flags:
        """Days with both electricity and weather."""
        return np.isfinite(self.kwh + self.outdoor)


def electricity_days(days: Table) -> ElectricityDays:
    """Daily electricity of the plant, or of the whole house if only that is measured."""
    minutes = days.floats("minutes_total")
    used, known, meter = (
        days.floats("electricity_total_kwh"),
        days.floats("minutes_electricity_known"),
        "the heat pump's meter",
    )
    if not np.any(fill_nan(known, 0.0) > 0.0) and days.knows("electricity_house_kwh"):
        used, known, meter = (
            days.floats("electricity_house_kwh"),
            days.floats("minutes_house_known"),
            "the house's meter",
        )
    filled = filled_with_zeros(days)
    whole = (fill_nan(known, 0.0) >= WHOLE_SHARE * minutes) & ~filled
    number = days["day"].astype("datetime64[D]").astype(np.int64)
    return ElectricityDays(np.where(whole, used, np.nan), days.floats("outdoor"), number, meter, filled)


def filled_with_zeros(days: Table) -> Flags:
    """Days with exactly zero from midnight to midnight on a meter that never does so otherwise: bool (n,).

    A heat pump's controls always draw some watts, and a power cut seldom begins and ends at midnight. A
    database that fills lost days with zeros does so.
    """
    slots, zero = fill_nan(days.floats("slots_known"), 0.0), fill_nan(days.floats("slots_zero"), 0.0)
    empty = (slots > 0.0) & (zero >= slots)
    drawn = (slots > 0.0) & ~empty
    nothing = np.zeros(len(days), dtype=np.bool_)
    if not empty.any() or not drawn.any() or np.median(zero[drawn]) > 0.0:
        return nothing
    for start, end in zip(*true_runs(empty), strict=True):
        # A stretch up to the newest day may be a current power failure.
        after = end < len(days) and slots[end] > 0.0 and zero[end] == 0.0
        before = start == 0 or slots[start - 1] == 0.0 or zero[start - 1] == 0.0
        nothing[start:end] = before and after
    return nothing
