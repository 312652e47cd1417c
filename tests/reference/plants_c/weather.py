"""Invented weather by minute: outdoor temperature, humidity, sun and wind."""

from typing import NamedTuple

import numpy as np

CLIMATES = {  # mean of the year, half swing of the year, spread of the day means, degC; winter humidity, %
    "mild": (10.8, 6.3, 3.0, 86.0),
    "central": (9.6, 9.3, 4.0, 83.0),
    "cold": (6.8, 11.5, 4.6, 80.0),
}


class Weather(NamedTuple):
    """Arrays by minute: degC, share of saturation, W/m2 horizontal, m/s."""

    outdoor: np.ndarray
    humidity: np.ndarray
    sun: np.ndarray
    wind: np.ndarray


def slow_noise(rng: np.random.Generator, count: int, keep: float) -> np.ndarray:
    """First-order noise of unit spread; `keep` is what remains from one value to the next."""
    out = np.empty(count)
    value = rng.normal()
    for i, shock in enumerate(rng.normal(size=count) * np.sqrt(1.0 - keep**2)):
        value = keep * value + shock
        out[i] = value
    return out


def clear_sky(day: np.ndarray, hour: np.ndarray, latitude: float) -> np.ndarray:
    """Horizontal irradiance under a clear sky, W/m2, from the height of the sun (Haurwitz 1945)."""
    declination = np.radians(23.45) * np.sin(2 * np.pi * (284 + day) / 365)
    lat = np.radians(latitude)
    sine = np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(
        np.pi * (hour - 12) / 12
    )
    sine = np.maximum(sine, 1e-3)
    return np.where(sine > 0.01, 1098.0 * sine * np.exp(-0.057 / sine), 0.0)


def make_weather(
    rng: np.random.Generator, climate: str, first_day: int, days: int, latitude: float
) -> Weather:
    """Weather of `days` days from day `first_day` of a year."""
    mean, swing, spread, damp = CLIMATES[climate]
    count = days * 1440
    knots = np.arange(-1, days + 2) + 0.5
    front = slow_noise(rng, len(knots), 0.78)
    cloud = np.clip(0.6 + 0.25 * slow_noise(rng, len(knots), 0.5), 0.1, 1.0)
    day = np.arange(count) / 1440.0
    year_day = first_day + day
    hour = (day % 1.0) * 24.0
    cover = np.interp(day, knots, cloud)
    season = mean - swing * np.cos(2 * np.pi * (year_day - 20) / 365)
    sun = clear_sky(year_day, hour, latitude) * (1.0 - 0.75 * cover**2)
    half_day = (1.2 + 4.0 * (1.0 - cover)) * (0.6 - 0.4 * np.cos(2 * np.pi * (year_day - 10) / 365))
    outdoor = season + spread * np.interp(day, knots, front)
    outdoor = outdoor - half_day * np.cos(2 * np.pi * (hour - 3.0) / 24.0)
    hours = np.arange(0, days * 24 + 2)
    outdoor += 0.35 * np.interp(day * 24, hours, slow_noise(rng, len(hours), 0.9))
    moist = damp + 6.0 * np.interp(day, knots, slow_noise(rng, len(knots), 0.6))
    humidity = moist + 5.0 * np.cos(2 * np.pi * (hour - 4.0) / 24.0) - 10.0 * (1.0 - cover)
    wind = np.exp(1.1 + 0.5 * np.interp(day * 24, hours, slow_noise(rng, len(hours), 0.95)))
    return Weather(outdoor, np.clip(humidity, 35.0, 99.0) / 100.0, sun, wind)
