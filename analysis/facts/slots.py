"""Statistics of quarter-hour or hourly electricity by day: starts, zeros, levels of power.

For homes without heat measurement. Finer readings are averaged to quarter hours first, so that homes with
different meters compare with each other and with published counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments, total_kwh
from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

ON_ABOVE_WH = 100.0
"""A heat pump is on in an interval with more electricity than this: the rule of Brudermueller et al. (2023),
Applied Energy 350, 121734, for quarter hours (by its open data, reference 9.3)."""
LONG_ON_ABOVE_WH = 200.0
"""The same for half hours and hours, where up to 100 W of standby count too (common practice, no source)."""
LEVEL_W = 250.0
LEVELS = 64
"""Power levels of 250 W; the last one is open-ended."""
_QUARTER, _HALF, _HOUR = 15, 30, 60


def is_little_metered(site: Site) -> bool:
    """Whether electricity is measured and heat is not."""
    return not any(site.measures(q) for q in HEAT_SEEN_BY) and any(
        site.measures(q) for q in ("heat_pump_electricity", "house_electricity")
    )


def slot_columns(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/energy.py`; none where heat is measured."""
    if not is_little_metered(site):
        return {}
    out: dict[str, object] = {}
    house = minutes.grid.energy.get("house_electricity")
    if house is not None:
        out["electricity_house_kwh"], out["minutes_house_known"] = (
            total_kwh(day, house),
            day.count(np.isfinite(house)),
        )
    unit = np.isfinite(minutes.electricity).any()
    wh = minutes.electricity if unit or house is None else house
    spacing = minutes.grid.spacing.get("heat_pump_electricity" if unit else "house_electricity", np.inf)
    length = next((n for n in (_QUARTER, _HALF, _HOUR) if spacing <= n), None)
    if length is None:
        return out | {"slot_minutes": np.full(len(day), np.nan)}
    return out | _counted(wh, length, day)


def _counted(wh: Floats, length: int, day: Segments) -> dict[str, object]:
    """Columns of intervals of `length` minutes. Local days begin with an interval, also at clock changes."""
    slots = wh[: len(wh) // length * length].reshape(-1, length)
    # Rounded: spreading an interval over minutes and summing it again causes rounding errors.
    energy = np.round(slots.sum(axis=1), 3)  # nan where any minute is unknown
    known = np.isfinite(energy)
    least = ON_ABOVE_WH if length == _QUARTER else LONG_ON_ABOVE_WH
    on = known & (np.where(known, energy, 0.0) > least)
    starts = on & np.concatenate(([False], known[:-1] & ~on[:-1]))
    mine = Segments(day.start // length, day.end // length)
    out: dict[str, object] = {
        "slot_minutes": np.full(len(day), float(length)),
        "slots_known": mine.count(known),
        "slots_zero": mine.count(known & (energy == 0.0)),
        "slot_starts": mine.count(starts),
    }
    watts = np.where(known, energy, -1.0) * 60.0 / length
    level = np.minimum(watts // LEVEL_W, LEVELS - 1).astype(np.int64)
    for n in range(LEVELS):
        out[f"level.{n:02d}"] = mine.count(level == n) * length
    return out
