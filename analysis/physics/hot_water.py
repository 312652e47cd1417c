"""Domestic hot water: heat in a cylinder, usable mixed water, standing loss, and tapping profiles."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
LossClass = Literal["A+", "A", "B", "C", "D", "E", "F"]

# 1.163 Wh/(l K) = 4.1868 kJ/(l K), the customary round value: 0.7 to 1.4 % above water's own at 30 to 50 C. A
# store's volume is named cold, so it is nearer than that for a filled cylinder.
WH_PER_LITRE_KELVIN = 1.163
COLD_C = 10.0  # EN 16147: cold water of the test
MIXED_C = 40.0  # EN 16147: V40 is water at 40 C
USUAL_CYLINDER_LITRES = 250.0
"""A cylinder whose size the site file does not give: a family's beside a heat pump (common practice)."""
RATED_STORE_C, RATED_ROOM_C = 65.0, 20.0  # standing loss test (from memory)

SCALD_FROM_C = 50.0
"""Water at the tap from here on scalds; the one temperature behind every warning. Baths of new homes are held
to 48 °C (Approved Document G3, 2010); published times to a burn disagree, so none is given."""
GROWTH_C = (20.0, 50.0)
"""Legionella multiplies between these: HSG274 Part 2 (2014) names 20 to 45 °C, and WHO (2007, from memory)
survival to 50 °C."""
DISINFECTED_AT_C = 60.0
"""Reference of thermal disinfection: HSG274 Part 2 (2014) asks for 60 °C in the store."""
STORED_HOT_C = 65.0
"""A store above this is hotter than everyday hot water needs: thermal disinfection is 60 °C, and scale and
scald risk grow."""
HOLD_MIN = 60.0
"""Minutes at 60 °C that disinfect a store: the whole contents for an hour (HSG274 Part 2, from memory)."""
# 3 min at 70 °C do the same (DVGW W 551, at each tap; from memory): log-linear between the two, as death
# rates are.
_TENFOLD_K = 10.0 / np.log10(HOLD_MIN / 3.0)
SENSOR_LOW_K = 1.0
"""Sensors in their pockets read up to a kelvin low (common practice): water shown as 59 °C may count."""

# Upper limits a + b V^0.4 [W], V in litres: Reg. (EU) 812/2013 Annex II Table 2, coefficients from memory.
_LOSS_CLASSES: dict[str, tuple[float, float]] = {
    "A+": (5.5, 3.16),
    "A": (8.5, 4.25),
    "B": (12.0, 5.93),
    "C": (16.66, 8.33),
    "D": (21.0, 10.33),
    "E": (26.0, 13.66),
    "F": (31.0, 16.66),
}

# Draw-offs of a day: energy [kWh] and how many, Reg. (EU) 813/2013 Annex III Table 7.
LOAD_PROFILES: Mapping[str, tuple[tuple[float, int], ...]] = MappingProxyType(
    {
        "M": ((1.400, 2), (0.315, 1), (0.735, 1), (0.105, 19)),
        "L": ((1.400, 1), (3.605, 2), (0.315, 1), (0.735, 1), (0.105, 19)),
    }
)


def heat_kwh(litres: ArrayLike, from_c: ArrayLike, to_c: ArrayLike) -> Array:
    """Heat to bring a volume of water from one temperature to another.

    litres : float or array [l]
    from_c, to_c : float or array [C]
    Returns the broadcast shape [kWh], negative where it cools. Source: 1.163 Wh/(l K), customary.
    """
    rise = np.asarray(to_c, dtype=float) - np.asarray(from_c, dtype=float)
    return (np.asarray(litres, dtype=float) * WH_PER_LITRE_KELVIN / 1000.0 * rise)[()]


def mixed_litres(
    litres: ArrayLike, store_c: ArrayLike, *, cold_c: ArrayLike = COLD_C, mixed_c: float = MIXED_C
) -> Array:
    """Mixed water that a uniformly warm volume gives with cold water.

    litres : float or array [l]
    store_c : float or array [C]. Temperature of the volume
    cold_c : float or array [C], default 10.0. Cold water, as in EN 16147
    mixed_c : float [C], default 40.0. What is wanted at the tap, as in EN 16147
    Returns the broadcast shape [l], 0 where the store is colder than what is wanted.
    Raises ValueError where the cold water is not colder than mixed_c.
    Source: mixing balance V (T - Tc) / (Tm - Tc); 200 l at 55 C give 300 l at 40 C.
    """
    cold, store = np.asarray(cold_c, dtype=float), np.asarray(store_c, dtype=float)
    if np.any(cold >= mixed_c):
        raise ValueError(f"cold water must be colder than the mixed water at {mixed_c:g} C")
    volume = np.asarray(litres, dtype=float) * (store - cold) / (mixed_c - cold)
    return np.where(np.isnan(volume), np.nan, np.where(store >= mixed_c, volume, 0.0))[()]


def disinfection_rate(store_c: ArrayLike) -> Array:
    """How fast a store is disinfected, against 60 C.

    store_c : float or array [C]
    Returns the same shape [equivalent minutes at 60 C per minute]: 1 at 60 C, 20 at 70 C, 0 below 59 C, where
    no guidance counts a hold, and 0 where the temperature is not known.
    Source: log-linear between 60 min at 60 C (HSG274 Part 2) and 3 min at 70 C (DVGW W 551), both from
        memory.
    """
    store = np.asarray(store_c, dtype=float)
    warm = np.nan_to_num(store, nan=0.0) >= DISINFECTED_AT_C - SENSOR_LOW_K
    rate = 10.0 ** ((np.where(warm, store, DISINFECTED_AT_C) - DISINFECTED_AT_C) / _TENFOLD_K)
    return np.where(warm, rate, 0.0)[()]


def hold_minutes(store_c: float) -> float:
    """Time for which a store must be held at a temperature to be disinfected [min]; infinite below 59 C.

    Source: as for disinfection_rate.
    """
    rate = float(disinfection_rate(store_c))
    return HOLD_MIN / rate if rate > 0.0 else float("inf")


def loss_class_limit_w(litres: ArrayLike, loss_class: LossClass) -> Array:
    """Highest standing loss of a store in an energy label class.

    litres : float or array [l]
    loss_class : str. A+, A, B, C, D, E or F
    Returns the same shape [W], at 65 C in a room of 20 C. Raises ValueError for another class.
    Source: Reg. (EU) 812/2013 Annex II Table 2, coefficients from memory.
    """
    if loss_class not in _LOSS_CLASSES:
        raise ValueError(f"class must be one of {', '.join(_LOSS_CLASSES)}, got {loss_class!r}")
    constant, factor = _LOSS_CLASSES[loss_class]
    return (constant + factor * np.asarray(litres, dtype=float) ** 0.4)[()]


def loss_class(litres: float, loss_w: float) -> str:
    """Energy label class of a store.

    litres : float [l]
    loss_w : float [W]. Standing loss at 65 C in a room of 20 C
    Returns str, A+ to F, or G above it. Source: as for loss_class_limit_w.
    """
    for name, (constant, factor) in _LOSS_CLASSES.items():
        if loss_w <= constant + factor * litres**0.4:
            return name
    return "G"


def loss_at(
    loss: ArrayLike,
    store_c: ArrayLike,
    *,
    room_c: ArrayLike = RATED_ROOM_C,
    rated_store_c: float = RATED_STORE_C,
    rated_room_c: float = RATED_ROOM_C,
) -> Array:
    """Standing loss carried from one pair of temperatures to another.

    loss : float or array. At the rated pair, in any unit of power or energy per day
    store_c : float or array [C]. Store temperature wanted
    room_c : float or array [C], default 20.0. Temperature around the store
    rated_store_c : float [C], default 65.0. Store temperature of the rating
    rated_room_c : float [C], default 20.0. Room temperature of the rating
    Returns the broadcast shape, in the unit of `loss`. Raises ValueError if the rated pair is equal.
    Source: proportional to the difference of temperatures; the rated pair of Reg. (EU) 812/2013 from memory.
    """
    if rated_store_c == rated_room_c:
        raise ValueError("the rated store and room temperatures are equal")
    difference = np.asarray(store_c, dtype=float) - np.asarray(room_c, dtype=float)
    return (np.asarray(loss, dtype=float) * difference / (rated_store_c - rated_room_c))[()]


def profile_kwh(profile: str) -> float:
    """Daily energy of a tapping profile [kWh]: M 5.845, L 11.655. Raises KeyError for unknown ones."""
    return sum(energy * count for energy, count in LOAD_PROFILES[profile])
