"""Did the efficiency step down or begin to slide, conditions being equal?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.cautions import refrigerant_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.mixed import (
    USUAL_CYLINDER_C,
    Mix,
    mixed_electricity,
    usual_curve,
    usual_hot_water,
)
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.change import FEWEST_EACH_SIDE, DetectedChange, find_change
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.figures.performance import coarse
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.grading import in_doubt
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.findings.yearly_cost import DAYS_A_YEAR, heating_year
from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.distributions import GAUSS_95, normal_probability

_MOST_WEIGHT_KWH = 40.0
# A rating is carried from one month's weather, load and frost to another's no better than this (common
# practice).
_CARRIED = 0.01
# The same per kelvin beyond 5 K over the warmest rating point, usually A7, where gains differ between units
# (common practice: fans, valves and the lowest speed set efficiency at small lifts).
_CARRIED_PER_K, _HELD_K, _RATED_C = 0.01, 5.0, 7.0
_FEWEST_DAYS = 3 * FEWEST_EACH_SIDE
# Weather and load that the rating does not carry blur a day by some percent (common practice).
_SHOWS = 0.25
# A charge of the cylinder is never steady: its temperatures rise all along, and readings a third of its
# length apart mix it with what comes before and after (common practice). Known no better than so, as
# logarithms.
_CHARGING, _CHARGING_BLURRED = 0.05, 0.25


@dataclass(frozen=True)
class _Series:
    """Daily efficiency as a logarithm, against the rating's where known, with its conditions.

    rows : int64 (n,), rows of the days table. day : int64 (n,), days since its first
    doubt : float64 (n,), standard uncertainty of the value by what nobody measures, alike for weeks
    hot_share : float64 (n,), hot water's share of the heat. charging : standard uncertainty of a day of hot
        water alone against one of heating alone
    least_side : days that a change needs on both sides
    """

    value: Floats
    conditions: Floats
    weight: Floats
    rows: NDArray[np.int64]
    day: NDArray[np.int64]
    against: str
    doubt: Floats
    hot_share: Floats
    charging: float
    least_side: int

    def change(self, first: int = 0, until: int | None = None) -> DetectedChange | None:
        """The change among the days first..until, counted in rows of the series; its indices count from
        `first`.

        What nobody measures may have changed on the same day: its doubt is part of the error.
        """
        part = slice(first, until)
        found = find_change(self.value[part], self.conditions[part], self.weight[part], self.day[part])
        if found is None:
            return None
        doubt = float(np.max([np.mean(p) for p in np.split(self.doubt[part], [found.at]) if len(p)]))
        shares = [float(np.mean(p)) for p in np.split(self.hot_share[part], [found.at]) if len(p)]
        mixed = self.charging * abs(shares[-1] - shares[0])
        error = float(np.sqrt(found.error**2 + doubt**2 + mixed**2))
        if min(found.at, len(self.value[part]) - found.at) < self.least_side:
            return replace(found, error=error, score=0.0)
        return replace(found, error=error, score=found.score * (found.error / max(error, 1e-9)) ** 2)

    def held(self, change: DetectedChange) -> float:
        """Share of the days after a change that lie below those before by a quarter of it or more [0 to 1].

        Beside the rating and the line over outdoor temperature of the days before, where both have had such
        weather: a regression on all days shares out a few very bad ones among all. What the line's 95 %
        interval leaves open is no fall.
        """
        after = self.day - self.day[change.at] >= change.days
        if not after.any():
            return 1.0
        before, outdoor = self.value[: change.at], self.conditions[:, 0]
        known = outdoor[: change.at]
        alike = after & (outdoor >= known.min()) & (outdoor <= known.max())
        level = np.full(len(self.value), float(np.median(before)))
        if alike.sum() >= FEWEST_EACH_SIDE and float(np.ptp(known)) > 0.0:
            line = robust_fit(np.column_stack([np.ones(len(known)), known]), before)
            middle, error = np.transpose([line.combination(np.array([1.0, t])) for t in outdoor])
            after, level = alike, middle + np.copysign(GAUSS_95 * error, change.size)
        return float(np.mean((self.value - level)[after] / change.size >= _SHOWS))


def efficiency_fell(context: Context) -> Finding | None:
    series, change = context.once(_first_change)
    if change is None:
        raise NotAssessed(f"needs at least {_FEWEST_DAYS} days of heating to compare", "too_few_days")
    until, won_back = None, context.limit("efficiency_won_back")
    if change.size > 0.0:
        # It got better, if anything: was it worse for a while before?
        until = context.days.day(int(series.rows[max(change.at - 1, 0)])).isoformat()
        earlier = series.change(until=change.at)
        if earlier is None or change.size < -won_back * earlier.size / 2.0:
            return None
        change = earlier
    elif change.is_sure:
        later = series.change(change.at)
        # Most of it won back later: it has ended.
        if later is not None and later.is_sure and later.size > -won_back * change.size:
            until = context.days.day(int(series.rows[change.at + later.at - 1])).isoformat()
    limit = context.limit
    drop = 1.0 - float(np.exp(change.size))
    if not change.is_sure or drop < limit("efficiency_drop_note"):
        return None
    if drop < limit("efficiency_drop_watch") or until is not None:
        return _finding(context, series, change, drop, "note", until)
    certain = _chance_beyond(change, limit("efficiency_drop_watch") / 2.0) >= limit("efficiency_drop_chance")
    # What a unit has lost it lacks every day; a stove or a habit takes it on some.
    if not certain or series.held(change) < limit("efficiency_drop_held"):
        return in_doubt(context, _finding(context, series, change, drop, "note", until))
    severity: Severity = "act" if drop >= limit("efficiency_drop_act") else "watch"
    return _finding(context, series, change, drop, severity, until)


def _chance_beyond(change: DetectedChange, drop: float) -> float:
    """Probability that efficiency fell by more than `drop` [-], by the change's own error."""
    return normal_probability((float(np.log(1.0 - drop)) - change.size) / max(change.error, 1e-9))


def _first_change(context: Context) -> tuple[_Series, DetectedChange | None]:
    series = _series(context)
    return series, series.change()


def own_change(context: Context) -> tuple[tuple[int, int], DetectedChange | None]:
    """Rows of the first and last day in which efficiency changed, and the change; else None."""
    try:
        series, change = context.once(_first_change)
    except NotAssessed:
        return (0, 0), None
    if change is None:
        return (0, 0), None
    begun = int(series.rows[change.at])
    return (begun, begun + (change.days if change.kind == "slide" else 0)), change


def sure_drop(context: Context) -> int | None:
    """Index of the day of a certain efficiency drop above a note, or None."""
    (day, _), change = own_change(context)
    least = np.log(1.0 - context.limit("efficiency_drop_watch"))
    return day if change is not None and change.is_sure and change.size <= least else None


def _finding(
    context: Context,
    series: _Series,
    change: DetectedChange,
    drop: float,
    severity: Severity,
    until: str | None,
) -> Finding:
    days, day = context.days, series.rows
    since = days.day(int(day[change.at])).isoformat()
    first, last = (days.day(int(day[i])).isoformat() for i in (change.low, change.high))
    how = "at once" if change.kind == "step" else f"over {change.days} days"
    used = float(np.nansum(days.floats("electricity_heat_pump_kwh")[day[change.at] :]))
    span = max(len(days) - int(day[change.at]), 1)
    kwh = drop * used * heating_year(context) * len(days) / span if until is None else 0.0
    confidence = min(_chance_beyond(change, context.limit("efficiency_drop_note")), context.limit("surest"))
    return Finding(
        "efficiency_fell",
        severity,
        since,
        confidence,
        f"Efficiency fell {percent(drop)} {how} {_from(since, first, last)}.",
        evidence=(
            context.evidence(
                "drop of efficiency at the same conditions", round(drop, 3), "-", "efficiency_drop_watch"
            ),
            Evidence("its standard uncertainty", round(change.error, 3), "-"),
            context.evidence(
                "share of the days since that show it",
                round(series.held(change), 2),
                "-",
                "efficiency_drop_held",
            ),
            Evidence("began", f"on {day_text(first)}" if first == last else f"between {first} and {last}"),
            Evidence("days before and after", f"{change.at} and {len(series.value) - change.at}"),
            Evidence("compared", series.against),
        ),
        next_step=(
            (
                f"Ask what changed around {day_text(since)} (settings, building work, storm, dust), and"
                " whether a meter was touched. "
            )
            + (
                "A sudden drop points to a part, a setting or a meter. "
                if change.kind == "step"
                else "A gradual fall points to dirt or a slow loss. "
            )
            + "Then visit: coil and fan, strainer and flow, defrosts; have the refrigerant circuit checked by"
            " a licensed person."
        ),
        caution=refrigerant_caution(context.site),
        until=until,
        home=(
            ""
            if severity == "note"
            else (
                f"Since about {day_text(since)} the heat pump has needed more electricity for the same"
                " heat. Your installer will look for the cause."
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive" if severity != "note" else "none",
        bring=("coil cleaning kit", "clamp thermometer", "power meter") if severity != "note" else (),
    )


def _from(since: str, first: str, last: str) -> str:
    """From which day, with the interval in which it began where that is more than a day."""
    return (
        f"from {day_text(since)}"
        if first == last
        else f"from about {day_text(since)} (between {day_text(first)} and {day_text(last)})"
    )


def _series(context: Context) -> _Series:
    days = context.days
    water = days.floats("expected_heat_hot_water_kwh")
    heat = fill_nan(days.floats("expected_heat_space_kwh"), 0.0) + fill_nan(water, 0.0)
    want = fill_nan(days.floats("expected_space_kwh"), 0.0) + fill_nan(
        days.floats("expected_hot_water_kwh"), 0.0
    )
    used = fill_nan(days.floats("expected_used_space_kwh"), 0.0) + fill_nan(
        days.floats("expected_used_hot_water_kwh"), 0.0
    )
    if coarse(days, "heat_pump_electricity", context.limit("efficiency_sees_load_min")):
        used = _used_by_the_day(context, heat, used)
    against = "with the rating at each minute's temperatures, corrected for load, frost and hot water"
    doubt, least_side = _carried(context), FEWEST_EACH_SIDE
    least_heat, least_electricity = (
        context.limit("efficiency_day_heat_kwh"),
        context.limit("efficiency_day_kwh"),
    )
    good = (heat >= least_heat) & (want > least_electricity) & (used > least_electricity)
    if good.sum() < _FEWEST_DAYS:
        heat, used = (fill_nan(days.floats(c), 0.0) for c in ("paired_heat_kwh", "paired_heat_pump_kwh"))
        mix = _mixed(context, heat)
        want, water = mix.electricity, heat * mix.hot_share
        doubt = np.hypot(doubt, mix.spread)
        least_side = int(context.limit("efficiency_mixed_days"))
        against = "with the rating at the designed temperatures, for a usual share of hot water"
        # A day of hot water alone says little of the unit: its mix with the house's heat is not measured.
        good = (
            (heat >= least_heat)
            & (used > least_electricity)
            & (mix.hot_share <= context.limit("efficiency_hot_share"))
        )
    good &= np.isfinite(days.floats("outdoor")) & np.isfinite(want) & _whole(context)
    if good.sum() < _FEWEST_DAYS:
        raise NotAssessed(
            f"needs at least {_FEWEST_DAYS} days with heat and electricity, has {int(good.sum())}",
            "too_few_days",
        )
    value = np.log(want[good] / used[good])
    weight = np.minimum(heat[good], _MOST_WEIGHT_KWH)
    conditions = _conditions(context, heat, water)[good]
    rows = np.flatnonzero(good)
    number = (days["day"] - days["day"][0]) // np.timedelta64(1, "D")
    share = (fill_nan(water, 0.0) / np.maximum(heat, 1e-9))[good]
    charging = _CHARGING_BLURRED if _charges_blurred(context) else _CHARGING
    return _Series(
        value, conditions, weight, rows, number[rows], against, doubt[good], share, charging, least_side
    )


def _used_by_the_day(context: Context, heat: Floats, used: Floats) -> Floats:
    """Electricity of the compared heat by the whole day's efficiency [kWh].

    Readings minutes apart share out the ends of runs by chance, heat and electricity each its own way: what
    is found within some minutes may move when the readings shift, the day's totals don't.
    """
    days = context.days
    total, paired = days.floats("paired_heat_kwh"), days.floats("paired_heat_pump_kwh")
    known = (total > context.limit("efficiency_day_heat_kwh")) & (
        paired > context.limit("efficiency_day_kwh")
    )
    return np.where(known & (used > 0.0), heat * np.divide(paired, total, where=known, out=used.copy()), used)


def _carried(context: Context) -> Floats:
    """Uncertainty of extrapolating the rating to each day's weather: larger, the warmer than any rated
    point."""
    rated_c = [p.outdoor_c for p in context.site.heat_pump.rating if p.cop is not None]
    warmer = context.days.floats("outdoor") - max(rated_c, default=_RATED_C) - _HELD_K
    return np.hypot(_CARRIED, _CARRIED_PER_K * fill_nan(np.maximum(warmer, 0.0), 0.0))


def _charges_blurred(context: Context) -> bool:
    """Readings further apart than a third of a usual charge, or than shapes show at all."""
    days, reheats = context.days, context.facts.reheats
    apart = coarse(days, "heat_pump_electricity", context.limit("efficiency_sees_load_min"))
    if apart or not len(reheats):
        return apart
    return 3.0 * float(np.nanmin(days.floats("spacing.heat_pump_electricity"))) > reheats.median("minutes")


def _mixed(context: Context, heat: Floats) -> Mix:
    """Expected electricity of each day if neither flow temperature nor use is known."""
    site, outdoor = context.site, context.days.floats("outdoor")
    flow = curve_at(site.heating_curve.points, outdoor) if site.heating_curve else usual_curve(outdoor)
    usual = {"brine": 0.0, "water": 10.0}.get(site.heat_pump.source)
    source = outdoor if usual is None else np.full(len(outdoor), usual)
    yearly = site.design.hot_water_kwh_per_year
    hot = 0.0
    if site.hot_water is not None or yearly:
        hot = usual_hot_water(
            heat,
            outdoor,
            no_heating_above_c=context.limit("heating_limit_c"),
            designed=yearly / DAYS_A_YEAR if yearly else None,
        )
    cylinder = site.hot_water.setpoint_c if site.hot_water is not None else USUAL_CYLINDER_C
    return mixed_electricity(
        heat, outdoor, np.asarray(flow), rated(site), source, hot_water_kwh=hot, cylinder_c=cylinder
    )


def _whole(context: Context) -> Flags:
    """Days whose heat and electricity are both known nearly throughout."""
    return context.days.floats("minutes_paired") >= context.limit(
        "efficiency_day_known"
    ) * context.days.floats("minutes_total")


def _conditions(context: Context, heat: Floats, water: Floats) -> Floats:
    """Influences on a healthy unit's daily efficiency besides temperatures."""
    days = context.days
    outdoor = days.floats("outdoor")
    load = heat / 24.0
    share = days.floats("load_share")
    parts = [outdoor, outdoor**2, load, load**2, fill_nan(water, 0.0) / np.maximum(heat, 1e-9)]
    parts.append(
        np.where(np.isfinite(share), share, np.nanmedian(share) if np.isfinite(share).any() else 0.0)
    )
    parts.append(fill_nan(days.floats("minutes_frosting"), 0.0) / 1440.0)
    return fill_nan(np.column_stack(parts), 0.0)


RULES = (
    Rule(
        "efficiency_fell",
        efficiency_fell,
        (
            Need(HEAT_SEEN_BY, 1440.0, _FEWEST_DAYS),
            Need(("heat_pump_electricity",), 1440.0),
            Need(("outdoor_temperature",), 180.0),
        ),
        frozenset({*HEAT_QUANTITIES, "heat_pump_electricity", "outdoor_temperature"}),
    ),
)
