"""Expected duration of a cylinder charge, from output, coil, flow limit and heat to be stored.

Until the flow reaches its limit the unit gives its output; from there on the coil passes only what the
shrinking difference between flow and cylinder drives, and the charge takes its time. A setpoint at the
limit is never reached.
"""

from __future__ import annotations

from math import inf
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN

Floats = NDArray[np.float64]
Number = TypeVar("Number", float, Floats)

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
    """One charge, or arrays of many. litres of the cylinder; from_c, to_c [C]; output_kw of the unit at these
    temperatures; coil_w_per_k, heat per kelvin of flow over cylinder; flow_limit_c, the hottest flow,
    infinite where not known"""

    litres: float | Floats
    from_c: float | Floats
    to_c: float | Floats
    output_kw: float | Floats
    coil_w_per_k: float | Floats
    flow_limit_c: float | Floats = inf


def coil_w_per_k(rated_kw: Number, flow_w_per_k: float = inf) -> Number:
    """Heat per kelvin of flow temperature over the cylinder that a usual coil passes.

    rated_kw : float or float64 (n,) [kW]. flow_w_per_k : float [W/K], water flow times its heat capacity,
        infinite for none known
    Returns as rated_kw [W/K]: by the mean coil water at rated output, and half of the water's own difference
    above that.
    """
    over_mean = rated_kw * 1000.0 / COIL_OVER_K
    return over_mean / (1.0 + over_mean / (2.0 * flow_w_per_k))


def minutes(charge: Charge) -> Floats:
    """Length of charges without draws [min]; infinite where the setpoint lies at the flow limit or beyond.

    Returns float64 (n,), () for one. Raises ValueError for a charge without output, coil, water or rise.
    Source: C dT/dt = min(P, U (Tlimit - T)), integrated.
    """
    litres, begin, end, output_kw, coil, limit = (np.asarray(part, np.float64) for part in charge)
    if not all((part > 0.0).all() for part in (litres, output_kw, coil, end - begin)):
        raise ValueError("a charge needs litres, output, a coil and a rise above zero")
    capacity = litres * WH_PER_LITRE_KELVIN  # Wh/K
    power = output_kw * 1000.0
    at_power = np.clip(limit - power / coil, begin, end)
    slow = end > at_power
    reached = slow & (end < limit)
    left = np.divide(limit - at_power, limit - end, out=np.ones(reached.shape), where=reached)
    hours = capacity * (at_power - begin) / power + capacity / coil * np.log(left)
    return np.where(slow & ~reached, np.inf, 60.0 * hours)


def expected(charge: Charge) -> Expected:
    """Length of a charge with its standard uncertainty [min]."""
    usual, uncertainty = expected_minutes(charge)
    return Expected(float(usual), float(uncertainty))


def expected_minutes(charges: Charge) -> tuple[Floats, Floats]:
    """Lengths of charges, and their standard uncertainties [min]; both infinite where never reached.

    Source: GUM first order: the length with each input moved by its standard uncertainty, independent.
    """
    usual = minutes(charges)
    reached = np.isfinite(usual)
    known = np.where(reached, usual, 0.0)
    moved = (
        charges._replace(output_kw=charges.output_kw * (1.0 - _U_OUTPUT)),
        charges._replace(coil_w_per_k=charges.coil_w_per_k * (1.0 - U_COIL)),
        charges._replace(litres=charges.litres * (1.0 + _U_CAPACITY)),
        charges._replace(flow_limit_c=charges.flow_limit_c - _U_LIMIT_K),
    )
    parts = [np.minimum(minutes(each), 3.0 * known) - known for each in moved]
    squares = sum((part**2 for part in parts), (_U_HABIT * known) ** 2 + _U_START_MIN**2)
    return usual, np.where(reached, np.sqrt(squares), np.inf)
