"""Evidence by day of other heat sources: rooms warm without heating, a cylinder warming without charge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.minutes.balance import HEATING_METERS
from fieldfare.analysis.minutes.operating_state import HOT_WATER, within
from fieldfare.analysis.minutes.rolling import window_mean, window_sum

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Evening: after sunset, before the usual set-back. Floors release heat from hours
# before.
_EVENING = (18 * 60, 23 * 60)
_SPAN_MIN = 180
_LEAST_KNOWN = 0.9
# A charge warms the sensor for a while after its end.
_AFTER_CHARGE_MIN, _BEFORE_CHARGE_MIN = 75, 20
_TANK_WINDOW_MIN = 60
_COARSEST_MIN = 15.0
_IMMERSION_W = 100.0


def other_heat_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`; none without the sensors."""
    return _rooms(minutes, day) | _tank(minutes, day)


def _rooms(minutes: Minutes, day: Segments) -> dict[str, object]:
    grid = minutes.grid
    room, outdoor = grid.gauge("room_temperature"), grid.gauge("outdoor_temperature")
    spacing = max(
        (grid.spacing.get(q, np.inf) for q in HEATING_METERS if q in grid.energy),
        default=grid.spacing.get("flow_rate", np.inf),
    )
    if not np.isfinite(room).any() or not np.isfinite(outdoor).any() or spacing > 4 * _COARSEST_MIN:
        return {}
    heat = np.where(minutes.serving == HOT_WATER, 0.0, np.maximum(minutes.heat, 0.0)) * 60.0
    if minutes.balance.backup_heater is not None and not minutes.balance.sees_backup:
        heat = heat + np.nan_to_num(minutes.balance.backup_heater) * 60.0
    # Means of a quarter of an hour: a sensor's last digit is a tenth.
    smooth = window_mean(room, 7, 8)
    rise = np.full(len(room), np.nan)
    rise[_SPAN_MIN:] = smooth[_SPAN_MIN:] - smooth[:-_SPAN_MIN]
    least = int(_LEAST_KNOWN * _SPAN_MIN)
    given = window_mean(heat, _SPAN_MIN, 0, least=least)
    over = window_mean(room - outdoor, _SPAN_MIN, 0, least=least)
    known_rise = np.where(np.isfinite(rise + given + over), rise, -np.inf)
    out = {f"evening_{n}": np.full(len(day), np.nan) for n in ("rise", "heat", "before", "over")}
    for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
        first, last = a + _EVENING[0] + _SPAN_MIN, min(a + _EVENING[1], b)
        mine = known_rise[first:last]
        if len(mine) and np.isfinite(mine.max()):
            at = first + int(np.argmax(mine))
            found = (rise[at], given[at], given[at - _SPAN_MIN], over[at])
            for name, value in zip(out, found, strict=True):
                out[name][i] = value
    return dict(out)


def _tank(minutes: Minutes, day: Segments) -> dict[str, object]:
    grid, use = minutes.grid, minutes.use
    tank = grid.gauge("cylinder_temperature")
    separable = use.water_spacing <= _COARSEST_MIN
    if not separable or not np.isfinite(tank).any() or grid.spacing["cylinder_temperature"] > _COARSEST_MIN:
        return {}
    charged = use.code == HOT_WATER
    if minutes.balance.immersion is not None:
        charged = charged | (np.nan_to_num(minutes.balance.immersion) * 60.0 > _IMMERSION_W)
    alone = ~within(charged, _BEFORE_CHARGE_MIN, _AFTER_CHARGE_MIN)
    rise = np.full(len(tank), np.nan)
    rise[_TANK_WINDOW_MIN:] = tank[_TANK_WINDOW_MIN:] - tank[:-_TANK_WINDOW_MIN]
    whole = window_sum(alone, _TANK_WINDOW_MIN, 1) > _TANK_WINDOW_MIN
    return {"foreign_tank_k": day.greatest(np.where(whole, rise, np.nan))}
