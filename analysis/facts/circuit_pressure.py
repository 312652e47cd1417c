"""The circuit's pressure by day: how high it was held, how far it swings, and how it follows the water's temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.facts.segments import Segments

Floats = NDArray[np.float64]

_HELD = 0.98
_FEWEST_MIN = 360
_LEAST_SPREAD_K = 2.0


def pressure_columns(day: Segments, pressure: Floats, water: Floats) -> dict[str, object]:
    """Columns of the days table.

    pressure : float64 (n,) [bar gauge] by minute. water : float64 (n,) [°C], mean of flow and return
    Returns pressure_max (exceeded for half an hour of the day [bar]); pressure_swing (between its lowest and highest
    fiftieth of the minutes [bar]); pressure_per_k (slope on the water's temperature [bar/K]); pressure_follows (their
    correlation); loop_spread (standard deviation of the water's temperature [K]). nan where fewer than six hours of the
    day are known, or the water hardly changes.
    """
    n = len(day)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    slope, follows, spread = np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan)
    if np.isfinite(pressure).any():
        for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
            here = pressure[a:b]
            known = np.isfinite(here)
            if known.sum() < _FEWEST_MIN:
                continue
            low[i], high[i] = np.quantile(here[known], (1.0 - _HELD, _HELD))
            slope[i], follows[i], spread[i] = _line(here, water[a:b])
    return {
        "pressure_max": high,
        "pressure_swing": high - low,
        "pressure_per_k": slope,
        "pressure_follows": follows,
        "loop_spread": spread,
    }


def _line(pressure: Floats, water: Floats) -> tuple[float, float, float]:
    """Slope [bar/K], correlation and the water's spread [K] of one day; nan where they can't be told."""
    both = np.isfinite(pressure) & np.isfinite(water)
    if both.sum() < _FEWEST_MIN:
        return np.nan, np.nan, np.nan
    p, t = pressure[both], water[both]
    spread, swing = float(t.std()), float(p.std())
    if spread < _LEAST_SPREAD_K or swing == 0.0:
        return np.nan, np.nan, spread
    shared = float(np.mean((p - p.mean()) * (t - t.mean())))
    return shared / spread**2, shared / (spread * swing), spread
