"""Change of efficiency at part load.

EN 14511 points are measured at full or nominal output. An inverter unit that gives less has its coil and
condenser for itself: air and refrigerant, refrigerant and water come closer, and the lift the compressor
works against shrinks. The compressor itself is best near two thirds of its speed. A fixed-speed unit cannot
give less; it stops and starts, which EN 14825 counts by its degradation coefficient.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

APPROACH_K = 10.0
"""Air over evaporation and condensation over water at full output, together: 8 and 2 K (common practice; the
same as `physics.heat_pump.RatedPerformance` uses)."""
BEST_SPEED = 0.65
_CURVATURE = 0.15
_LEAST_LOAD, _GREATEST_LOAD = 0.15, 1.1
_LEAST_LIFT_K = 15.0
# Some units gain nothing at part load, others as much as the second law allows (common practice).
_GAIN_SPREAD = 0.40


def part_load_gain(load_share: ArrayLike, source_c: ArrayLike, flow_c: ArrayLike) -> Floats:
    """COP at part load over the COP at full load and the same temperatures.

    load_share : float or array [-]. Output over full output; held within 0.15 and 1.1; nan: as at full output
    source_c, flow_c : float or array [C]
    Returns the broadcast shape [-], 1 at full output; nan where a temperature is.
    Source: the second law over a lift that holds the exchangers' approaches, which shrink with the output;
        compressor efficiency best near two thirds of full speed, as published EN 14825 points show (common
        practice, no single source).
    """
    x = np.asarray(load_share, dtype=np.float64)
    x = np.clip(np.where(np.isfinite(x), x, 1.0), _LEAST_LOAD, _GREATEST_LOAD)
    lift = np.asarray(flow_c, dtype=np.float64) - np.asarray(source_c, dtype=np.float64)
    lift = np.where(np.isnan(lift), np.nan, np.maximum(lift, _LEAST_LIFT_K))
    exchangers = (lift + APPROACH_K) / (lift + APPROACH_K * x)
    return np.asarray(exchangers * _compressor(x) / _compressor(np.float64(1.0)))


def _compressor(speed: Floats | np.float64) -> Floats:
    return np.asarray(1.0 - _CURVATURE * ((speed - BEST_SPEED) / BEST_SPEED) ** 2)


@dataclass(frozen=True)
class Strength:
    """Share of the modelled gain that a unit shows. middle, spread : mean and standard uncertainty [-]"""

    middle: float
    spread: float


# Compressors that lose more at low speed and fans that do not slow down take a part of the gain (common
# practice).
USUAL_STRENGTH = Strength(0.7, _GAIN_SPREAD)
_DAY_NOISE, _LIKE_NEIGHBOURS = 0.04, 5.0
# Load goes with the weather, and the weather with frost, starts and flow temperature: a slope tells the gain
# no better than so (scatter of slopes among 40 units of an independent simulator: 0.7, of which the units'
# own differences are 0.3).
_CONFOUNDED = 0.6


def learned_strength(level: Floats, gain: Floats, weight: Floats) -> Strength:
    """The strength by a unit's own days: its usual value, moved by the slope of efficiency over gain.

    A fault that was there from the first day lowers every day and leaves the slope as it is, so it is not
    learned away.

    level : float64 (n,), logarithm of the day's efficiency over its rating. gain : float64 (n,), logarithm of
        the day's mean gain. weight : float64 (n,), above 0; days with nan are left out
    Returns Strength; the usual one without days.
    """
    known = np.isfinite(level) & np.isfinite(gain) & np.isfinite(weight)
    y, x, w = level[known], gain[known], weight[known]
    if len(y) < 2:
        return USUAL_STRENGTH
    w = w / w.mean()
    dx, dy = x - np.average(x, weights=w), y - np.average(y, weights=w)
    squares = float(np.sum(w * dx**2))
    if squares <= 0.0:
        return USUAL_STRENGTH
    slope = float(np.sum(w * dx * dy)) / squares
    precision = 1.0 / (_DAY_NOISE**2 * _LIKE_NEIGHBOURS / squares + _CONFOUNDED**2)
    prior = 1.0 / USUAL_STRENGTH.spread**2
    middle = (USUAL_STRENGTH.middle * prior + slope * precision) / (prior + precision)
    return Strength(float(np.clip(middle, 0.0, 1.5)), 1.0 / sqrt(prior + precision))
