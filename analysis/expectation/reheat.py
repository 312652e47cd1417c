"""How long a charge of the cylinder takes: by output, coil, flow limit and what the cylinder has to take up.

Until the flow reaches its limit the unit gives its output; from there on the coil passes only what the
shrinking difference between flow and cylinder drives, and the charge takes its time. A setpoint at the
limit is never reached.
"""

from __future__ import annotations

from math import hypot, inf, isfinite, log
from typing import NamedTuple

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN

COIL_OVER_K = 7.5
"""Mean coil water over the cylinder at the unit's rated output: 5 to 10 K (common practice, makers' sizing
tables)."""
CHARGING_SHARE = 0.8
"""Share of the rated output at which units charge: 60 to 100 % (common practice)."""
# Relative standard uncertainties (GUM type B, half-width of the stated ranges over the root of three,
# rounded up).
_U_OUTPUT, U_COIL, _U_CAPACITY = 0.15, 0.30, 0.15
_U_LIMIT_K = 1.5
# Draws during a charge, a defrost, the minutes until the water is hot (common practice).
_U_HABIT, _U_START_MIN = 0.10, 4.0


class Charge(NamedTuple):
    """One charge. litres of the cylinder; from_c, to_c [C]; output_kw of the unit at these temperatures;
    coil_w_per_k, heat per kelvin of flow over cylinder; flow_limit_c, the hottest flow, infinite where not
    known"""

    litres: float
    from_c: float
    to_c: float
    output_kw: float
    coil_w_per_k: float
    flow_limit_c: float = inf


def coil_w_per_k(rated_kw: float, flow_w_per_k: float = inf) -> float:
    """Heat per kelvin of flow temperature over the cylinder that a usual coil passes.

    rated_kw : float [kW]. flow_w_per_k : float [W/K], water flow times its heat capacity, infinite for none
        known
    Returns float [W/K]: by the mean coil water at rated output, and half of the water's own difference
    above that.
    """
    over_mean = rated_kw * 1000.0 / COIL_OVER_K
    return over_mean / (1.0 + over_mean / (2.0 * flow_w_per_k))


def minutes(charge: Charge) -> float:
    """Length of a charge without draws [min]; infinite where the setpoint lies at the flow limit or beyond.

    Raises ValueError for a charge without output, coil, water or rise.
    Source: C dT/dt = min(P, U (Tlimit - T)), integrated.
    """
    if min(charge.litres, charge.output_kw, charge.coil_w_per_k, charge.to_c - charge.from_c) <= 0.0:
        raise ValueError("a charge needs litres, output, a coil and a rise above zero")
    capacity = charge.litres * WH_PER_LITRE_KELVIN  # Wh/K
    power = charge.output_kw * 1000.0
    knee = charge.flow_limit_c - power / charge.coil_w_per_k
    at_power = min(max(knee, charge.from_c), charge.to_c)
    hours = capacity * (at_power - charge.from_c) / power
    if charge.to_c > at_power:
        if charge.to_c >= charge.flow_limit_c:
            return inf
        left = (charge.flow_limit_c - at_power) / (charge.flow_limit_c - charge.to_c)
        hours += capacity / charge.coil_w_per_k * log(left)
    return 60.0 * hours


def expected(charge: Charge) -> Expected:
    """Length of a charge with its standard uncertainty [min].

    Source: GUM first order: the length with each input moved by its standard uncertainty, independent.
    """
    charge = Charge(*map(float, charge))  # numpy's numbers are slow one by one
    usual = minutes(charge)
    if not isfinite(usual):
        return Expected(inf, inf)
    moved = (
        charge._replace(output_kw=charge.output_kw * (1.0 - _U_OUTPUT)),
        charge._replace(coil_w_per_k=charge.coil_w_per_k * (1.0 - U_COIL)),
        charge._replace(litres=charge.litres * (1.0 + _U_CAPACITY)),
        charge._replace(flow_limit_c=charge.flow_limit_c - _U_LIMIT_K),
    )
    parts = [min(minutes(m), 3.0 * usual) - usual for m in moved]
    return Expected(usual, hypot(*parts, _U_HABIT * usual, _U_START_MIN))
