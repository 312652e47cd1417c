"""Delay of each day's heat and reported state after the electricity, from run edges, to the minute."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.minutes.balance import HEATING_METERS
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.rolling import true_runs, window_mean
from fieldfare.analysis.statistics.quantiles import median

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Sparser readings can't resolve minutes. Shorter runs and rests are not matched: they could be
# another's.
_COARSEST_MIN, _SHORTEST_MIN = 5.0, 10
_REACH_MIN = 45
_NEAR_MIN, _QUICK_MIN = 20, 40
_HIGH_QUANTILE, _HALF = 0.8, 0.5
_LEAST_W = 200.0


def edge_columns(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`; none where readings are too sparse."""
    grid, plant = minutes.grid, minutes.balance
    if plant.heat_pump is None or not _prompt(grid, "heat_pump_electricity"):
        return {}
    drawn = _runs(plant.heat_pump * 60.0)
    if drawn is None:
        return {}
    out: dict[str, object] = {}
    heat = plant.heat_at_meter
    metered = next((q for q in HEATING_METERS if q in grid.energy), None)
    if heat is not None and metered is not None and _prompt(grid, metered):
        given = _runs(heat * 60.0)
        if given is not None:
            out |= _matched("heat", day, drawn, given)
        out["near_heat"], out["near_like_heat"] = _near(day, plant.heat_pump, heat)
    mode = grid.gauge("operating_mode")
    if np.isfinite(mode).any() and grid.spacing["operating_mode"] <= _COARSEST_MIN:
        out |= _matched("state", day, drawn, _long(np.nan_to_num(mode) > 0.5))
    return out


def _prompt(grid: Grid, quantity: str) -> bool:
    least = _LEAST_W * (10.0 if "heat" in quantity and "electricity" not in quantity else 1.0)
    return grid.spacing.get(quantity, 99.0) <= _COARSEST_MIN and grid.resolves(quantity, least, _COARSEST_MIN)


def _runs(watts: Floats) -> tuple[Ints, Ints] | None:
    """Starts and ends of the stretches above half of the usual running power."""
    on = watts[np.isfinite(watts) & (watts > _LEAST_W)]
    if len(on) < 60:
        return None
    level = _HALF * float(np.quantile(on, 1.0 - _HIGH_QUANTILE))
    return _long(np.nan_to_num(watts) > max(level, _LEAST_W / 2.0))


def _long(flags: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Close short rests and drop short runs."""
    start, end = true_runs(flags)
    if len(start) > 1:
        apart = start[1:] - end[:-1] >= _SHORTEST_MIN
        start, end = start[np.append(True, apart)], end[np.append(apart, True)]
    keep = end - start >= _SHORTEST_MIN
    return start[keep], end[keep]


def _matched(
    signal: str, day: Segments, drawn: tuple[Ints, Ints], other: tuple[Ints, Ints]
) -> dict[str, object]:
    out: dict[str, object] = {}
    for name, of, to in ((f"begin_{signal}", drawn[0], other[0]), (f"end_{signal}", drawn[1], other[1])):
        lag = _nearest(of, to)
        owner = np.searchsorted(day.start, of, side="right") - 1
        inside = np.isfinite(lag) & (owner >= 0)
        inside &= of < day.end[np.clip(owner, 0, len(day) - 1)]
        usual = np.full(len(day), np.nan)
        for d in np.unique(owner[inside]):
            usual[d] = median(lag[inside & (owner == d)])
        out[name] = usual
    return out


def _near(day: Segments, drawn: Floats, given: Floats) -> tuple[Floats, Floats]:
    """Lag [min] of the best correlation of quick changes of heat and electricity by day, and its value."""
    a, b = _quick(drawn), _quick(given)
    padded = np.concatenate((np.zeros(_NEAR_MIN), b, np.zeros(_NEAR_MIN)))
    shifts = np.arange(-_NEAR_MIN, _NEAR_MIN + 1)
    product = np.stack([day.add(a * padded[_NEAR_MIN + k : _NEAR_MIN + k + len(a)]) for k in shifts])
    size = np.sqrt(day.add(a * a) * day.add(b * b))
    best = np.argmax(product, axis=0)
    like = np.divide(
        product[best, np.arange(len(day))], size, out=np.full(len(day), np.nan), where=size > 0.0
    )
    return np.where(np.isfinite(like), shifts[best].astype(np.float64), np.nan), like


def _quick(wh: Floats) -> Floats:
    """Changes within half an hour: values less their mean, 0 where unknown."""
    mean = window_mean(wh, _QUICK_MIN // 2, _QUICK_MIN // 2)
    return np.where(np.isfinite(wh), wh - mean, 0.0)


def _nearest(of: Ints, to: Ints) -> Floats:
    """Minutes from each edge to the nearest other edge; nan where none is in reach."""
    if not len(to):
        return np.full(len(of), np.nan)
    right = np.clip(np.searchsorted(to, of), 0, len(to) - 1)
    left = np.maximum(right - 1, 0)
    nearer = np.where(np.abs(to[left] - of) < np.abs(to[right] - of), to[left], to[right])
    lag = (nearer - of).astype(np.float64)
    return np.where(np.abs(lag) <= _REACH_MIN, lag, np.nan)
