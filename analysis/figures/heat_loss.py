"""Measured heat loss coefficient of the house, and the heat loss at design temperatures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table, day_of_year
from fieldfare.analysis.figures.design_use import designed_hot_water_kwh
from fieldfare.analysis.figures.estimate import Estimate, Fit, robust_fit
from fieldfare.analysis.figures.heat_loss_error import (
    ROOM_SPREAD_K,
    SKY_K,
    SUN_OF_COLD_W_M2_K,
    GuessedSun,
    slope_errors,
)
from fieldfare.analysis.figures.other_sources import house_heat, may_heat_rooms
from fieldfare.analysis.figures.performance import coarse
from fieldfare.analysis.figures.usual_heat import gains_beyond, usual_free_w, with_usual_heat
from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY, only_split_meters
from fieldfare.analysis.physics.sunlight import from_afternoon_rise, from_temperature_range, on_walls
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95, t_quantile
from fieldfare.analysis.statistics.quantiles import nan_median

Floats = NDArray[np.float64]

_FEWEST_DAYS = 14
# Days from which lags of the air, and storage in measured rooms, are regressors (common practice: ten days a
# coefficient), and daily sun that varies enough to be one [W/m2, one standard deviation].
_FEWEST_FOR_LAGS, _FEWEST_FOR_STORAGE, _SUN_VARIES_W_M2 = 40, 30, 3.0
# Heavy walls and floors answer to the week: the days before that count as one regressor, and the days for it.
_EARLIER_DAYS, _FEWEST_FOR_EARLIER = (3, 8), 60
# In less cold sun and gains carry most of the loss, and a slope says nothing of the house: co-heating tests
# ask for 10 K between rooms and outdoors (Johnston et al. 2013, whole house heat loss test method,
# from memory).
_COLD_DAY_K = 10.0
_LEAST_OF_HEAT = 0.6
"""Least loss by the fit over the heat given: less is no house, but a unit that gives all it can (first law,
with room for misread temperatures)."""
_LEAST_NEED, _MOST_CHOICES = 0.3, 8
"""Least share of a day's loss that the plant must give, or sun and gains may stop it; times the days are
chosen anew."""
# Room means that differ by more than sun and gains cause: set-backs for days, a unit at its limit.
_WANDERING_K = 0.8
_FEWEST_TO_BEND, _COLD_K = 60, 16.0
_BEND_SHARE, _BEND_SURE = (
    0.3,
    4.0,
)  # a third of the slope and four standard errors: beyond sun, wind and habits
# The mild half may be the one that misleads: sun, open windows and a fire in spring make it steep. Where both
# pictures are as likely, the slope lies this share of their distance below the mild half's, as a standard
# deviation: the root of a half.
_EITHER = 0.71
_COARSEST_MIN = 4 * 60.0


@dataclass(frozen=True)
class HeatLoss:
    """The measured heat loss.

    coefficient [W/K]; heat_loss_kw [kW at the design temperatures]; ratio to the design's own [-]; load_kw
    [kW, required output on the design day after free gains]; gains_w : the fit's own
    gains_beyond : free heat by the days alone less the usual, in standard deviations of both [-]
    free_share : share of the loss on the days used that sun, people and unmetered heat cover [-]
    """

    coefficient: Estimate
    heat_loss_kw: Estimate
    design_kw: float | None
    ratio: Estimate
    load_kw: Estimate
    base_temperature_c: float | None
    gains_w: float | None
    days_used: int
    method: str
    indoor_measured: bool
    gains_beyond: float = 0.0
    free_share: float = 0.0
    reason_code: str = ""
    """`errors.NotAssessed` code of the reason."""

    @property
    def reason(self) -> str:
        return self.coefficient.reason


def heat_loss(site: Site, days: Table) -> HeatLoss:
    """Fit daily space heat to the difference of indoor and outdoor temperature.

    days : Table, the days table. Returns HeatLoss; all None with the reason if the data do not allow it.
        Method: heat = H (indoor - outdoor, over today and the week before, + sky) - gains - aperture x sun +
        storage, robust to outliers, errors after Newey and West; usual gains and windows of dwellings are a
        Bayesian prior; the heat meter's error limit is added. The coefficient is the whole loss a kelvin
        between rooms and air on these days, that to the sky included.
    """
    design = site.design.heat_loss_kw
    if days.total("minutes_heat_known") == 0:
        need = "needs a heat meter, or flow rate with flow and return temperature"
        return _none(design, need, "missing_quantity")
    if not days.knows("outdoor"):
        return _none(design, "needs outdoor_temperature", "missing_quantity")
    heat_quantity = next((q for q in HEAT_SEEN_BY if f"spacing.{q}" in days), "heat_output")
    if coarse(days, heat_quantity, _COARSEST_MIN):
        return _none(design, "heat readings are more than four hours apart", "spacing_too_wide")
    data = _daily(site, days)
    usable = _usable(data)
    if usable.sum() < _FEWEST_DAYS:
        reason = f"needs at least {_FEWEST_DAYS} whole heating days, has {int(usable.sum())}"
        return _none(design, reason + _without_other(site, days), "too_few_days")
    cold = int((data["difference"][usable] >= _COLD_DAY_K).sum())
    if cold < _FEWEST_DAYS:
        reason = (
            f"needs at least {_FEWEST_DAYS} whole heating days with the rooms {_COLD_DAY_K:g} K or more"
            f" warmer than outdoors, has {cold}"
        )
        return _none(design, reason + _without_other(site, days), "other_weather")
    spread = float(data["difference"][usable].std())
    if spread < 1.0:
        reason = "the weather hardly changed: indoor-outdoor difference varied by less than 1 K"
        return _none(design, reason, "other_weather")
    return _fit(site, days, data, usable)


def _without_other(site: Site, days: Table) -> str:
    """Reason where another source leaves too few days; empty where it does not."""
    sources = site.other_heat_for("space_heating")
    if not sources:
        return ""
    name = sources[0].name
    if may_heat_rooms(site, days) is None:
        return f" on which the {name} surely rests: needs other_heat_output, or other_heat.below_c"
    return f" on which the {name}'s heat is known"


def _none(design: float | None, reason: str, code: str) -> HeatLoss:
    nothing = Estimate.none(reason)
    return HeatLoss(nothing, nothing, design, nothing, nothing, None, None, 0, "", False, reason_code=code)


def _daily(site: Site, days: Table) -> dict[str, Floats]:
    """Daily means in W and K, and the irradiance or its substitute."""
    hours = days.floats("minutes_total") / 60.0
    heat = days["heat_space_kwh"] - np.nan_to_num(days["heat_defrost_taken_kwh"])
    if not (days.total("minutes_hot_water") > 0) and site.hot_water is not None:
        heat = days["heat_total_kwh"] - designed_hot_water_kwh(site.design)
    backup = days["electricity_backup_kwh"]
    if not only_split_meters(site):
        heat = heat + np.nan_to_num(backup)
    heat = house_heat(site, days, heat)
    room = days["room"]
    indoor_measured = bool(np.isfinite(room).mean() > 0.5)
    indoor = room if indoor_measured else np.full(len(days), site.design.indoor_c)
    outdoor = days["outdoor"]
    return {
        "power": heat * 1000.0 / hours,
        "indoor": indoor,
        "outdoor": outdoor,
        "difference": indoor - outdoor,
        "storage": (
            np.nan_to_num(days["room_end"] - days["room_begin"]) if indoor_measured else np.zeros(len(days))
        ),
        "sun": daily_sun(site, days),
        "known": days["minutes_heat_known"] / days["minutes_total"],
        "measured": np.full(len(days), float(indoor_measured)),
    }


def daily_sun(site: Site, days: Table) -> Floats:
    """Daily irradiance on the windows [W/m2]: measured, or from the day's course of temperature."""
    latitude = site.latitude if site.latitude is not None else 50.0
    of_year = day_of_year(days["day"])
    span = days["outdoor_max"] - days["outdoor_min"]
    typical = float(np.nanmedian(span)) if np.isfinite(span).any() else 6.0
    modelled = from_temperature_range(
        of_year, latitude, np.where(np.isfinite(span) & (span > 0), span, typical)
    )
    if "outdoor_rise" in days:
        rise = days["outdoor_rise"]
        modelled = np.where(np.isfinite(rise), from_afternoon_rise(of_year, latitude, rise), modelled)
    outdoor = days["outdoor"]
    colder = SUN_OF_COLD_W_M2_K * np.nan_to_num(outdoor - nan_median(outdoor))
    on_windows = np.maximum(on_walls(of_year, latitude, modelled) + colder, 0.0)
    measured = days["solar"]
    if not _sun_measured(days):
        return on_windows
    return np.where(np.isfinite(measured), on_walls(of_year, latitude, measured), on_windows)


def _sun_measured(days: Table) -> bool:
    return bool(np.isfinite(days["solar"]).mean() > 0.8)


def _usable(data: dict[str, Floats]) -> NDArray[np.bool_]:
    """Whole days with real heating: cold enough that gains alone could not supply it.

    Selected by weather, not by heat, which would bias the slope.
    """
    whole = np.isfinite(data["power"] + data["difference"]) & (data["known"] > 0.95)
    if whole.sum() < _FEWEST_DAYS:
        return whole
    difference, power = data["difference"], data["power"]
    order = np.argsort(difference[whole])
    coldest = order[-max(len(order) // 3, 7) :]
    slope = float(np.median(power[whole][coldest] / difference[whole][coldest]))
    # Days with a loss below a third of the coldest third's are in the free-heat region.
    enough = difference > 0.38 * float(np.median(difference[whole][coldest]))
    heated = whole & enough
    # A switched-off plant (holiday, repair) gives nearly nothing on a cold day: leave those days out as well.
    # Where the rooms stay as warm as ever the sun carried the house, and the day belongs to the rest.
    worked, indoor = heated & (power > 0.1 * slope * difference), data["indoor"]
    if data["measured"][0] < 0.5 or not worked.any():
        return worked
    return worked | (heated & (indoor > float(np.median(indoor[worked])) - ROOM_SPREAD_K))


class _Regressors(NamedTuple):
    """Columns of the regression by day, and the days that it uses.

    columns : float64 (n, k): temperature difference and its lags, constant gains, sun, storage
    rows : bool (n,). gains_at : index of the constant gains; the sun follows it
    """

    columns: Floats
    rows: NDArray[np.bool_]
    gains_at: int
    has_lags: bool
    has_sun: bool


def _regressors(days: Table, data: dict[str, Floats], usable: NDArray[np.bool_]) -> _Regressors:
    """With the days before where enough well-heated days are left for them."""
    whole = _regressors_of(days, data, usable, lags=True)
    if whole.has_lags and whole.rows.sum() < _FEWEST_FOR_LAGS:
        return _regressors_of(days, data, usable, lags=False)
    return whole


def _regressors_of(
    days: Table, data: dict[str, Floats], usable: NDArray[np.bool_], *, lags: bool
) -> _Regressors:
    lagged = [_before(data["difference"], n) for n in (1, 2)]
    rows = usable & np.isfinite(lagged[0]) & np.isfinite(lagged[1])
    has_lags = lags and bool(rows.sum() >= _FEWEST_FOR_LAGS)
    if not has_lags:
        rows = usable
    columns = [data["difference"] + SKY_K]
    if has_lags:
        # Written as differences from today, so that the first coefficient is the whole of H.
        columns += [lag - data["difference"] for lag in lagged]
        earlier = _mean_before(data["difference"], *_EARLIER_DAYS)
        if (rows & np.isfinite(earlier)).sum() >= _FEWEST_FOR_EARLIER:
            columns.append(earlier - data["difference"])
            rows = rows & np.isfinite(earlier)
    gains_at = len(columns)
    columns.append(-np.ones(len(days)))
    sun = data["sun"]
    # Always kept apart: the usual gains are those of people and appliances alone.
    has_sun = float(np.nanstd(sun[rows])) > _SUN_VARIES_W_M2
    if has_sun:
        columns.append(-sun)
        if has_lags:
            # Walls and floors release yesterday's sun today; as differences, so that the first coefficient
            # is the whole.
            columns.append(sun - _before(sun, 1))
            rows = rows & np.isfinite(columns[-1])
    if data["measured"][0] > 0.5 and rows.sum() >= _FEWEST_FOR_STORAGE:
        columns.append(data["storage"])
        if has_lags and float(np.nanstd(data["indoor"][rows])) > _WANDERING_K:
            # Walls and floors give back heat when the rooms were warmer before than now: another answer than
            # to the air.
            columns += [_before(data["indoor"], n) - data["indoor"] for n in (1, 2)]
            rows = rows & np.isfinite(columns[-1]) & np.isfinite(columns[-2])
    stacked = np.column_stack(columns)
    return _Regressors(stacked, _well_heated(data, stacked, rows), gains_at, has_lags, has_sun)


def _fit(site: Site, days: Table, data: dict[str, Floats], usable: NDArray[np.bool_]) -> HeatLoss:
    """Heat loss by a daily regression of space heat on temperature difference, sun and storage."""
    columns, rows, gains_at, has_lags, has_sun = _regressors(days, data, usable)
    x, y = columns[rows], data["power"][rows]
    fit = robust_fit(x, y)
    whole = float(fit.coefficients[0])
    bent = _bent(site, x, y) if data["measured"][0] < 0.5 or heater_unseen(site) else None
    if bent is not None:
        x, fit = bent
    n, k = x.shape
    if fit.coefficients[0] <= 0:
        return _none(
            site.design.heat_loss_kw,
            "space heat does not grow with cold: no heat loss can be read from it",
            "not_enough_data",
        )
    beyond = gains_beyond(site, fit, gains_at)
    fit = with_usual_heat(site, fit, gains_at, has_sun)
    slope, slope_error = fit.combination(np.eye(k)[0])
    difference, sun = float(np.mean(data["difference"][rows])), data["sun"][rows]
    lost = slope * (difference + SKY_K)
    # The heat supplied is lost; sun and people only add to it.
    if lost < _LEAST_OF_HEAT * float(np.mean(data["power"][rows])):
        return _none(
            site.design.heat_loss_kw,
            "space heat hardly grows with cold: the unit gives all it can, or rooms differ from day to day",
            "not_enough_data",
        )
    gains = float(fit.coefficients[gains_at])
    aperture = float(fit.coefficients[gains_at + 1]) if has_sun else 0.0
    sunless = float(np.nanquantile(sun, 0.1)) * aperture if has_sun else 0.0
    mean_gain = gains + (float(np.nanmean(sun)) * aperture if has_sun else 0.0)
    free_share = float(np.clip(mean_gain / lost, 0.0, 1.0))
    t = t_quantile(0.975, max(n - k, 2)) / GAUSS_95
    errors = slope_errors(
        days,
        data["difference"][rows],
        slope_error * t / slope,
        free_share,
        rooms_measured=bool(data["measured"][0] >= 0.5),
        guessed_sun=(
            None
            if _sun_measured(days)
            else GuessedSun(
                max(aperture, 0.0) / slope,
                max(mean_gain - usual_free_w(site, float(np.nanmean(sun))), 0.0) / lost,
            )
        ),
    )
    relative = errors.downward
    if bent is not None:
        relative = float(np.hypot(relative, _EITHER * max(1.0 - whole / slope, 0.0)))
    each = Estimate(
        slope, max(slope * (1.0 - GAUSS_95 * relative), 0.0), slope * (1.0 + GAUSS_95 * errors.upward)
    )
    per_k = 1.0 + SKY_K / difference
    coefficient = each.times(per_k)
    design = site.design
    loss = load = ratio = Estimate.none("needs design.outdoor_c")
    if design.outdoor_c is not None:
        span = design.indoor_c - design.outdoor_c
        loss = each.times((span + SKY_K) / 1000.0)
        load = _load(fit, slope, relative, gains + sunless, span + SKY_K)
        ratio = (
            loss.times(1.0 / design.heat_loss_kw)
            if design.heat_loss_kw
            else Estimate.none("needs design.heat_loss_kw")
        )
    return HeatLoss(
        coefficient,
        loss,
        design.heat_loss_kw,
        ratio,
        load,
        float(np.nanmean(data["indoor"][rows])) - mean_gain / (slope * per_k),
        mean_gain,
        int(fit.kept.sum()),
        _method(data, has_lags, has_sun, site, days, bent=bent is not None) + errors.advice,
        bool(data["measured"][0] > 0.5),
        beyond,
        free_share,
    )


def _well_heated(data: dict[str, Floats], columns: Floats, rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Usable days on which sun and gains leave much heat to supply, by the fit itself.

    Heat can't fall below zero on days nearly supplied by sun and gains, which would flatten the line. Days
    are selected by the fit's expectation, not by their heat, and the fit is repeated until stable.
    """
    chosen = rows
    for _ in range(_MOST_CHOICES):
        fit = robust_fit(columns[chosen], data["power"][chosen])
        expected, loss = columns @ fit.coefficients, fit.coefficients[0] * data["difference"]
        better = rows & (expected > _LEAST_NEED * loss)
        if better.sum() < max(_FEWEST_DAYS, columns.shape[1] + 5) or (better == chosen).all():
            break
        chosen = better
    return chosen


def heater_unseen(site: Site) -> bool:
    """Whether the design has an unmetered back-up heater, so that the loss is underestimated."""
    metered = site.measures("backup_heater_electricity") or only_split_meters(site)
    return site.design.bivalent_c is not None and not metered


def _bent(site: Site, x: Floats, y: Floats) -> tuple[Floats, Fit] | None:
    """Fit with a break in mid-range, if heat clearly grows less in the cold half.

    A house has no such break: the unit was at its limit and unmeasured rooms sank, or an unmeasured heater
    helped. Then the mild half describes the house; that the line through all days does stays possible, and is
    part of the interval.
    """
    design = site.design
    cold = 0.6 * (design.indoor_c - design.outdoor_c) if design.outdoor_c is not None else _COLD_K
    # Only winter weather can show either; in spring the sun bends the line.
    if len(y) < _FEWEST_TO_BEND or float(np.quantile(x[:, 0], 0.8)) < cold:
        return None
    beyond = np.maximum(x[:, 0] - float(np.median(x[:, 0])), 0.0)
    wide = np.column_stack([x, beyond])
    bent = robust_fit(wide, y)
    drop, error = bent.combination(np.eye(wide.shape[1])[-1])
    if (
        bent.coefficients[0] <= 0.0
        or drop > -_BEND_SHARE * bent.coefficients[0]
        or drop > -_BEND_SURE * error
    ):
        return None
    return wide, bent


def _load(fit: Fit, slope: float, relative: float, gains: float, difference: float) -> Estimate:
    """Required heat output on a design day with little sun [kW]."""
    value = slope * difference - gains
    return Estimate.around(
        value / 1000.0, GAUSS_95 * (relative * slope * difference + fit.residual_sd * 0.3) / 1000.0, 0.0
    )


def _before(values: Floats, days: int) -> Floats:
    out = np.full(len(values), np.nan)
    out[days:] = values[:-days]
    return out


def _mean_before(values: Floats, nearest: int, furthest: int) -> Floats:
    """Mean of the known values that many days before; nan where none is known."""
    before = [_before(values, n) for n in range(nearest, furthest + 1)]
    known = np.isfinite(before)
    count = known.sum(axis=0)
    total = np.where(known, before, 0.0).sum(axis=0)
    return np.divide(total, count, out=np.full(len(values), np.nan), where=count > 0)


def _method(data: dict[str, Floats], lags: bool, sun: bool, site: Site, days: Table, *, bent: bool) -> str:
    parts = ["daily space heat against "]
    parts.append(
        "measured indoor less outdoor temperature"
        if data["measured"][0] > 0.5
        else f"outdoor temperature, rooms taken as {site.design.indoor_c:g} C all season"
    )
    if lags:
        parts.append(", today's and the two days' before")
    if sun:
        parts.append(
            ", sun told apart "
            + ("as measured" if _sun_measured(days) else "by season and the daily course of temperature")
        )
    if bent:
        parts.append(", the mild half alone: in the cold half heat grew less than a house's loss does")
    if not days.total("minutes_hot_water") and site.hot_water is not None:
        parts.append("; hot water taken off by its design share")
    return "".join(parts)
