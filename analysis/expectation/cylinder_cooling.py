"""Standing heat loss of a cylinder from rating or label class, with pipes and fittings as installed."""

from __future__ import annotations

from math import log

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.physics.hot_water import (
    RATED_ROOM_C,
    RATED_STORE_C,
    WH_PER_LITRE_KELVIN,
    loss_class_limit_w,
)

_TEST_K = RATED_STORE_C - RATED_ROOM_C
INSTALLED = 1.25
"""Pipes, valves and the sensor's pocket add a fifth to a half to the rated loss (common practice); the
lower part of it here, because a cylinder's rating has its connections on."""
# Half of the range above, and the class's own width (B to C) where no rating is given.
_U_RATED, _U_CLASS = 0.20, 0.30


def expected(litres: float, rated_kwh_per_day: float | None) -> Expected:
    """Standing loss per kelvin of the store over its room, as installed [W/K].

    litres : float [l]. rated_kwh_per_day : float, the rating at 65 C in a room of 20 C, None for none
    Returns Expected: from the rating, else from class C, the poorest that may be sold since 2017.
    Source: Reg. (EU) 812/2013 Annex II Table 2, coefficients from memory; EN 12897 rates at the same
    temperatures (from memory).
    """
    if rated_kwh_per_day is not None:
        usual = rated_kwh_per_day / 0.024 / _TEST_K * INSTALLED
        return Expected(usual, _U_RATED * usual)
    usual = float(loss_class_limit_w(litres, "C")) / _TEST_K
    return Expected(usual, _U_CLASS * usual)


def cooling_minutes(litres: float, loss_w_per_k: float, from_c: float, to_c: float) -> float:
    """Time for a cylinder to cool between two temperatures in a room at 20 °C [min]; 0 for no fall.

    litres : float [l]. loss_w_per_k : float [W/K]. from_c, to_c : float [C], above 20 C
    Source: exponential decay with the time constant of the water's heat capacity over the loss.
    """
    if from_c <= to_c:
        return 0.0
    hours = litres * WH_PER_LITRE_KELVIN / loss_w_per_k
    return 60.0 * hours * log((from_c - RATED_ROOM_C) / (to_c - RATED_ROOM_C))


def cooling_k_per_h(litres: float, loss_w_per_k: float, over_room_k: float) -> float:
    """Fall of a standing cylinder's mean temperature [K/h].

    litres : float [l]. loss_w_per_k : float [W/K]. over_room_k : float [K]
    Source: heat lost over the water's heat capacity, 1.163 Wh/(l K).
    """
    return loss_w_per_k * over_room_k / (litres * WH_PER_LITRE_KELVIN)
