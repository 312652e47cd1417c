"""Heating degree-days from daily extremes, a monthly mean, or daily means."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

UK_BASE_C = 15.5  # customary base of UK degree-days
HITCHIN_K = 0.71  # 1/K, CIBSE TM41:2006 (from memory), UK weather


def degree_days_max_min(highest_c: ArrayLike, lowest_c: ArrayLike, *, base_c: float = UK_BASE_C) -> Array:
    """Degree-days of each day from its highest and lowest temperature.

    highest_c, lowest_c : float or array [C]. Per day
    base_c : float [C], default 15.5. Base temperature
    Returns the broadcast shape [K d]. Raises ValueError where a day's highest is below its lowest.
    Source: UK Meteorological Office (McVicker) method; rules as at vesma.com/ddd/ddcalcs.htm.
    """
    high, low = np.asarray(highest_c, dtype=float), np.asarray(lowest_c, dtype=float)
    if np.any(high < low):
        raise ValueError("a day's highest temperature is below its lowest")
    mean = (high + low) / 2.0
    days = np.select(
        [low > base_c, mean > base_c, high >= base_c],
        [np.zeros_like(mean), (base_c - low) / 4.0, (base_c - low) / 2.0 - (high - base_c) / 4.0],
        default=base_c - mean,
    )
    return days[()]


def degree_days_hitchin(
    monthly_mean_c: ArrayLike, days: ArrayLike, *, base_c: float = UK_BASE_C, k: float = HITCHIN_K
) -> Array:
    """Degree-days of a month from its mean temperature alone.

    monthly_mean_c : float or array [C]
    days : float or array [d]. Days in the month
    base_c : float [C], default 15.5. Base temperature
    k : float [1/K], default 0.71. Spread of daily means around the monthly mean, UK
    Returns the broadcast shape [K d]: days / k at the base itself, small and positive above it.
    Source: Hitchin's formula, CIBSE TM41:2006: D = N (Tb - Tm) / (1 - exp(-k (Tb - Tm))).
    """
    below = base_c - np.asarray(monthly_mean_c, dtype=float)
    at_base = np.abs(below) < 1e-9
    away = np.where(at_base, 1.0, below)
    per_day = np.where(at_base, 1.0 / k, away / -np.expm1(-k * away))
    return (np.asarray(days, dtype=float) * per_day)[()]


def degree_days_from_means(daily_mean_c: ArrayLike, *, base_c: float = UK_BASE_C) -> Array:
    """Degree-days of each day from its mean temperature.

    daily_mean_c : float or array [C]. Per day; means of readings spread over the whole day
    base_c : float [C], default 15.5. Base temperature
    Returns the same shape [K d]. Reads low on days that cross the base. Source: CIBSE TM41:2006, mean daily
    temperature.
    """
    return np.maximum(base_c - np.asarray(daily_mean_c, dtype=float), 0.0)[()]


def weather_adjusted(
    base_kwh: ArrayLike,
    weather_kwh: ArrayLike,
    actual_degree_days: ArrayLike,
    standard_degree_days: ArrayLike,
) -> Array:
    """Energy that a period would have taken in standard weather.

    base_kwh, weather_kwh : float or array [kWh]. Parts that don't and do depend on the weather
    actual_degree_days, standard_degree_days : float or array [K d]. To the house's own base temperature
    Returns the broadcast shape [kWh]; NaN without actual degree-days, for then nothing can be scaled.
    Source: vesma.com/ddd/std-year.htm: base + weather part x standard / actual.
    """
    actual = np.asarray(actual_degree_days, dtype=float)
    share = np.where(
        actual > 0.0,
        np.asarray(standard_degree_days, dtype=float) / np.where(actual > 0.0, actual, 1.0),
        np.nan,
    )
    return (np.asarray(base_kwh, dtype=float) + np.asarray(weather_kwh, dtype=float) * share)[()]
