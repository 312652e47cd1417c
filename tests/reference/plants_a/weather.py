"""Synthetic weather: hourly years with persistence, interpolated to minutes.

Daily mean temperature is a yearly cosine plus a first-order autoregressive series (lag-one coefficient near
0.8, as European stations show; from memory). Sun is clear-sky irradiance (Haurwitz 1945) times a clearness of
the day that widens the daily swing. The dew point follows the air with its own persistence. Wind is
autoregressive Weibull.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.stats import norm


@dataclass(frozen=True)
class Climate:
    """Mean and half-range of the year [degC], spread of days [K], humidity deficit [K], wind [m/s], place."""

    name: str
    mean_c: float
    half_range_k: float
    day_sd_k: float
    dew_gap_k: float
    wind_ms: float
    latitude: float
    longitude: float
    cloud: float


CLIMATES = (
    Climate("maritime", 10.2, 6.0, 2.9, 2.6, 4.5, 52.5, -1.6, 0.62),
    Climate("inland", 9.2, 9.3, 3.6, 3.4, 3.0, 49.0, 10.4, 0.55),
    Climate("upland", 7.6, 7.0, 3.2, 2.0, 5.5, 54.5, -2.4, 0.66),
    Climate("cold", 5.8, 11.5, 4.3, 2.8, 3.2, 58.0, 15.3, 0.58),
    Climate("mild coast", 11.6, 5.0, 2.4, 2.3, 6.0, 52.3, -7.1, 0.60),
    Climate("dry basin", 10.4, 10.0, 3.6, 5.0, 2.6, 47.5, 15.1, 0.45),
)


def persistent(rng: np.random.Generator, n: int, lag_one: float) -> np.ndarray:
    """Return `n` standard normal values with first-order autocorrelation `lag_one`."""
    shocks = rng.standard_normal(n) * np.sqrt(1.0 - lag_one**2)
    out = np.empty(n)
    last = rng.standard_normal()
    for i in range(n):
        last = lag_one * last + shocks[i]
        out[i] = last
    return out


def clear_sky_w_m2(day_of_year: np.ndarray, hour: np.ndarray, latitude: float) -> np.ndarray:
    """Return clear-sky global horizontal irradiance [W/m2] (Haurwitz 1945) at solar `hour`."""
    declination = np.radians(23.45) * np.sin(2 * np.pi * (284 + day_of_year) / 365)
    phi = np.radians(latitude)
    angle = np.radians(15.0 * (hour - 12.0))
    cosine = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)
    cosine = np.maximum(cosine, 1e-3)
    return np.where(cosine > 2e-3, 1098.0 * cosine * np.exp(-0.057 / cosine), 0.0)


def hourly(
    rng: np.random.Generator,
    climate: Climate,
    first_day_of_year: int,
    days: int,
    zone_h: float,
    daily_c: np.ndarray | None = None,
) -> dict[str, np.ndarray]:
    """Return hourly `to` [degC], `rh` [%], `wind` [m/s] and `sun` [W/m2] for `days` days.

    Hours are standard time, `zone_h` [h] ahead of UTC. `daily_c` replaces the synthetic daily means by
    measured ones (one value a day).
    """
    doy = (first_day_of_year + np.arange(days)) % 365
    mean = climate.mean_c - climate.half_range_k * np.cos(2 * np.pi * (doy - 20) / 365)
    slow = persistent(rng, days, 0.80)
    # cold spells are longer and deeper than warm ones in winter
    anomaly = climate.day_sd_k * np.where(slow < 0, 1.15, 0.9) * slow
    daily = mean + anomaly if daily_c is None else np.resize(daily_c, days)
    clear = norm.cdf(0.8 * persistent(rng, days, 0.45) - 0.3 * slow - (climate.cloud - 0.5))
    hours = np.arange(days * 24)
    sky = np.repeat(clear, 24)
    sun = clear_sky_w_m2(
        np.repeat(doy, 24), hours % 24 + 0.5 - zone_h + climate.longitude / 15.0, climate.latitude
    ) * (0.12 + 0.75 * sky)
    sun *= np.clip(1.0 + 0.25 * persistent(rng, len(hours), 0.5), 0.2, 1.2)
    season = 0.6 + 0.4 * np.repeat(np.sin(np.pi * doy / 365) ** 2, 24)
    swing = season * (1.0 + 6.0 * sky) * np.cos(2 * np.pi * (hours % 24 - 15) / 24)
    centre = (np.arange(days) + 0.5) * 24
    to = np.interp(hours + 0.5, centre, daily) + swing + 0.5 * persistent(rng, len(hours), 0.9)
    wind = climate.wind_ms * 1.13 * (-np.log(norm.sf(persistent(rng, len(hours), 0.96)))) ** 0.5
    gap = climate.dew_gap_k * np.exp(0.55 * persistent(rng, len(hours), 0.97)) + np.maximum(swing, 0.0)
    rh = 100.0 * np.exp(17.62 * (to - gap) / (243.12 + to - gap) - 17.62 * to / (243.12 + to))
    return {"to": to, "rh": np.clip(rh, 25.0, 99.0), "wind": np.clip(wind, 0.1, 22.0), "sun": sun}


def from_day_of_year(first: date, values: np.ndarray, start: date, days: int) -> np.ndarray:
    """Return `days` measured daily means from the first day in `values` with the calendar day of `start`.

    `first` is the date of the first value. ValueError where the record is shorter than a year.
    """
    if len(values) < 366:
        raise ValueError(f"needs at least 366 daily temperatures, has {len(values)}")
    day = min(start.day, 28)
    offset = (date(first.year, start.month, day) - first).days % 365
    return np.resize(np.concatenate([values[offset:], values[:offset]]), days)


def to_minutes(values: np.ndarray) -> np.ndarray:
    """Interpolate hourly means to minutes (linear between hour centres)."""
    n = len(values) * 60
    return np.interp(np.arange(n) + 0.5, np.arange(len(values)) * 60.0 + 30.0, values)


def design_outdoor_c(climate: Climate) -> float:
    """Return a design outdoor temperature [degC]: the coldest day of about one year in one."""
    return round(climate.mean_c - climate.half_range_k - 2.3 * climate.day_sd_k, 0)
