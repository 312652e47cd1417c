"""Moist air: what its humidity is, and whether frost can grow on a coil standing in it.

Relative humidity below 0 C means two things: weather services and capacitive sensors state it over liquid
water, some calculators over ice. Every function here takes `over` for that; "water" is the default because
that is what is measured.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Over = Literal["water", "ice"]

SEA_LEVEL_PA = 101_325.0
TRIPLE_POINT_C = 0.01
_RATIO = 0.621945  # molar masses of water and dry air, ASHRAE Fundamentals (2017) chapter 1
_LOWEST_C, _HIGHEST_C = -60.0, 100.0


def saturation_pressure(temperature_c: ArrayLike, *, over: Over = "water") -> Array:
    """Saturation pressure of water vapour.

    temperature_c : float or array [C], -60 to 100
    over : str, default water. water: over liquid (supercooled below 0 C); ice: over ice below the triple
        point
    Returns the same shape [Pa]. Raises ValueError for another word.
    Source: Hyland and Wexler (1983), ASHRAE Fundamentals (2017) chapter 1, equations 5 and 6.
    """
    if over not in ("water", "ice"):
        raise ValueError(f"over must be water or ice, got {over!r}")
    c = np.clip(np.asarray(temperature_c, dtype=float), _LOWEST_C, _HIGHEST_C)
    t = c + 273.15
    log = np.log(t)
    # Polynomials as Horner has them: powers cost more than all the rest.
    liquid = -5.8002206e3 / t + 1.3914993 + t * (-4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8))
    liquid += 6.5459673 * log
    if over == "water":
        return np.exp(liquid)[()]
    ice = t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13)))
    ice += -5.6745359e3 / t + 6.3925247 + 4.1635019 * log
    return np.exp(np.where(c <= TRIPLE_POINT_C, ice, liquid))[()]


def vapour_pressure(temperature_c: ArrayLike, humidity_percent: ArrayLike, *, over: Over = "water") -> Array:
    """Partial pressure of the water vapour in the air.

    temperature_c : float or array [C]
    humidity_percent : float or array [%]. Relative, held within 0.1 to 100
    over : str, default water. What the relative humidity below 0 C refers to
    Returns the broadcast shape [Pa].
    """
    share = np.clip(np.asarray(humidity_percent, dtype=float), 0.1, 100.0) / 100.0
    return (share * saturation_pressure(temperature_c, over=over))[()]


def humidity_ratio(
    temperature_c: ArrayLike,
    humidity_percent: ArrayLike,
    *,
    over: Over = "water",
    pressure_pa: float = SEA_LEVEL_PA,
) -> Array:
    """Mass of water vapour per mass of dry air.

    temperature_c : float or array [C]
    humidity_percent : float or array [%]
    over : str, default water. What the relative humidity below 0 C refers to
    pressure_pa : float [Pa], default 101325.0. Sea level
    Returns the broadcast shape [kg/kg].
    Source: ASHRAE Fundamentals (2017) chapter 1, equation 20.
    """
    vapour = vapour_pressure(temperature_c, humidity_percent, over=over)
    return _RATIO * vapour / (pressure_pa - vapour)


def frost_rate_index(
    temperature_c: ArrayLike,
    humidity_percent: ArrayLike,
    *,
    coil_difference_k: ArrayLike = 8.0,
    over: Over = "water",
    pressure_pa: float = SEA_LEVEL_PA,
) -> Array:
    """Frost growth potential of the outdoor coil: water that the air loses to a coil below its frost point.

    temperature_c : float or array [C]. Outdoor air
    humidity_percent : float or array [%]
    coil_difference_k : float or array [K], default 8.0. Air minus coil surface; common practice 5 to 10 K, no
        source
    over : str, default water. What the relative humidity below 0 C refers to
    pressure_pa : float [Pa], default 101325.0. Sea level
    Returns the broadcast shape [g water per kg dry air]: 0 where frost cannot grow. Proportional to frost
    mass at a given air flow.
    Source: difference of humidity ratios, air against saturation over ice at the coil (mass-transfer
        analogy).
    """
    t = np.asarray(temperature_c, dtype=float)
    coil = t - np.asarray(coil_difference_k, dtype=float)
    saturated = saturation_pressure(coil, over="ice")
    at_coil = _RATIO * saturated / (pressure_pa - saturated)
    lost = humidity_ratio(t, humidity_percent, over=over, pressure_pa=pressure_pa) - at_coil
    index = np.where(coil < 0.0, np.maximum(lost, 0.0), 0.0) * 1000.0
    return np.where(np.isnan(lost), np.nan, index)[()]


def frost_share(
    temperature_c: ArrayLike,
    humidity_percent: ArrayLike,
    *,
    coil_difference_k: ArrayLike = 8.0,
    over: Over = "water",
    above_g_per_kg: float = 0.0,
) -> float:
    """Share of the given times in which frost can grow on the coil.

    temperature_c, humidity_percent : array [C], [%]
    coil_difference_k : float or array [K], default 8.0. Air minus coil surface
    over : str, default water. What the relative humidity below 0 C refers to
    above_g_per_kg : float [g/kg], default 0.0. Smallest frost rate index that counts
    Returns float [-]; gaps are left out, NaN where nothing is known.
    """
    index = np.asarray(
        frost_rate_index(temperature_c, humidity_percent, coil_difference_k=coil_difference_k, over=over),
        dtype=float,
    )
    known = index[np.isfinite(index)]
    return float(np.mean(known > above_g_per_kg)) if known.size else float("nan")
