"""How much water a heat pump needs, and how wide the difference between flow and return may be.

Heat is flow times difference. A pump that modulates gives as much water as keeps the difference, down to its
least speed, so a small flow in mild weather is no fault. What tells is the difference at the highest output
seen, beside the nominal
one: rated output over nominal flow.
"""

from __future__ import annotations

from math import hypot

from fieldfare.analysis.expectation.uncertain import Lognormal

KWH_PER_M3_K = 1.155
"""Heat of water between 30 and 40 °C, EN 1434-1 (reference 1.1)."""
# Two sensors of class B at 35 °C are 0.5 K off each (EN 60751), as limits; a flow meter of class 2 in use 5 %
# (EN 1434-1).
_PAIR_K, _FLOW = 0.4, 0.05


def water_difference(heat_kw: float, flow_m3_per_h: float) -> float:
    """Flow less return temperature [K] for a heat and a flow above 0."""
    return heat_kw / (KWH_PER_M3_K * flow_m3_per_h)


def nominal_difference(rated_kw: float, flow_m3_per_h: float) -> Lognormal:
    """Difference at the rated output and the nominal flow [K], with what sensors and a flow meter may be off.

    rated_kw : float [kW]. flow_m3_per_h : float [m3/h], nominal
    """
    kelvin = water_difference(rated_kw, flow_m3_per_h)
    return Lognormal(kelvin, hypot(_PAIR_K / kelvin, _FLOW))
