"""Electricity signature: base load, slope and base temperature by day, and a year of usual weather.

The three-parameter heating model of ASHRAE Guideline 14 and IPMVP option C, with its goodness-of-fit
statistics.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.reference_weather import reference_weather
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.change import DetectedChange, find_change
from fieldfare.analysis.figures.electricity_days import ElectricityDays
from fieldfare.analysis.figures.energy_signature import ChangePoint, NotIdentified, change_point
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.minutes.rolling import window_mean
from fieldfare.analysis.statistics.distributions import GAUSS_95, inflation, t_quantile

Floats = NDArray[np.float64]

_NO_BASE = "no days were too warm to heat, so hot water and standby are not known apart from heating"
FEWEST_DAYS = 28
"""Whole days with weather (common practice: four weeks hold mild and cold days)."""
DAYS_OF_A_YEAR = 365.0
WHOLE_YEAR_DAYS = 350
"""Days of the own weather that stand for a year, where the design names no temperature."""
SCATTER_LIMIT = 0.25
"""CV(RMSE) above which a model of daily readings is too loose for savings over a year: ASHRAE Guideline
14-2002, 5.3.2.1 (from memory)."""
LEAST_CHANGE = 0.03
"""Share of the mean day from which a change is reported (common practice: habits and a class B meter do as
much)."""
_HIGH_AUTOCORRELATION = 0.95
# Share of the line's slope with which days without heating fall at most. Hot water itself takes less in warm
# weather, 3 to 4 % a kelvin of a base that is worth 4 to 6 K of heating, and some mild days are heated for an
# hour: a fifth to a quarter. Days that are all heated fall by a half of the line's slope or more (common
# practice).
_FEWEST_FOR_SLOPE, _BASE_FALLS = 8, 0.35
# The shortest day lies ten days before the year's end; sun counts in full where some kelvins are lacking.
_AFTER_SOLSTICE, _YEAR, _HEATING_K = 10.0, 365.25, 3.0
_MEMORY_DAYS = 3  # of a house's walls (common practice: time constants of one to four days)


@dataclass(frozen=True)
class Rise:
    """A step or slide of the electricity at comparable weather.

    kind : "step" or "slide". first, low, high : its first day with its 95 % interval, days since 1970. days
    : length of a slide. kwh_per_day : size with its interval. share : of the mean day before it
    """

    kind: str
    first: int
    low: int
    high: int
    days: int
    kwh_per_day: Estimate
    share: float


@dataclass(frozen=True)
class ElectricitySignature:
    """Estimates hold 95 %. base_kwh_per_day : of days without heating, hot water and standby in it

    slope_kwh_per_day_k : electricity a day for each kelvin below the base temperature. cv_rmse, nmbe :
    ASHRAE Guideline 14's statistics, over the days used. year_kwh : of usual weather, `year_weather` says
    which. reason : why there is no signature; year_reason : why there is no year
    """

    base_kwh_per_day: Estimate
    slope_kwh_per_day_k: Estimate
    base_temperature_c: Estimate
    year_kwh: Estimate
    year_weather: str = ""
    cv_rmse: float | None = None
    nmbe: float | None = None
    r_squared: float | None = None
    days_used: int = 0
    change: Rise | None = None
    fit: ChangePoint | None = None
    reason: str = ""
    year_reason: str = ""


def electricity_signature(used: ElectricityDays, design_outdoor_c: float | None) -> ElectricitySignature:
    """Fit the signature of whole days.

    design_outdoor_c : float [C], design temperature of the place, or None
    """
    known = used.known
    if known.sum() < FEWEST_DAYS:
        what = "electricity and outdoor temperature"
        return _without(f"needs {FEWEST_DAYS} whole days with {what}, has {int(known.sum())}")
    kwh = np.where(known, used.kwh, np.nan)
    try:
        fit = change_point(used.outdoor, kwh)
        if _still_falls(used, fit):
            fit = change_point(used.outdoor, kwh, straight=True)
    except NotIdentified as why:
        return _without(str(why))
    residual = (used.kwh - np.asarray(fit.predict(used.outdoor)))[known]
    mean, free = float(used.kwh[known].mean()), max(int(known.sum()) - 3, 1)
    year, weather, reason = _year(used, fit, design_outdoor_c)
    return ElectricitySignature(
        _of(fit.base_load, fit.base_load_interval, _NO_BASE),
        _of(-fit.slope, (-fit.slope_interval[1], -fit.slope_interval[0]), ""),
        _of(
            fit.base_temperature_c,
            fit.base_temperature_interval,
            _NO_BASE,
        ),
        year,
        weather,
        float(np.sqrt(np.sum(residual**2) / free)) / mean,
        float(residual.sum()) / free / mean,
        fit.r_squared,
        fit.days_used,
        _change(used, fit),
        fit,
        "",
        reason,
    )


def _still_falls(used: ElectricityDays, fit: ChangePoint) -> bool:
    """Whether days taken as unheated still use less electricity when warmer, so that they are heated too.

    A heat pump needs more for each kelvin the colder it is, so the line bends, and in a winter's days the
    bend passes for the base.
    """
    warm = used.known & (used.outdoor >= fit.base_temperature_c)
    if warm.sum() < _FEWEST_FOR_SLOPE or float(np.ptp(used.outdoor[warm])) <= 0.0:
        return False
    dx = used.outdoor[warm] - used.outdoor[warm].mean()
    squares = float(np.sum(dx**2))
    slope = float(np.sum(dx * used.kwh[warm])) / squares
    left = used.kwh[warm] - used.kwh[warm].mean() - slope * dx
    free = int(warm.sum()) - 2
    rho = min(fit.autocorrelation, _HIGH_AUTOCORRELATION)
    error = sqrt(float(np.sum(left**2)) / free / squares * inflation(rho))
    most = _BASE_FALLS * fit.slope
    return slope - most < -t_quantile(0.95, max(free / inflation(rho), 2.0)) * error


def _without(reason: str) -> ElectricitySignature:
    none = Estimate.none(reason)
    return ElectricitySignature(none, none, none, none, reason=reason, year_reason=reason)


def _of(value: float, interval: tuple[float, float], reason: str) -> Estimate:
    return Estimate(value, *interval) if np.isfinite(value) else Estimate.none(reason)


def heating_degrees(fit: ChangePoint, outdoor: Floats) -> Floats:
    """Kelvins of each day below the base temperature, or below the warmest day without one: float64 (n,)."""
    base = fit.base_temperature_c if np.isfinite(fit.base_temperature_c) else float(np.nanmax(outdoor))
    return np.maximum(base - outdoor, 0.0)


def _year(
    used: ElectricityDays, fit: ChangePoint, design_outdoor_c: float | None
) -> tuple[Estimate, str, str]:
    """Electricity of a year of usual weather: estimate, the weather, and the reason if there is none."""
    if np.isnan(fit.base_load):
        return Estimate.none(_NO_BASE), "", _NO_BASE
    if design_outdoor_c is not None:
        weather = reference_weather(design_outdoor_c)
        outdoor, days = weather.outdoor_c, weather.days
        weather_source = f"EN 14825 season {weather.season.name}, moved to {design_outdoor_c:g} °C"
    elif np.isfinite(used.outdoor).sum() >= WHOLE_YEAR_DAYS:
        outdoor = used.outdoor[np.isfinite(used.outdoor)]
        days = np.full(len(outdoor), DAYS_OF_A_YEAR / len(outdoor))
        weather_source = "the weather of the days measured"
    else:
        reason = f"needs design.outdoor_c in the site file, or {WHOLE_YEAR_DAYS} days of weather"
        return Estimate.none(reason), "", reason
    cold = outdoor < fit.base_temperature_c
    below = np.where(cold, outdoor - fit.base_temperature_c, 0.0)
    total = float(np.sum(days * fit.slope * below)) + DAYS_OF_A_YEAR * fit.base_load
    moved = np.array(
        [np.sum(days * below), np.sum(days[cold]) * -fit.slope, DAYS_OF_A_YEAR]
    )  # by slope, base temperature and base
    rho = min(fit.autocorrelation, _HIGH_AUTOCORRELATION)
    chance = DAYS_OF_A_YEAR * fit.residual_sd**2 * inflation(rho)
    half = sqrt(float(moved @ fit.covariance @ moved) + chance)
    free = max(fit.days_used / inflation(rho) - 3.0, 2.0)
    return Estimate.around(total, t_quantile(0.975, free) * half, 0.0), weather_source, ""


def _change(used: ElectricityDays, fit: ChangePoint) -> Rise | None:
    """The significant step or slide, in either direction."""
    rows = np.flatnonzero(used.known)
    kwh, day = used.kwh[rows], used.day[rows]
    degrees = heating_degrees(fit, used.outdoor)
    before = fill_nan(window_mean(degrees, _MEMORY_DAYS, 0), degrees)
    # Squared: efficiency falls with the cold, and a slightly wrong base temperature bends the line.
    drivers = np.column_stack([degrees[rows], degrees[rows] ** 2, before[rows], _season(day, degrees[rows])])
    found = find_change(kwh, drivers, np.ones(len(rows)), day)
    if found is None or not found.is_sure or abs(found.size) < LEAST_CHANGE * float(kwh.mean()):
        return None
    return _rise(found, kwh, day)


def _season(day: NDArray[np.int64], degrees: Floats) -> Floats:
    """Effect of the sun's height on a heating day's electricity, from 0 in midwinter to 2 at midsummer.

    Without it spring sun looks like a step: at equal temperatures April needs less heat than January.
    """
    date = day.astype("datetime64[D]")
    of_year = (date - date.astype("datetime64[Y]").astype(date.dtype)).astype(np.float64)
    height = 1.0 - np.cos(2.0 * np.pi * (of_year + _AFTER_SOLSTICE) / _YEAR)
    return height * np.minimum(degrees / _HEATING_K, 1.0)


def _rise(found: DetectedChange, kwh: Floats, day: NDArray[np.int64]) -> Rise:
    last = len(day) - 1
    size = Estimate(found.size, found.size - GAUSS_95 * found.error, found.size + GAUSS_95 * found.error)
    before = float(np.mean(kwh[: max(found.at, 1)]))
    first, low, high = (int(day[min(max(i, 0), last)]) for i in (found.at, found.low, found.high))
    return Rise(found.kind, first, low, high, found.days, size, found.size / before)
