"""Cylinder by day: temperatures, cooling without draws, and disinfection."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.cylinder_heat import hygiene_columns
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import DEFROST, HOT_WATER
from fieldfare.analysis.minutes.rolling import window_sum
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import row_quantiles

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

USEFUL_C = 40.0
"""Water at this temperature is warm enough to wash with; EN 16147's reference for usable hot water."""
_STEP_MIN = 15
_WINDOW_MIN = 180
_CALM_MIN = 45
_OWN_RISE_K = 0.5
_NIGHT, _DAYTIME = (0, 255), (480, 1275)
"""Local minutes of day in which the shorter windows begin: before anybody gets up, and while people are
about."""


def cylinder_columns(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/water.py`; none without a reading of the cylinder."""
    grid = minutes.grid
    tank = grid.gauge("cylinder_temperature")
    known = np.isfinite(tank)
    if not known.any():
        return {}
    cold = known & (fill_nan(tank, 99.0) < USEFUL_C)
    out: dict[str, object] = {
        "tank_mean": day.mean(tank),
        "tank_min": day.least(tank),
        "tank_max": day.greatest(tank),
        "minutes_tank_known": day.count(known),
        "minutes_tank_cold": day.count(cold),
        "minutes_cold_charging": day.count(cold & (minutes.use.code == HOT_WATER)),
        "cold_longest_min": _longest(cold, day),
    }
    if site.hot_water is not None and site.hot_water.pasteurise_c is not None:
        # Sensors and their pockets read about a kelvin low at the end of a charge (common practice).
        enough = known & (fill_nan(tank, 0.0) >= site.hot_water.pasteurise_c - 1.0)
        out["minutes_hot_enough"] = day.count(enough)
    out |= hygiene_columns(minutes, day, tank)
    out |= _cooling(minutes, day, tank)
    return out


def _longest(flags: Flags, day: Segments) -> Floats:
    stretches = Segments.of(flags)
    out = np.zeros(len(day))
    owner = np.searchsorted(day.start, np.maximum(stretches.end - 1, 0), side="right") - 1
    np.maximum.at(out, owner, stretches.minutes.astype(np.float64))
    return out


def _cooling(minutes: Minutes, day: Segments, tank: Floats) -> dict[str, object]:
    """Cooling rates for standing loss and leaks: the slow ones, as draws cool a cylinder fast."""
    code = minutes.use.code
    charging = (code == HOT_WATER) | ((code == DEFROST) & (minutes.use.serves == HOT_WATER))
    immersion = minutes.balance.immersion
    if immersion is not None:
        charging |= fill_nan(immersion, 0.0) * 60.0 > 100.0
    charging |= _rising(tank)
    windows = _each_day(day, 0, 1500)
    found = windows(_rates(tank, charging, _WINDOW_MIN))
    # The 10 % quantile, not the minimum: a sensor's resolution makes single windows look constant.
    slowest = row_quantiles(found, 0.15, least=4)
    close = np.abs(found - slowest[:, np.newaxis]) <= np.maximum(0.02, 0.1 * np.abs(slowest))[:, np.newaxis]
    level = _row_means(np.where(close, windows(tank), np.nan))
    room = _row_means(np.where(close, windows(minutes.grid.gauge("room_temperature")), np.nan))
    calm = _rates(tank, charging, _CALM_MIN)
    return {
        "standing_k_per_h": slowest,
        "standing_over_k": level - np.where(np.isnan(room), 20.0, room),
        # By day small draws leave few windows free: only the slowest few count.
        "cooling_night": row_quantiles(_each_day(day, *_NIGHT)(calm), 0.15, least=4),
        # The median quarter hour, not the slowest: draws affect single ones, a circulation pump all of them.
        "cooling_day_usual": row_quantiles(
            _each_day(day, *_DAYTIME)(_rates(tank, charging, _STEP_MIN)), 0.5, least=8
        ),
        "cooling_day": row_quantiles(_each_day(day, *_DAYTIME)(calm), 0.08, least=4),
    }


def _each_day(day: Segments, first: int, last: int) -> Callable[[Floats], Floats]:
    """Sample values every quarter hour from minute `first` of each day to `last`; nan beyond the day."""
    at = day.start[:, np.newaxis] + np.arange(first, last, _STEP_MIN)
    inside = at < day.end[:, np.newaxis]
    at = np.where(inside, at, 0)
    return lambda values: np.where(inside, values[at], np.nan)


def _row_means(rows: Floats) -> Floats:
    """Mean of the known values of each row, nan where none is known."""
    known = np.isfinite(rows)
    count = np.count_nonzero(known, axis=1)
    return np.divide(
        np.where(known, rows, 0.0).sum(axis=1), count, out=np.full(len(rows), np.nan), where=count > 0
    )


def _rising(tank: Floats) -> Flags:
    """Quarter hours with more warming than mixing layers cause: an unreported charge."""
    out = np.zeros(len(tank), dtype=bool)
    if len(tank) > _STEP_MIN:
        gain = fill_nan(tank[_STEP_MIN:] - tank[:-_STEP_MIN], 0.0)
        begin = np.flatnonzero(gain > _OWN_RISE_K)
        marks = np.zeros(len(tank) + 1, dtype=np.int64)
        np.add.at(marks, begin, 1)
        np.add.at(marks, begin + _STEP_MIN, -1)
        out = np.cumsum(marks[:-1]) > 0
    return out


def _rates(tank: Floats, charging: Flags, window: int) -> Floats:
    """Cooling [K/h] over the window after each minute; nan with a charge in it or just before it."""
    n = len(tank)
    rate = np.full(n, np.nan)
    if n <= window:
        return rate
    # Layers settle for half an hour or so after a charge.
    free = window_sum(charging, 40, window)[: n - window] == 0
    fall = (tank[: n - window] - tank[window:]) / window * 60.0
    rate[: n - window] = np.where(free, fall, np.nan)
    return rate
