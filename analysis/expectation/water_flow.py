"""Required water flow of a heat pump, and the allowed difference of flow and return temperature.

Heat is flow times difference. A pump that modulates gives as much water as keeps the difference, down to its
least speed, so a small flow in mild weather is no fault. What tells is the difference at the highest output
seen, beside the nominal one: rated output over nominal flow.
"""

from __future__ import annotations

from math import hypot, log, sqrt

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.physics.water import KWH_PER_M3_K
from fieldfare.analysis.statistics.distributions import normal_probability

Floats = NDArray[np.float64]

# Two sensors of class B at 35 °C are 0.5 K off each (EN 60751), as limits; a flow meter of class 2 in use 5 %
# (EN 1434-1).
_PAIR_K, _FLOW = 0.4, 0.05
# Pumps are set at hand-over to within a tenth of what the data sheet calls nominal (common practice).
_SETTING = 0.10
# A pump of one speed gives less water only through valves that close; one that modulates follows the heat
# (elasticity 1).
ONE_SPEED_ELASTICITY = 0.3


_FEWEST, _LEAST_RANGE = 10, 0.2


def water_difference(heat_kw: float, flow_m3_per_h: float) -> float:
    """Flow less return temperature [K] for a heat and a flow above 0."""
    return heat_kw / (KWH_PER_M3_K * flow_m3_per_h)


def nominal_difference(rated_kw: float, flow_m3_per_h: float) -> Lognormal:
    """Difference at rated output and nominal flow [K], with the uncertainty of sensors and flow meter.

    rated_kw : float [kW]. flow_m3_per_h : float [m3/h], nominal
    """
    kelvin = water_difference(rated_kw, flow_m3_per_h)
    return Lognormal(kelvin, hypot(_PAIR_K / kelvin, _FLOW, _SETTING))


def elasticity(flow: Floats, heat: Floats) -> float:
    """Elasticity of flow with respect to heat [-]; nan if the heat hardly varies.

    flow, heat : float64 (n,), above 0, of like weight; nan left out
    Source: slope of the logarithms, robust.
    """
    known = np.isfinite(flow) & np.isfinite(heat) & (flow > 0.0) & (heat > 0.0)
    if known.sum() < _FEWEST:
        return float("nan")
    x, y = np.log(heat[known]), np.log(flow[known])
    if float(np.subtract(*np.quantile(x, (0.9, 0.1)))) < _LEAST_RANGE:
        return float("nan")
    fit = robust_fit(np.column_stack([x, np.ones(len(x))]), y)
    return float(fit.coefficients[0])


def short_of_nominal(share: float) -> float:
    """Probability that a fixed-speed pump gives less than nominal beyond any setting [0 to 1].

    share : float, flow over nominal [-]
    """
    return normal_probability(-log(max(share, 1e-3) / (1.0 - _SETTING)) / hypot(_FLOW, _SETTING))


# Flow meters drift by a few per cent a season (EN 1434-1 class 2: 2 to 3 %), water gets warmer or colder.
_DRIFT = 0.03


def steady_flow(scatter: float, days: int, load_error: float) -> Expected:
    """Apparent fall over a season without any blockage, relative [-].

    scatter : of a day about the trend [-]. days : seen. load_error : relative uncertainty of what the load
        moved [-]
    """
    return Expected(_DRIFT, hypot(_DRIFT, scatter * sqrt(8.0 / max(days, 8)), load_error))
