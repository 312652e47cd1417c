"""Standing heat loss of a cylinder from rating or label class, with pipes and fittings as installed."""

from __future__ import annotations

from math import hypot, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.physics.hot_water import (
    RATED_ROOM_C,
    RATED_STORE_C,
    WH_PER_LITRE_KELVIN,
    loss_class_limit_w,
)

Array = NDArray[np.float64]

_TEST_K = RATED_STORE_C - RATED_ROOM_C
INSTALLED = 1.25
"""Pipes, valves and the sensor's pocket add a fifth to a half to the rated loss (common practice); the
lower part of it here, because a cylinder's rating has its connections on."""
# Half of the range above, and the class's own width (B to C) where no rating is given.
_U_RATED, _U_CLASS = 0.20, 0.30

# A cylinder's room is anything from a cellar at 10 to a plant room at 25 °C: a mean and its standard
# uncertainty (common practice).
_AROUND_C, _U_AROUND = 19.0, 3.5
LAYER_W_PER_K, _U_LAYER = 0.4, 0.4
"""What layers add to a loss read off one sensor [W/K]: the coil leaves cold water beneath it, draws bring
more up, and the layer at the sensor gives heat to it through water and shell. 1 W/K passes between layers a
sixth of the height apart (0.25 m2 of water at 0.6 W/mK, and a steel shell of 2 mm); the layer below is 0 to
20 K colder. It only ever adds."""


def behind_reading(read_w_per_k: ArrayLike, over_k: ArrayLike, store_c: ArrayLike) -> Array:
    """Standing loss of a cylinder behind the fall of its one sensor, layers and its own room allowed for.

    read_w_per_k : float or array [W/K], by the sensor's fall over `over_k`. over_k : float or array [K], the
        difference to the room that the reading used. store_c : float or array [C], the sensor then
    Returns the broadcast shape [W/K]; nan where the store is no warmer than its room.
    Source: heat balance of the sensor's layer; the room and the layers are common practice.
    """
    over = np.asarray(store_c, dtype=float) - _AROUND_C
    share = np.asarray(over_k, dtype=float) / np.where(over > 0.0, over, np.nan)
    return ((np.asarray(read_w_per_k, dtype=float) - LAYER_W_PER_K) * share)[()]


def reading_uncertainty(loss_w_per_k: float, spread: float, store_c: float) -> float:
    """Standard uncertainty of a loss from `behind_reading` [W/K].

    loss_w_per_k : float [W/K]. spread : float [W/K], standard uncertainty by scatter. store_c : float [C]
    Source: GUM (JCGM 100:2008) 5.1.2, independent contributions.
    """
    return hypot(spread, _U_LAYER, _U_AROUND / (store_c - _AROUND_C) * loss_w_per_k)


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
