"""Weather by the minute: yearly and daily cycles with autoregressive noise."""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter


@dataclass(frozen=True)
class Climate:
    """Climate of a region. Temperatures in degC, design_c for the heat loss."""

    name: str
    mean_c: float
    yearly_k: float  # half the difference between the warmest and the coldest month
    daily_k: float
    spell_k: float  # standard deviation of daily means about the season
    dryness_k: float  # mean dew-point depression below the nightly minimum
    wind: float
    latitude: float
    longitude: float
    timezone: str
    design_c: float


CLIMATES = (
    Climate("maritime", 10.2, 6.2, 2.6, 2.7, 0.3, 4.2, 52.4, -1.9, "Europe/London", -3.0),
    Climate("atlantic_mild", 11.2, 4.8, 2.2, 2.2, 0.2, 5.5, 52.9, -8.3, "Europe/Dublin", -2.0),
    Climate("continental", 9.4, 9.6, 3.4, 3.8, 0.7, 3.2, 51.0, 13.2, "Europe/Berlin", -12.0),
    Climate("continental_east", 8.3, 11.2, 3.4, 4.2, 0.7, 3.4, 52.1, 20.4, "Europe/Warsaw", -16.0),
    Climate("nordic", 5.8, 10.3, 2.8, 4.0, 0.6, 3.6, 59.2, 16.1, "Europe/Stockholm", -17.0),
    Climate("alpine", 7.2, 9.2, 4.2, 3.8, 1.2, 2.0, 47.3, 11.8, "Europe/Vienna", -13.0),
    Climate("northern_plain", 9.9, 7.6, 2.8, 3.2, 0.4, 4.8, 53.2, 8.1, "Europe/Berlin", -9.0),
    Climate("southern_inland", 12.6, 9.6, 4.6, 2.6, 2.4, 2.4, 45.1, 8.6, "Europe/Rome", -5.0),
)


def autoregressive(rng: np.random.Generator, n: int, phi: float) -> np.ndarray:
    """Return n values of a first-order autoregressive process with unit variance."""
    shocks = rng.standard_normal(n) * np.sqrt(1.0 - phi**2)
    shocks[0] = rng.standard_normal()
    return lfilter([1.0], [1.0, -phi], shocks)


def sun_elevation_sine(latitude: float, day_of_year: np.ndarray, solar_hour: np.ndarray) -> np.ndarray:
    """Sine of the sun's elevation (Cooper's declination)."""
    declination = np.radians(23.45) * np.sin(2 * np.pi * (284 + day_of_year) / 365.0)
    angle = np.radians(15.0) * (solar_hour - 12.0)
    phi = np.radians(latitude)
    return np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)


def make_weather(
    climate: Climate, start: np.datetime64, days: int, rng: np.random.Generator, shift_k: float = 0.0
) -> dict[str, np.ndarray]:
    """Return temperature [degC], humidity [%], wind [m/s] and global irradiance [W/m2] by the minute (UTC).

    `shift_k` moves all temperatures, for a cold or a mild season.
    """
    hours = days * 24 + 2
    t = start.astype("datetime64[h]") + np.arange(hours)
    day = (t.astype("datetime64[D]") - t.astype("datetime64[Y]")).astype(int) + 1.0
    solar = (np.arange(hours) + climate.longitude / 15.0) % 24.0
    spell = np.repeat(autoregressive(rng, days + 4, 0.78), 24)[: hours + 24]
    kernel = np.hanning(37)
    spell = np.convolve(spell, kernel / kernel.sum(), mode="same")[12 : 12 + hours] * 1.25
    spell *= 0.82 + 0.2 * np.cos(2 * np.pi * (day - 22) / 365.0)
    cloud = 1.0 / (
        1.0
        + np.exp(
            -1.6 * (autoregressive(rng, hours, 0.95) + 0.7 - 0.25 * np.cos(2 * np.pi * (day - 172) / 365))
        )
    )
    season = climate.mean_c + shift_k - climate.yearly_k * np.cos(2 * np.pi * (day - 22) / 365.0)
    sine = np.clip(sun_elevation_sine(climate.latitude, day, solar), 0.0, 1.0)
    clear = 1080.0 * sine**1.18
    ghi = clear * (1.0 - 0.78 * cloud**1.4)
    strength = 0.35 + 1.25 * (1 - cloud) * (0.55 + 0.45 * np.sin(2 * np.pi * (day - 80) / 365.0))
    daily = -climate.daily_k * strength * np.cos(2 * np.pi * (solar - 3.2) / 24.0)
    clear_sky = -1.2 * (1 - cloud) * (day * 0 + (np.cos(2 * np.pi * (day - 15) / 365) > 0))
    temperature = (
        season + climate.spell_k * spell + daily + clear_sky + 0.35 * autoregressive(rng, hours, 0.7)
    )
    low = np.minimum.reduceat(temperature, np.arange(0, hours, 24))
    night = np.interp(np.arange(hours), np.arange(len(low)) * 24 + 6, low)
    dew = night - climate.dryness_k + 1.3 * autoregressive(rng, hours, 0.93)
    rh = 100.0 * np.exp(17.62 * dew / (243.12 + dew) - 17.62 * temperature / (243.12 + temperature))
    wind = climate.wind * np.exp(0.5 * autoregressive(rng, hours, 0.94) - 0.12)
    minutes = np.arange(days * 1440) / 60.0
    along = np.arange(hours, dtype=float)

    def spread(values: np.ndarray) -> np.ndarray:
        return np.interp(minutes, along, values)

    fine = 0.12 * autoregressive(rng, days * 1440, 0.97)
    flicker = np.clip(
        1.0 + 0.25 * autoregressive(rng, days * 1440, 0.9) * spread(cloud * (1 - cloud) * 4), 0.2, 1.6
    )
    return {
        "t_out": spread(temperature) + fine,
        "rh": np.clip(spread(np.clip(rh, 25, 100)), 25.0, 100.0),
        "wind": np.clip(spread(wind), 0.2, 25.0),
        "ghi": spread(ghi) * flicker,
    }
