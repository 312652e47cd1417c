"""Circuit pressure by day: level, swing, and dependence on the water temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.minutes.rolling import true_runs, window_sum
from fieldfare.analysis.statistics.quantiles import quantile

Floats = NDArray[np.float64]

Flags = NDArray[np.bool_]

_HELD = 0.98
_AFTER_CHARGE_MIN = 15
_FEWEST_MIN = 360
# Water in emitters and pipes moves by so much beside that at the sensors: where these move little, the slope
# is taken as low as that allows (common practice).
_UNSEEN_K, _PLAIN_SPREAD_K = 0.5, 2.0
# A filling tap is open for some minutes; a gauge of 0.1 bar flips by one digit by itself (common practice).
_STEP_MIN, _STANDS_MIN, _FEWEST_SIDE = 5, 360, 60
_STEP_BAR, _TOPPED_BAR = 0.1, 0.15
_USUAL_BAR_PER_K, _REFERENCE_C = 0.01, 30.0  # 25 K move a usual circuit by some 0.3 bar (common practice)


def pressure_columns(day: Segments, pressure: Floats, water: Floats, charging: Flags) -> dict[str, object]:
    """Columns of the days table, described in `columns/water.py`.

    pressure : float64 (n,) [bar gauge] by minute. water : float64 (n,) [°C], mean of flow and return
    charging : bool (n,), minutes in which the cylinder is charged. The sensors then see the coil's water,
        while most of the circuit stands and cools: left out, except on days that hardly heat
    nan where fewer than six hours of the day are known, or the water hardly changes.
    """
    n = len(day)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    slope, follows = np.full(n, np.nan), np.full(n, np.nan)
    settled_water = np.where(window_sum(charging, _AFTER_CHARGE_MIN, 1) > 0, np.nan, water)
    if np.isfinite(pressure).any():
        for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
            here = pressure[a:b]
            known = np.isfinite(here)
            if known.sum() < _FEWEST_MIN:
                continue
            low[i], high[i] = (quantile(here[known], share) for share in (1.0 - _HELD, _HELD))
            heated = np.isfinite(here + settled_water[a:b]).sum() >= _FEWEST_MIN
            slope[i], follows[i] = _line(here, (settled_water if heated else water)[a:b])
    return {
        "pressure_max": high,
        "pressure_swing": high - low,
        "pressure_per_k": slope,
        "pressure_follows": follows,
        "pressure_topped": _topped(day, pressure, water, slope),
    }


def _topped(day: Segments, pressure: Floats, water: Floats, slope: Floats) -> Floats:
    """Rises within ten minutes that last for six hours, summed over each day [bar]; 0 without any.

    The effect of the water's temperature is removed, and both the lowest and the median level of the six
    hours before and after must have moved: warm water swings back, a refill stays. The day's slope and the
    usual one must both show the rise: a great slope makes a refill of water that cools, a small one of
    water that warms.
    """
    n = len(pressure)
    rises = np.zeros(n)
    if n <= 2 * _STANDS_MIN:
        return np.where(day.count(np.isfinite(pressure)) > 0, 0.0, np.nan)
    warm = np.nan_to_num(water - _REFERENCE_C)
    level = pressure - _USUAL_BAR_PER_K * warm
    step = np.zeros(n)
    step[_STEP_MIN:-_STEP_MIN] = np.nan_to_num(level[2 * _STEP_MIN :] - level[: -2 * _STEP_MIN])
    for a, b in zip(*true_runs(step > _STEP_BAR), strict=True):
        per_k = np.nan_to_num(slope[max(int(np.searchsorted(day.start, a, side="right")) - 1, 0)])
        sides = slice(max(a - _STANDS_MIN, 0), a), slice(b, b + _STANDS_MIN)
        if min(np.isfinite(pressure[s]).sum() for s in sides) < _FEWEST_SIDE:
            continue
        # Water that warms lifts the pressure by no less than is usual; one that cools makes up for no more
        # than this day has shown.
        rise = min(_rise(pressure, warm, sides, k) for k in (max(per_k, _USUAL_BAR_PER_K), max(per_k, 0.0)))
        if rise > _TOPPED_BAR:
            rises[(a + b) // 2] = rise
    return np.where(day.count(np.isfinite(pressure)) > 0, day.sum(rises), np.nan)


def _rise(pressure: Floats, warm: Floats, sides: tuple[slice, slice], per_k: float) -> float:
    """Rise of the lowest and the median level from one side to the other [bar], at a given bar per K.

    Of the lowest alone where that says no.
    """
    before, after = (pressure[s] - per_k * warm[s] for s in sides)
    lowest = float(np.fmin.reduce(after) - np.fmin.reduce(before))
    if lowest <= _TOPPED_BAR:
        return lowest
    return min(float(np.nanmedian(after) - np.nanmedian(before)), lowest)


def _line(pressure: Floats, water: Floats) -> tuple[float, float]:
    """Slope on the water's temperature [bar/K] and correlation of one day; nan where unknown."""
    both = np.isfinite(pressure) & np.isfinite(water)
    if both.sum() < _FEWEST_MIN:
        return np.nan, np.nan
    p, t = pressure[both], water[both]
    spread, swing = float(t.std()), float(p.std())
    if spread < _UNSEEN_K or swing == 0.0:
        return np.nan, np.nan
    shared = float(np.mean((p - p.mean()) * (t - t.mean())))
    unseen = _UNSEEN_K if spread < _PLAIN_SPREAD_K else 0.0
    return shared / (spread**2 + unseen**2), shared / (spread * swing)
