"""Weather of an invented place by the minute, the same for a date whatever the span."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from fieldfare.collector.simulated.design.spec import Climate, Oddity

EPOCH = date(2010, 1, 1)  # the day-to-day noise is drawn from here on, so that spans overlap
SOLAR_CONSTANT = 1361.0  # W/m2 (Kopp and Lean 2011)


@dataclass(frozen=True)
class WeatherSeries:
    """Weather by the minute, from the first instant."""

    outdoor_c: np.ndarray
    vapour_pa: np.ndarray
    sun: np.ndarray  # W/m2 on the horizontal
    facade: np.ndarray  # W/m2 on a south wall

    def columns(self) -> np.ndarray:
        """The four as one float array (minutes, 4), for the compiled step."""
        return np.ascontiguousarray(np.stack([self.outdoor_c, self.vapour_pa, self.sun, self.facade], axis=1))


def _red_noise(rng: np.random.Generator, n: int, memory: float) -> np.ndarray:
    """Autoregressive noise of unit variance: float array (n,)."""
    white = rng.standard_normal(n) * np.sqrt(1.0 - memory**2)
    out = np.empty(n)
    last = 0.0
    for i in range(n):
        last = memory * last + white[i]
        out[i] = last
    return out


def day_means(
    climate: Climate, seed: int, first: date, days: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Daily mean temperature, clearness and dew-point depression.

    climate : Climate; seed : int; first : date; days : int
    Returns tuple of float arrays (days,): [degC], [-] 0 to 1 of clear-sky sun, [K].
    Clear winter days are colder and drier, clear summer days warmer.
    """
    total = (first - EPOCH).days + days
    cold = _red_noise(np.random.default_rng([seed, 11]), total, 0.82)[-days:]
    cloud = _red_noise(np.random.default_rng([seed, 12]), total, 0.55)[-days:]
    damp = _red_noise(np.random.default_rng([seed, 13]), total, 0.6)[-days:]
    ordinal = first.toordinal() + np.arange(days)
    season = np.cos(2.0 * np.pi * (ordinal - date(2010, 1, 22).toordinal()) / 365.2425)  # 1 in late January
    mean = 0.5 * (climate.january_c + climate.july_c) + 0.5 * (climate.january_c - climate.july_c) * season
    spread = climate.day_noise_k * (0.8 + 0.2 * season)
    clear_z = 0.9 * cloud - 0.25 * season
    clearness = np.clip(climate.clearness + 0.2 * clear_z + 0.1 * (1.0 - season), 0.08, 0.85)
    t = mean + spread * cold - 1.2 * season * cloud
    if climate.daily and climate.daily_from is not None:
        known = np.asarray(climate.daily, dtype=float)
        # repeat a series by whole years so that every date gets a day of its own season
        years = max(1, len(known) // 365)
        at = (ordinal - climate.daily_from.toordinal()) % (years * 365)
        t = known[at] + np.random.default_rng([seed, 14]).uniform(-0.5, 0.5, total)[-days:]
    summer = 0.5 * (1.0 - season)
    depression = np.clip(
        climate.dew_depression_k * (1.0 + 1.3 * summer + 0.5 * cloud + 0.35 * damp), 0.3, 14.0
    )
    return t, clearness, depression


def snap(
    t: np.ndarray, first: date, oddities: tuple[Oddity, ...], design_c: float, default: date
) -> np.ndarray:
    """Lower the days of a cold snap below the design temperature.

    t : float array (days,) [degC]; design_c : float [degC]; default : date, used where the oddity names none
    Returns float array (days,) [degC].
    """
    out = t.copy()
    for oddity in oddities:
        if oddity.kind != "cold_snap":
            continue
        at = ((oddity.start or default) - first).days
        for offset, below in enumerate((1.0, 3.0, 4.0, 3.0, 1.0)):
            if 0 <= at + offset < len(out):
                out[at + offset] = min(out[at + offset], design_c - below)
    return out


def minutes(
    climate: Climate,
    seed: int,
    first: date,
    t_day: np.ndarray,
    clear: np.ndarray,
    depression: np.ndarray,
    offset_h: float,
) -> WeatherSeries:
    """Weather by the minute from daily values.

    first : date, first UTC day; t_day, clear, depression : float arrays (days,); offset_h : float [h], mean
        solar time minus UTC
    Returns WeatherSeries with days * 1440 minutes.
    Source: declination after Cooper (1969); clear-sky irradiance as solar constant times 0.75 to the power of
        the air mass; diffuse share falls with clearness (linearised Erbs et al. 1982).
    """
    days = len(t_day)
    n = days * 1440
    minute = np.arange(n)
    hour = (minute % 1440) / 60.0 + offset_h
    day = minute // 1440
    # interpolate daily means smoothly, nearly preserving each day's mean
    mid = np.interp(minute, np.arange(days) * 1440.0 + 720.0, t_day)
    mean_of_mid = mid.reshape(days, 1440).mean(axis=1)
    smooth = mid + np.interp(minute, np.arange(days) * 1440.0 + 720.0, t_day - mean_of_mid)
    swing = climate.swing_k * (0.25 + 0.95 * clear)
    swing_now = np.interp(minute, np.arange(days) * 1440.0 + 720.0, swing)
    wave = np.cos(2.0 * np.pi * (hour - 14.7) / 24.0) + 0.18 * np.cos(4.0 * np.pi * (hour - 13.0) / 24.0)
    # fluctuations of an hour or two
    ripple = np.concatenate(
        [np.random.default_rng([seed, 15, (first.toordinal() + d)]).standard_normal(24) for d in range(days)]
    )
    ripple = np.convolve(ripple, [0.25, 0.5, 0.25], mode="same")
    outdoor = smooth + swing_now * wave + 0.35 * np.interp(minute / 60.0, np.arange(days * 24) + 0.5, ripple)
    # moisture: a dew point that changes slowly, never above the air
    dew_day = t_day - depression
    dew = np.interp(minute, np.arange(days) * 1440.0 + 720.0, dew_day) + 0.15 * swing_now * wave
    vapour = np.minimum(_vapour(dew), _saturation(outdoor))
    # sun
    declination = np.radians(23.45) * np.sin(
        2.0 * np.pi * (284.0 + (first.timetuple().tm_yday + day)) / 365.0
    )
    angle = np.radians(15.0) * (hour - 12.0)
    lat = np.radians(climate.latitude)
    height = np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(angle)
    up = np.maximum(height, 0.0)
    clear_sky = SOLAR_CONSTANT * up * 0.75 ** (1.0 / np.maximum(up, 0.05) ** 0.75)
    clouds = np.concatenate(
        [
            np.random.default_rng([seed, 16, (first.toordinal() + d)]).uniform(0.6, 1.4, 48)
            for d in range(days)
        ]
    )
    share = np.clip(clear[day] * np.interp(minute / 30.0, np.arange(days * 48) + 0.5, clouds), 0.05, 1.0)
    sun = clear_sky * share
    diffuse = sun * np.clip(1.05 - 0.85 * share, 0.18, 1.0)
    beam = np.where(up > 0.03, (sun - diffuse) / np.maximum(up, 0.08), 0.0)
    to_south = np.sin(lat) * np.cos(declination) * np.cos(angle) - np.cos(lat) * np.sin(declination)
    facade = np.minimum(beam, 950.0) * np.maximum(to_south, 0.0) + 0.5 * diffuse + 0.1 * sun
    return WeatherSeries(outdoor, vapour, sun, facade)


def _vapour(dew: np.ndarray) -> np.ndarray:
    """Vapour pressure [Pa] of air with this dew point (over water) [degC]."""
    return 611.213 * np.exp(17.62 * dew / (243.12 + dew))


def _saturation(t: np.ndarray) -> np.ndarray:
    """Saturation vapour pressure [Pa]: over ice below freezing, where fog turns to rime."""
    return np.where(
        t < 0.0, 611.213 * np.exp(22.46 * t / (272.62 + t)), 611.213 * np.exp(17.62 * t / (243.12 + t))
    )


def relative_humidity(outdoor: np.ndarray, vapour: np.ndarray) -> np.ndarray:
    """Relative humidity [%] over water, as sensors report it also below freezing (WMO No. 8)."""
    return 100.0 * vapour / (611.213 * np.exp(17.62 * outdoor / (243.12 + outdoor)))
