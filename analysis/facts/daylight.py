"""Daily course of the outdoor temperature in solar time, to detect a sunlit sensor or a wrong clock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.physics.sun import half_day, solar_noon
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

_DAY_MIN = 1440
# Windows [min] about a moment: an hour and a half at noon, an hour before sunrise and after sunset, when the
# sun's warmth has left a sensor's case and wall for the most part.
_NOON, _DAWN, _DUSK = (-45, 45), (-45, 15), (15, 75)
OFF_NOON_SHARE = 0.3
"""How far before and after noon the two other windows lie, as a share of the day's length: a wall to the east
or west."""


def daylight_columns(
    site: Site, minutes: Minutes, day: Segments, dates: NDArray[np.datetime64]
) -> dict[str, object]:
    """Columns of the days table, described in `columns/data.py`; none without a longitude or readings.

    dates : datetime64 (d,), the local days
    """
    about = site.site
    grid = minutes.grid
    outdoor, sun = grid.gauge("outdoor_temperature"), grid.gauge("solar_irradiance")
    if (
        about.longitude is None
        or about.latitude is None
        or not (np.isfinite(outdoor).any() or np.isfinite(sun).any())
    ):
        return {}
    date_of = (dates.astype("M8[D]") - dates.astype("M8[Y]")).astype(np.int64) + 1
    noon = _noon_index(minutes, day, solar_noon(date_of, about.longitude))
    half = np.asarray(half_day(date_of, about.latitude))
    out: dict[str, object] = {"day_hours": half / 30.0}
    if np.isfinite(outdoor).any():
        off = OFF_NOON_SHARE * 2.0 * half
        for name, middle, window in (
            ("dawn", noon - half, _DAWN),
            ("fore", noon - off, _NOON),
            ("noon", noon, _NOON),
            ("aft", noon + off, _NOON),
            ("dusk", noon + half, _DUSK),
        ):
            out[f"air_{name}"] = _window(outdoor, middle, window)
        out["air_cos"], out["air_sin"] = _harmonic(outdoor, noon)
    if np.isfinite(sun).any():
        out["sun_centre"] = _centre(sun, noon, half)
    return out


def _noon_index(minutes: Minutes, day: Segments, noon: Floats) -> NDArray[np.int64]:
    """Index on the grid of the solar noon nearest to the middle of each local day."""
    middle = (day.start + day.end) // 2
    minute_of_day = (minutes.grid.time[0] // 60_000 + middle) % _DAY_MIN
    away = (np.round(noon).astype(np.int64) - minute_of_day + _DAY_MIN // 2) % _DAY_MIN - _DAY_MIN // 2
    return np.asarray(middle + away, dtype=np.int64)


def _window(values: Floats, middle: Floats | NDArray[np.int64], window: tuple[int, int]) -> Floats:
    """Mean over a window about each time; nan where a fifth of it is unknown."""
    n = len(values)
    a = np.clip(np.round(middle).astype(np.int64) + window[0], 0, n)
    b = np.clip(np.round(middle).astype(np.int64) + window[1], 0, n)
    part = Segments(a, np.maximum(a, b))
    known = part.count(np.isfinite(values))
    return np.where(known >= 0.8 * (window[1] - window[0]), part.mean(values), np.nan)


def _harmonic(values: Floats, noon: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Cosine and sine of each solar day's first harmonic, angle 0 at noon, without the day's trend."""
    cosine, sine = np.full(len(noon), np.nan), np.full(len(noon), np.nan)
    angle = np.arange(-_DAY_MIN // 2, _DAY_MIN // 2) * 2.0 * np.pi / _DAY_MIN
    cos, sin = np.cos(angle), np.sin(angle)
    ramp = np.arange(_DAY_MIN) / _DAY_MIN - 0.5
    for i, at in enumerate(noon):
        if at < _DAY_MIN // 2 or at + _DAY_MIN // 2 > len(values):
            continue
        x = values[at - _DAY_MIN // 2 : at + _DAY_MIN // 2]
        known = np.isfinite(x)
        count = np.count_nonzero(known)
        if count < 0.95 * _DAY_MIN:
            continue
        if count < _DAY_MIN:
            x = np.where(known, x, np.mean(x[known]))
        # A weather front adds a trend; the remainder returns to its start.
        x = x - ramp * (x[-60:].mean() - x[:60].mean())
        cosine[i], sine[i] = 2.0 * np.mean(x * cos), 2.0 * np.mean(x * sin)
    return cosine, sine


def _centre(sun: Floats, noon: NDArray[np.int64], half: Floats) -> Floats:
    """Centroid of the irradiance between solar midnights [min after solar noon]."""
    out = np.full(len(noon), np.nan)
    for i, at in enumerate(noon):
        a, b = max(at - _DAY_MIN // 2, 0), min(at + _DAY_MIN // 2, len(sun))
        x = sun[a:b]
        if np.isfinite(x).mean() < 0.95 or half[i] < 120.0:
            continue
        light = np.clip(fill_nan(x, 0.0) - 5.0, 0.0, None)
        if light.sum() > 60.0 * 20.0:  # a nearly dark day has no centroid
            out[i] = float(np.sum(light * (np.arange(a, b) - at)) / light.sum())
    return out
