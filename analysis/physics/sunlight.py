"""The sun's warmth by day: above the air, on the ground, and on the walls and windows of a house."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldfare.analysis.physics.sun import SOLAR_CONSTANT, declination, half_day

Array = NDArray[np.float64]

GROUND_REFLECTS = 0.2
"""Usual albedo of grass and pavement, Liu and Jordan (1963)."""
_OVERCAST, _CLEARER, _CLEAREST = 0.21, 0.13, 0.75
"""Clearness without a rise, its growth with the root of the rise [K^-0.5], and that of a clear sky (FAO
Irrigation and Drainage Paper 56, equation 37)."""
_AFTERNOON = np.radians(np.arange(1.25, 180.0, 2.5))
"""Hour angles from noon to midnight: the morning is the same, seen from the other side."""


def extraterrestrial(day_of_year: ArrayLike, latitude: float) -> Array:
    """Daily mean irradiance on the horizontal above the air.

    day_of_year : array (n,), 1 on 1 January. latitude : float [deg], south negative
    Returns array (n,) [W/m2]. Source: FAO Irrigation and Drainage Paper 56, equations 21 to 25, summed over
    the day.
    """
    return _beam(day_of_year, latitude, through_air=False)[0]


def from_temperature_range(day_of_year: ArrayLike, latitude: float, range_k: ArrayLike) -> Array:
    """Daily mean global irradiance estimated from how far the day's temperature rose and fell.

    range_k : array (n,) [K], day's highest less lowest temperature
    Returns array (n,) [W/m2]. Source: Hargreaves and Samani (1982), 0.16 inland, as FAO Irrigation and
    Drainage Paper 56 equation 50 gives it.
    """
    spread = np.maximum(np.asarray(range_k, dtype=np.float64), 0.5)
    return np.asarray(0.16 * extraterrestrial(day_of_year, latitude) * np.sqrt(spread))


def from_afternoon_rise(day_of_year: ArrayLike, latitude: float, rise_k: ArrayLike) -> Array:
    """Daily mean global irradiance estimated from how far the afternoon is warmer than its two nights.

    rise_k : array (n,) [K], mean of 12:00 to 16:00 less that of 4:00 to 8:00 and 20:00 to 24:00, nan where
        not known. A change of air mass, which moves the day's extremes, mostly cancels in it.
    Returns array (n,) [W/m2]. Source: least squares of October to March of four typical years of NREL
    (TMY3), the square root after Hargreaves and Samani (1982), the day between its nights after Bristow and
    Campbell (1984).
    """
    clearness = _OVERCAST + _CLEARER * np.sqrt(np.maximum(np.asarray(rise_k, dtype=np.float64), 0.0))
    return np.asarray(extraterrestrial(day_of_year, latitude) * np.minimum(clearness, _CLEAREST))


def on_walls(day_of_year: ArrayLike, latitude: float, horizontal: ArrayLike) -> Array:
    """Daily mean irradiance on vertical windows, two fifths facing the noon sun and a fifth each other side.

    horizontal : array (n,) [W/m2], daily mean global irradiance on the horizontal
    Returns array (n,) [W/m2]. A low winter sun gives windows more than it gives the ground, a high one less.
    Source: diffuse share by Erbs, Klein and Duffie (1982), daily form; beam by geometry over a clear day, so
        that a low sun, which the air weakens, counts less; a vertical pane sees half of the sky and half of
        the ground (Liu and Jordan 1963). Orientations: common practice, a house like others.
    """
    total = np.asarray(horizontal, dtype=np.float64)
    above = np.maximum(extraterrestrial(day_of_year, latitude), 1.0)
    flat, noon, sides, back = _beam(day_of_year, latitude, through_air=True)
    beam = total * (1.0 - _diffuse_share(np.clip(total / above, 0.0, 1.0), half_day(day_of_year, latitude)))
    seen = (0.4 * noon + 0.2 * (sides + back)) / np.maximum(flat, 1.0)
    return np.asarray(beam * seen + 0.5 * (total - beam) + 0.5 * GROUND_REFLECTS * total)


def _beam(day_of_year: ArrayLike, latitude: float, *, through_air: bool) -> tuple[Array, Array, Array, Array]:
    """Daily means of beam irradiance [W/m2] on four orientations, above the air or below a clear sky; arrays
    (n,).

    Horizontal; a wall facing noon; two facing east and west together; one facing away.
    """
    n = np.asarray(day_of_year, dtype=np.float64)[:, None]
    sun = SOLAR_CONSTANT * (1.0 + 0.033 * np.cos(2 * np.pi * n / 365.0))
    place, tilt = np.radians(latitude), declination(n)
    height = np.sin(place) * np.sin(tilt) + np.cos(place) * np.cos(tilt) * np.cos(_AFTERNOON)
    south = np.sin(place) * np.cos(tilt) * np.cos(_AFTERNOON) - np.cos(place) * np.sin(tilt)
    noon = south if latitude >= 0 else -south
    lit = sun * (height > 0.0) * (_clear_sky_passes(height) if through_air else 1.0)
    flat, to_noon, away = (lit * np.maximum(part, 0.0) for part in (height, noon, -noon))
    across = lit * (np.cos(tilt) * np.sin(_AFTERNOON))
    means = [np.asarray(np.mean(part, axis=1)) for part in (flat, to_noon, across, away)]
    return means[0], means[1], means[2], means[3]


def _clear_sky_passes(sine_of_height: Array) -> Array:
    """Share of the beam that a clear sky lets through [-]: 0.7 to the power of air mass to the power of 0.678
    (Meinel and Meinel 1976), air mass by Kasten and Young (1989)."""
    sine = np.maximum(sine_of_height, 0.0)
    mass = 1.0 / (sine + 0.50572 * (np.degrees(np.arcsin(sine)) + 6.07995) ** -1.6364)
    return np.asarray(0.7 ** (mass**0.678))


def _diffuse_share(clearness: Array, half_day_min: Array) -> Array:
    k = clearness
    winter = np.where(k < 0.715, 1.0 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4, 0.143)
    other = np.where(k < 0.722, 1.0 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)
    # The two halves of the year part at a sunset 81.4 degrees after noon.
    return np.where(half_day_min <= 81.4 * 4.0, winter, other)
