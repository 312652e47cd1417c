"""Expected power of a unit at rest."""

from __future__ import annotations

from math import hypot

from fieldfare.analysis.expectation.uncertain import Lognormal

# Controls, display and valves: 8 to 25 W (common practice).
_CONTROLS_W, _CONTROLS_SPREAD = 15.0, 0.4
# A crankcase heater of 25 W on an 8 kW compressor, from none to twice as much; heaters grow with the shell
# (common practice; declared P_CK of units on sale lies between 0 and 60 W, Reg. (EU) 813/2013 Annex II).
_CRANKCASE_W, _CRANKCASE_SPREAD, _CRANKCASE_GROWS = 25.0, 0.7, 0.75
_USUAL_KW = 8.0


def standby(rated_kw: float) -> Lognormal:
    """Power at rest of a unit of that size [W], crankcase heater included; circulation pumps are not.

    rated_kw : float [kW], above 0
    """
    heater = _CRANKCASE_W * (rated_kw / _USUAL_KW) ** _CRANKCASE_GROWS
    total = _CONTROLS_W + heater
    spread = hypot(_CONTROLS_W * _CONTROLS_SPREAD, heater * _CRANKCASE_SPREAD) / total
    return Lognormal(total, spread)
