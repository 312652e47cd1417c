"""The sun's warmth by day: above the air, on the ground, and on the walls and windows of a house."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.sun import SOLAR_CONSTANT, declination, half_day

Array = NDArray[np.float64]

GROUND_REFLECTS = 0.2
"""Usual albedo of grass and pavement, Liu and Jordan (1963)."""
_HOUR_ANGLES = np.radians(np.arange(-178.75, 180.0, 2.5))


def extraterrestrial(day_of_year: ArrayLike, latitude: float) -> Array:
    """Daily mean irradiance on the horizontal above the air.

    day_of_year : array (n,), 1 on 1 January. latitude : float [deg], south negative
    Returns array (n,) [W/m2]. Source: FAO Irrigation and Drainage Paper 56, equations 21 to 25, summed over the day.
    """
    return np.asarray(np.mean(_beam(day_of_year, latitude)[0], axis=1))


def from_temperature_range(day_of_year: ArrayLike, latitude: float, range_k: ArrayLike) -> Array:
    """Daily mean global irradiance told from how far the day's temperature rose and fell.

    range_k : array (n,) [K], day's highest less lowest temperature
    Returns array (n,) [W/m2]. Source: Hargreaves and Samani (1982), 0.16 inland, as FAO Irrigation and Drainage Paper 56
    equation 50 gives it.
    """
    spread = np.maximum(np.asarray(range_k, dtype=np.float64), 0.5)
    return np.asarray(0.16 * extraterrestrial(day_of_year, latitude) * np.sqrt(spread))


def on_walls(day_of_year: ArrayLike, latitude: float, horizontal: ArrayLike) -> Array:
    """Daily mean irradiance on vertical windows, two fifths facing the noon sun and a fifth each other side.

    horizontal : array (n,) [W/m2], daily mean global irradiance on the horizontal
    Returns array (n,) [W/m2]. A low winter sun gives windows more than it gives the ground, a high one less.
    Source: diffuse share by Erbs, Klein and Duffie (1982), daily form; beam by geometry; a vertical pane sees half of
    the sky and half of the ground (Liu and Jordan 1963). Orientations: common practice, a house like others.
    """
    total = np.asarray(horizontal, dtype=np.float64)
    flat, walls = _beam(day_of_year, latitude)
    above = np.maximum(np.mean(flat, axis=1), 1.0)
    beam = total * (1.0 - _diffuse_share(np.clip(total / above, 0.0, 1.0), half_day(day_of_year, latitude)))
    noon, east, west, back = (np.mean(side, axis=1) / above for side in walls)
    seen = 0.4 * noon + 0.2 * (east + west + back)
    return np.asarray(beam * seen + 0.5 * (total - beam) + 0.5 * GROUND_REFLECTS * total)


def _beam(day_of_year: ArrayLike, latitude: float) -> tuple[Array, tuple[Array, ...]]:
    """Beam above the air over the day [W/m2], on the horizontal, and on walls facing noon, east, west and away."""
    n = np.asarray(day_of_year, dtype=np.float64)[:, None]
    sun = SOLAR_CONSTANT * (1.0 + 0.033 * np.cos(2 * np.pi * n / 365.0))
    place, tilt = np.radians(latitude), declination(n)
    height = np.sin(place) * np.sin(tilt) + np.cos(place) * np.cos(tilt) * np.cos(_HOUR_ANGLES)
    south = np.sin(place) * np.cos(tilt) * np.cos(_HOUR_ANGLES) - np.cos(place) * np.sin(tilt)
    across = np.cos(tilt) * np.sin(_HOUR_ANGLES)
    noon = south if latitude >= 0 else -south
    up = height > 0.0
    walls = tuple(np.where(up, sun * np.maximum(s, 0.0), 0.0) for s in (noon, -across, across, -noon))
    return np.where(up, sun * height, 0.0), walls


def _diffuse_share(clearness: Array, half_day_min: Array) -> Array:
    k = clearness
    winter = np.where(k < 0.715, 1.0 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4, 0.143)
    other = np.where(k < 0.722, 1.0 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)
    # The two halves of the year part at a sunset 81.4 degrees after noon.
    return np.where(half_day_min <= 81.4 * 4.0, winter, other)
