"""Rules on the heating curve: too hot, not following the weather, heating out of season."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import excess
from fieldfare.analysis.expectation.out_of_season import UNNEEDED_HOURS
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.findings.yearly_cost import heating_year, share_spared
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.analysis.statistics.quantiles import nan_median, robust_sd

_STEADY_MIN = 60
# A unit swings about what is asked by half of its switching difference; without the asked flow that much is
# let off.
_SWING_K = 1.0
# A longer rest is no part of a cycle; water that hardly flows in it does not pass the sensor (common
# practice). Cycles that are most of a day's heating speak for it.
_LONGEST_REST_MIN, _FLOWS_SHARE, _MOST_OF_IT = 180.0, 0.2, 0.5
_FEWEST_DAYS = 10
_RECENT_DAYS = 60
# Without a designed curve, the flattest usual one, for underfloor heating, is used.
_FLATTEST_SLOPE = -0.35
# Water and emitters take a quarter of an hour to come to a new temperature (common practice).
_BRIEF_MIN, _WITHOUT_REST = 15.0, 0.97
_LEVEL_K = 2.0
# The curve must have moved by so much for the two to look different: a sensor's own unrest is a tenth of it.
_TELLING_K = 0.5
# Where two settings fit equally well, the curve is more likely (common practice).
_COMMONER = 2.0


def flow_temperature_above_curve(context: Context) -> Finding | None:
    curve = context.site.heating_curve
    if curve is None:
        raise NotAssessed("needs heating_curve in the site file", "missing_in_site_file")
    days, limit = context.days, context.limit
    excess, judged = _excess(context)
    if judged.sum() < 3:
        if _is_warm_throughout(context):
            raise NotAssessed("no day was cold enough for the curve to matter", "not_applicable")
        raise NotAssessed("too few days with an hour of steady heating in cool weather", "too_few_days")
    is_above = judged & (fill_nan(excess, -9.0) >= limit("flow_above_curve_note_k"))
    # In hard frost a unit may not reach what a curve too high asks for: a fortnight without is no end.
    episode = latest_episode(days["day"], is_above, judged, hold_days=5, gone_days=14)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & judged
    above = nan_median(excess[here])
    if above < limit("flow_above_curve_note_k"):
        return None
    watch = limit("flow_above_curve_watch_k")
    act = limit("flow_above_curve_act_k")
    target_excess = nan_median(days.floats("target_above_curve")[here])
    # Asked for far too hot, and felt: a wrong setting though the unit does not get there.
    wrong = np.nan_to_num(target_excess, nan=0.0) >= act
    felt = max(above, watch) if wrong else above
    severity = downgraded(graded(felt, watch, act), episode, 5.0)
    kwh = _cost(context, here, above)
    points = ", ".join(f"{f:g} °C at {o:g} °C" for o, f in (curve.points[0], curve.points[-1]))
    more = (
        ()
        if np.isnan(target_excess)
        else (
            context.evidence(
                "flow set temperature above the designed curve",
                round(target_excess, 1),
                "K",
                "flow_above_curve_watch_k",
            ),
        )
    )
    return Finding(
        "flow_temperature_above_curve",
        severity,
        episode.since,
        confidence_of((target_excess if wrong else above) / watch, episode.days, episode.share),
        f"The heating water is {above:.1f} K hotter than the designed curve.",
        evidence=(
            context.evidence(
                "flow above the designed curve" + ("" if more else ", less its switching swing"),
                round(above, 1),
                "K",
                "flow_above_curve_watch_k",
            ),
            *more,
            Evidence("mean flow temperature", round(nan_median(days.floats("flow")[here]), 1), "°C"),
            Evidence(
                "designed flow temperature for the same weather",
                round(nan_median(days.floats("curve")[here]), 1),
                "°C",
            ),
        ),
        causes=_curve_causes(context, here, episode.since),
        next_step=(
            f"Set the curve back to the design ({points}), and after a cold week ask whether every"
            " room stays warm before leaving it there."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your heating water is hotter than planned, which costs electricity. Your installer can turn"
                " it down; tell them if a room then stays cool."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="setting",
        changes=(("flow_temperature", "lower"),),
    )


def _is_warm_throughout(context: Context) -> bool:
    """Whether the whole period was too warm to judge a curve."""
    outdoor = context.all_days.days.floats("outdoor")
    known = outdoor[np.isfinite(outdoor)]
    return bool(len(known) and known.min() > context.limit("curve_judged_below_c"))


def _excess(context: Context) -> tuple[Floats, Flags]:
    """Excess over the designed curve by day [K], and the usable days.

    Where the controls' asked flow is measured the lesser of the two counts: flow that overshoots what is
    asked is no curve set high, and an asked flow that is never reached heats nothing.
    """
    days = context.days
    actual, target_excess = days.floats("above_curve"), days.floats("target_above_curve")
    excess = np.where(np.isfinite(target_excess), np.fmin(actual, target_excess), actual - _swing(context))
    # Short runs overshoot any curve: then only the target flow is usable.
    is_known = np.isfinite(target_excess) | ~brief_days(context)
    return excess, cool_and_steady(context) & np.isfinite(excess) & is_known


def _swing(context: Context) -> Floats:
    """By day: flow in runs over the mean of runs and rests, as the control's switching difference makes it
    [K].

    A unit that only switches on and off climbs through its switching difference in every run; in the rest the
    water passes it at the return's temperature and cools to the next start. The control holds the mean of
    both: how hot the water gets in runs alone follows the unit's output, not the curve.
    """
    days, runs = context.days, context.facts.runs
    usual = np.full(len(days), _SWING_K)
    if len(runs) < 2:
        return usual
    heats = (runs["minutes_hot_water"] == 0) & (runs["minutes_heating"] > 0)
    flows_on = runs.floats("flow_after") >= _FLOWS_SHARE * runs.floats("flow_rate")
    rest, length = runs.floats("pause")[1:], runs.floats("minutes")[1:]
    at_rest = (runs.floats("return_end")[:-1] + runs.floats("flow_start")[1:]) / 2.0
    drop = runs.floats("flow")[1:] - at_rest
    cycle = heats[1:] & heats[:-1] & flows_on[:-1] & (rest <= _LONGEST_REST_MIN) & np.isfinite(drop)
    day, of = days["day"], runs["day"][1:]
    lost, time = (
        fill_nan(group_by_day(day, of, np.where(cycle, x, 0.0), "sum"), 0.0)
        for x in (rest * drop, rest + length)
    )
    all_time = fill_nan(group_by_day(day, of, np.where(heats[1:], length, 0.0), "sum"), 0.0)
    ran = fill_nan(group_by_day(day, of, np.where(cycle, length, 0.0), "sum"), 0.0)
    known = (time > 0.0) & (ran >= _MOST_OF_IT * all_time)
    return np.where(known, np.maximum(np.divide(lost, time, out=usual.copy(), where=known), _SWING_K), usual)


def cool_and_steady(context: Context) -> Flags:
    days = context.days
    outdoor = days.floats("outdoor_steady")
    cool = fill_nan(outdoor, 99.0) <= context.limit("curve_judged_below_c")
    return np.asarray(cool & (days.floats("minutes_steady") >= _STEADY_MIN), dtype=np.bool_)


def _target_or_measured_flow(days: Table) -> tuple[Floats, bool]:
    """Target flow temperature where it is measured throughout, else the measured flow temperature."""
    target, measured = days.floats("target_flow"), days.floats("flow")
    known = np.isfinite(target) & np.isfinite(measured)
    whole = known.sum() >= 0.8 * max(np.isfinite(measured).sum(), 1)
    return (target, True) if whole else (measured, False)


def _slope(outdoor: Floats, flow: Floats) -> tuple[float, float]:
    """Kelvin of flow a kelvin outdoors, and its 95 % half width."""
    fit = robust_fit(np.column_stack([outdoor, np.ones(len(outdoor))]), flow)
    return float(fit.coefficients[0]), GAUSS_95 * float(np.sqrt(max(fit.covariance[0, 0], 0.0)))


def _designed_slope(context: Context, outdoor: Floats) -> float:
    if context.site.heating_curve is None:
        return _FLATTEST_SLOPE
    low, high = np.quantile(outdoor, (0.05, 0.95))
    ends = curve_at(context.site.heating_curve.points, np.array([low, high]))
    return float((ends[1] - ends[0]) / max(high - low, 1e-9))


def _spread(outdoor: Floats) -> float:
    return float(np.quantile(outdoor, 0.95) - np.quantile(outdoor, 0.05)) if len(outdoor) else 0.0


def _curve_causes(context: Context, here: Flags, since: str) -> tuple[Cause, ...]:
    """A curve moved up still follows the weather, so that the excess is steady; with a hand's setting the
    flow is."""
    days = context.days
    flow, _ = _target_or_measured_flow(days)
    curve = days.floats("curve")
    usable = here & np.isfinite(flow) & np.isfinite(curve)
    level, excess = _scatter(flow[usable]), _scatter((flow - curve)[usable])
    if usable.sum() < 5 or level + excess < _TELLING_K:
        why = "the flow and the curve changed too little to tell which cause applies"
        return ranked({"curve_set_high": (0.6, why), "manual_override": (0.4, why)})
    follows = _COMMONER * level**2 / (_COMMONER * level**2 + excess**2)
    began = since > days.day(0).isoformat()
    return ranked(
        {
            "curve_set_high": (
                follows,
                (
                    f"the excess stays within {excess:.1f} K while the flow follows the weather by"
                    f" {level:.1f} K"
                ),
            ),
            "manual_override": (
                1.0 - follows,
                f"the flow stays within {level:.1f} K of {nan_median(flow[usable]):.0f} °C in any weather"
                + (f", since {day_text(since)}" if began else ""),
            ),
        }
    )


def _scatter(values: Floats) -> float:
    """Spread about the median [K], odd days aside."""
    return robust_sd(values) if len(values) else 0.0


def _cost(context: Context, here: Flags, above: float) -> float | None:
    """A year's electricity of the excess: by the unit's rating at both temperatures, else 2.25 % a kelvin."""
    days = context.days
    actual, curve = (
        days.floats("expected_curve_actual_kwh")[here],
        days.floats("expected_curve_space_kwh")[here],
    )
    rated = float(np.nansum(actual - curve))
    if np.nansum(actual) > 1.0:
        return max(rated, 0.0) * heating_year(context)
    used = float(np.nansum(days.floats("electricity_space_kwh")[here]))
    return used * share_spared(above) * heating_year(context) if used > 0 else None


def no_weather_compensation(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    flow, is_target = _target_or_measured_flow(days)
    if not is_target:
        flow = flow - _swing(context)
    outdoor = days.floats("outdoor_steady")
    fit = cool_and_steady(context) & np.isfinite(flow) & np.isfinite(outdoor) & ~rooms_set_low(context)
    if not is_target:
        fit &= _follows_target(context)
    usable = np.flatnonzero(fit)
    if len(usable) < _FEWEST_DAYS:
        raise NotAssessed(
            f"needs at least {_FEWEST_DAYS} cool days with an hour of steady heating"
            + ("" if is_target else ", without short runs and not at the unit's limit")
            + f"; has {len(usable)}",
            "too_few_days",
        )
    if _spread(outdoor[usable]) < limit("compensation_span_k"):
        raise NotAssessed(
            f"the {len(usable)} cool days of steady heating lie within {_spread(outdoor[usable]):.0f}"
            " K of each other: too similar to show whether the flow follows the weather",
            "other_weather",
        )
    designed = _designed_slope(context, outdoor[usable])
    if designed > -0.1:
        raise NotAssessed("the designed curve hardly depends on the weather", "not_applicable")
    recent = usable[-_RECENT_DAYS:]
    for chosen in (usable, recent):
        if len(chosen) < _FEWEST_DAYS or _spread(outdoor[chosen]) < limit("compensation_span_k"):
            continue
        slope, half = _slope(outdoor[chosen], flow[chosen])
        share, most = slope / designed, (slope - half) / designed
        flat = share < limit("compensation_share") and most < 1.5 * limit("compensation_share")
        if flat and (is_target or _flat_in_the_cold(context, outdoor[chosen], flow[chosen])):
            return _not_compensating(context, chosen, flow, is_target, (slope, designed, share))
    return None


def rooms_set_low(context: Context) -> Flags:
    """Days with room targets far below design, as in an absence: the water is as cool as possible."""
    low = context.site.design.indoor_c - context.limit("compensation_low_target_k")
    return np.asarray(fill_nan(context.days.floats("target"), 99.0) < low, dtype=np.bool_)


def _follows_target(context: Context) -> Flags:
    """Days on which the water could reach its target: neither short runs nor the unit at its limit."""
    days = context.days
    known = days.floats("minutes_total") - fill_nan(days.floats("minutes_unknown"), 0.0)
    without_rest = days.floats("minutes_running") >= _WITHOUT_REST * known
    share = days.floats("load_share")
    at_limit = (
        without_rest & (share >= 0.9 * np.nanquantile(share, 0.98))
        if np.isfinite(share).any()
        else without_rest
    )
    return np.asarray(~(at_limit | brief_days(context)), dtype=np.bool_)


def brief_days(context: Context) -> Flags:
    """Days on which half of the runs were too brief for the water to settle."""
    runs = context.facts.runs
    if not len(runs):
        return np.zeros(len(context.days), dtype=np.bool_)
    usual = group_by_day(context.days["day"], runs["day"], runs["minutes"], "median")
    return np.asarray(usual < _BRIEF_MIN, dtype=np.bool_)


def _flat_in_the_cold(context: Context, outdoor: Floats, flow: Floats) -> bool:
    """True where the flow is level on the colder half of the days too.

    On milder days a unit at its lowest output can't give cooler water, whatever the curve asks.
    """
    cold = outdoor <= np.quantile(outdoor, 0.4)
    if cold.sum() < 8 or _spread(outdoor[cold]) < 0.4 * context.limit("compensation_span_k"):
        return False
    slope, half = _slope(outdoor[cold], flow[cold])
    designed = min(_designed_slope(context, outdoor[cold]), -0.05)
    return bool((slope - half) / designed < 1.2 * context.limit("compensation_share"))


def _not_compensating(
    context: Context, chosen: np.ndarray, flow: Floats, is_target: bool, found: tuple[float, float, float]
) -> Finding | None:
    days, limit = context.days, context.limit
    slope, designed, share = found
    level = nan_median(flow[chosen[-30:]])
    judged = np.zeros(len(days), dtype=np.bool_)
    judged[np.flatnonzero(cool_and_steady(context) & np.isfinite(flow))] = True
    near = judged & (np.abs(fill_nan(flow, -99.0) - level) <= _LEVEL_K)
    episode = latest_episode(days["day"], near, judged, hold_days=5, gone_days=10)
    first = days.day(chosen[0]).isoformat()
    since = episode.since if episode is not None and episode.share > 0.8 else first
    above = nan_median(days.floats("above_curve")[chosen])
    dear = np.isfinite(above) and above >= limit("flow_above_curve_watch_k")
    severity: Severity = "act" if dear and share < 0.5 * limit("compensation_share") else "watch"
    kwh = _cost(context, judged, max(above, 0.0)) if np.isfinite(above) and above > 0 else None
    return Finding(
        "no_weather_compensation",
        severity,
        since,
        confidence_of(1.0 + max(limit("compensation_share") - share, 0.0) * 4.0, len(chosen)),
        f"The flow temperature does not follow the weather: it stays near {level:.0f} °C.",
        evidence=(
            Evidence(
                "flow set temperature per kelvin outdoors"
                if is_target
                else "flow temperature per kelvin outdoors",
                round(slope, 2),
                "K/K",
            ),
            context.evidence(
                "measured slope over the designed one", round(share, 2), "-", "compensation_share"
            ),
            Evidence("designed slope", round(designed, 2), "K/K"),
            Evidence("usual flow temperature", round(level, 1), "°C"),
            Evidence("days used", len(chosen), "days"),
        ),
        causes=(
            Cause(
                "fixed_flow_setting", 1.0, f"the flow stays near {level:.0f} °C from mild days to cold ones"
            ),
        ),
        next_step=(
            "Turn weather compensation on and enter the designed curve; check that the outdoor sensor is"
            " connected and assigned."
        ),
        home=(
            "Your heating keeps its water at one temperature in any weather, which wastes electricity"
            " on mild days. Your installer can set it to follow the weather."
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="setting",
    )


def heating_out_of_season(context: Context) -> Finding | None:
    """Space heat on warm days, from an hour a day on: less is a charge of hot water or a valve's exercise."""
    days, limit = context.days, context.limit
    outdoor = days.floats("outdoor")
    heating = days.floats("minutes_heating_warm")
    if (
        days.floats("minutes_heating").sum() == 0
        and days.floats("minutes_running").sum() > 0
        and context.site.hot_water is not None
    ):
        has_hot_water = days.floats("minutes_hot_water").sum() > 0
        if not has_hot_water:
            raise NotAssessed("the meters can't separate heating from hot water", "missing_quantity")
    before = np.concatenate(([np.nan], outdoor[:-1]))
    # Controls average the weather over a day or two: two warm days in a row count.
    warmest = _needs_none_above(context)
    warm = np.isfinite(outdoor) & (outdoor >= warmest) & (fill_nan(before, -9.0) >= warmest - 1.0)
    # Rooms well above what they were designed for need none from the end of the heating season on.
    mild = limit("heating_limit_least_c")
    full = np.isfinite(outdoor) & (outdoor >= mild) & (fill_nan(before, -9.0) >= mild - 1.0) & ~warm
    full &= days.floats("room") - context.site.design.indoor_c >= limit("overheated_k")
    warmest = mild if full.any() else warmest
    warm |= full
    if warm.sum() < limit("warm_days"):
        raise NotAssessed(f"needs {limit('warm_days'):.0f} warm days, has {warm.sum()}", "other_weather")
    heats_when_warm = warm & (heating >= limit("warm_day_minutes"))
    episode = latest_episode(days["day"], heats_when_warm, warm, hold_days=3, gone_days=14)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & warm
    hours = float(np.mean(heating[here])) / 60.0
    heat = float(np.nansum(days.floats("heat_heating_warm_kwh")[here]))
    used = _electricity_of(days, here, heat)
    count = int((heats_when_warm & here).sum())
    if hours < limit("warm_heating_watch_hours"):
        return None
    name = "warm_heating_hours" if hours >= limit("warm_heating_hours") else "warm_heating_watch_hours"
    grade: Severity = "act" if name == "warm_heating_hours" else "watch"
    severity = downgraded(grade, episode, limit("warm_days"))
    spread = float(np.std(heating[here])) / 60.0 / np.sqrt(max(count, 1))
    real = min(excess(hours, spread, UNNEEDED_HOURS).probability, limit("surest"))
    return Finding(
        "heating_out_of_season",
        severity,
        episode.since,
        real,
        f"Space heating runs {hours:.1f} hours a day on days above {warmest:.0f} °C.",
        evidence=(
            context.evidence("heating on warm days", round(hours, 1), "h/day", name),
            context.evidence("warm days with heating", count, "days", "warm_days"),
            context.evidence(
                "mean outdoor temperature of those days",
                round(float(np.mean(outdoor[heats_when_warm & here])), 1),
                "°C",
                "heating_limit_c",
                round(warmest, 1),
            ),
            Evidence("heat supplied on those days", round(heat, 1), "kWh"),
        ),
        next_step=(
            "Set the summer switch-over (heating limit) to 15 to 16 °C and the room targets to the"
            " temperatures wanted; check that the outdoor sensor does not read too cold."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your heating also runs on warm days. You can switch it to summer mode, hot water stays on;"
                " or your installer sets it to do so by itself."
            )
        ),
        until=episode.until,
        cost_kwh=used,
        cost_money=context.money(used),
        visit="setting",
    )


def _needs_none_above(context: Context) -> float:
    """Outdoor temperature above which the house needs no heat [°C], from its base temperature."""
    usual, base = context.limit("heating_limit_c"), context.figures.heat_loss.base_temperature_c
    if base is None:
        return usual
    return float(np.clip(base + context.limit("over_base_k"), context.limit("heating_limit_least_c"), usual))


def _electricity_of(days: Table, here: Flags, heat: float) -> float | None:
    """Electricity of that heat at those days' own space performance; the period's warm days are taken as the
    year's."""
    q, e = (
        float(np.nansum(days.floats("expected_heat_space_kwh")[here])),
        float(np.nansum(days.floats("expected_used_space_kwh")[here])),
    )
    if q <= 0.5 or e <= 0.1:
        used = float(np.nansum(days.floats("electricity_space_kwh")[here]))
        return used if used > 0 else None
    return heat * e / q


RULES: tuple[Rule, ...] = (
    Rule(
        "flow_temperature_above_curve",
        flow_temperature_above_curve,
        needs=(Need(("flow_temperature",), 15.0, 7), Need(("outdoor_temperature",))),
        reads=frozenset({"flow_temperature", "outdoor_temperature"}),
    ),
    Rule(
        "no_weather_compensation",
        no_weather_compensation,
        needs=(Need(("flow_temperature",), 15.0, 14), Need(("outdoor_temperature",))),
        reads=frozenset({"flow_temperature", "outdoor_temperature"}),
    ),
    Rule(
        "heating_out_of_season",
        heating_out_of_season,
        needs=(
            Need(("outdoor_temperature",)),
            Need(("heat_pump_electricity", "operating_mode", "compressor_speed"), 15.0),
        ),
        reads=frozenset({"outdoor_temperature", "heat_pump_electricity"}),
    ),
)
