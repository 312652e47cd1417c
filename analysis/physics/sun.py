"""Where the sun stands: solar noon, the length of the day, and how strong a clear noon is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SOLAR_CONSTANT = 1361.0
"""W/m2 at the mean distance (Kopp and Lean 2011)."""


def declination(day_of_year: ArrayLike) -> Array:
    """The sun's declination.

    day_of_year : int or array, 1 on 1 January
    Returns the same shape [rad]. Source: Cooper (1969), 23.45 deg times the sine of 360 (284 + n) / 365 deg.
    """
    n = np.asarray(day_of_year, dtype=np.float64)
    return np.asarray(np.radians(23.45) * np.sin(2.0 * np.pi * (284.0 + n) / 365.0))


def equation_of_time(day_of_year: ArrayLike) -> Array:
    """Apparent less mean solar time.

    day_of_year : int or array, 1 on 1 January
    Returns the same shape [min]. Source: Spencer (1971), Fourier series, good to about half a minute.
    """
    b = 2.0 * np.pi * (np.asarray(day_of_year, dtype=np.float64) - 1.0) / 365.0
    series = (
        0.000075
        + 0.001868 * np.cos(b)
        - 0.032077 * np.sin(b)
        - 0.014615 * np.cos(2 * b)
        - 0.040849 * np.sin(2 * b)
    )
    return np.asarray(229.18 * series)


def solar_noon(day_of_year: ArrayLike, longitude: float) -> Array:
    """When the sun stands highest.

    day_of_year : int or array. longitude : float [deg], east positive
    Returns the same shape [min after 00:00 UTC]; beyond 0 to 1440 where that noon falls on another UTC date.
    """
    return np.asarray(720.0 - 4.0 * longitude - equation_of_time(day_of_year))


def half_day(day_of_year: ArrayLike, latitude: float) -> Array:
    """Time from sunrise to noon, by geometry alone (no refraction).

    day_of_year : int or array. latitude : float [deg], north positive
    Returns the same shape [min], 0 in a polar night, 720 in a polar day.
    """
    cosine = -np.tan(np.radians(latitude)) * np.tan(declination(day_of_year))
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)) * 720.0 / np.pi)


def clear_noon(day_of_year: ArrayLike, latitude: float) -> Array:
    """Global irradiance on the horizontal at noon under a clear sky.

    day_of_year : int or array. latitude : float [deg]
    Returns the same shape [W/m2]. Source: Haurwitz (1945), 1098 times the cosine of the zenith angle, times e
    to the power of -0.057 over that cosine.
    """
    up = np.maximum(np.cos(np.radians(latitude) - declination(day_of_year)), 0.0)
    return np.asarray(np.where(up > 0.0, 1098.0 * up * np.exp(-0.057 / np.maximum(up, 1e-3)), 0.0))


def daytime_temperature(share_of_day: ArrayLike, day_hours: ArrayLike, *, lag_h: float = 1.86) -> Array:
    """Air temperature by day as a share of the way from the morning's least to the afternoon's greatest.

    share_of_day : float or array [-]. 0 at sunrise, 1 at sunset. day_hours : float or array [h]. From sunrise
        to sunset
    lag_h : float [h], default 1.86. From noon to the warmest time
    Returns the broadcast shape [-]. Source: Parton and Logan (1981), sine by day; 1.86 h at 1.5 m above
    ground.
    """
    hours = np.asarray(day_hours, dtype=np.float64)
    return np.asarray(np.sin(np.pi * np.asarray(share_of_day) * hours / (hours + 2.0 * lag_h)))
