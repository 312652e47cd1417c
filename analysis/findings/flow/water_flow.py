"""Is there enough water through the heat pump, is it getting less, and does the buffer mix it away?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.expectation.uncertain import GAUSS_95, Lognormal, normal_chance
from fieldfare.analysis.expectation.water_flow import (
    KWH_PER_M3_K,
    ONE_SPEED_ELASTICITY,
    elasticity,
    nominal_difference,
    short_of_nominal,
    steady_flow,
)
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.findings.yearly_cost import FLOW_COST_PER_K, heating_year
from fieldfare.analysis.statistics.moving import moving_median
from fieldfare.analysis.statistics.quantiles import nan_median

_FEWEST_DAYS = 28
# Dirt slides, a setting does not: odds of one against the other once the flow has slid (common practice).
_SLID = 16.0
_WINDOW_DAYS = 14
# Where nobody knows the load, a season of it moves the flow by so much (common practice: valves and pump
# control).
_LOAD_UNKNOWN = 0.06


def low_flow(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    nominal, basis = _nominal(context)
    flow, how = _flow(days)
    steady = (days.floats("n_steady") >= limit("flow_steady_minutes")) & np.isfinite(flow)
    hot = days.floats("flow_rate_hot_water")
    top = np.fmax(np.fmax(days.floats("flow_rate_top"), hot), flow) if how == "measured" else flow
    judged = (steady | np.isfinite(hot)) & np.isfinite(top)
    if judged.sum() < limit("flow_days"):
        raise NotAssessed("too few days of steady running with flow rate, or heat and both temperatures")
    share = top / nominal
    so = judged & (fill_nan(share, 9.0) < limit("low_flow_note_share"))
    episode = latest_episode(days["day"], so, judged, hold_days=3, gone_days=7)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & judged
    value = nan_median(share[here])
    if value >= limit("low_flow_note_share"):
        return None
    lift = nan_median(days.floats("lift")[here & steady])
    widest = _widest(context, episode, here & steady, nominal)
    allowed = _nominal_lift(context, nominal)
    real, told = _short_of_water(context, here & steady, value, widest, allowed)
    if real is None:
        return None
    severity = downgraded(
        graded(value, limit("low_flow_watch_share"), limit("low_flow_act_share"), downward=True), episode, 5.0
    )
    kwh = _flow_cost(days, here & steady, lift, value, heating_year(context))
    causes = _low_flow_causes(context, here, share, episode.since)
    return Finding(
        "low_flow",
        severity,
        episode.since,
        min(real, limit("surest")) * (1.0 if how == "measured" else 0.95),
        f"Only {percent(value)} of the nominal water flow goes through the heat pump.",
        evidence=(
            context.evidence(
                f"flow, {how}",
                round(nan_median(top[here]), 2),
                "m3/h",
                "low_flow_watch_share",
                round(nominal * limit("low_flow_watch_share"), 2),
            ),
            Evidence(f"nominal flow, {basis}", round(nominal, 2), "m3/h"),
            context.evidence("flow over nominal", round(value, 2), "-", "low_flow_watch_share"),
            context.evidence(
                "flow-return difference at the highest measured output",
                round(widest, 1) if np.isfinite(widest) else None,
                "K",
                "wide_lift_share",
                round(limit("wide_lift_share") * allowed.middle, 1),
            ),
            *told,
            Evidence(
                "flow-return difference in steady heating", round(lift, 1) if np.isfinite(lift) else None, "K"
            ),
        ),
        causes=causes,
        next_step=(
            "Clean the strainer and the heat pump's filter, bleed the circuit and check that every"
            " valve is open; if the flow stays low, raise the pump's setting and note flow and"
            " difference before and after."
        ),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "Too little water flows through your heat pump, so it works harder than it should."
                " Your installer will clean the filter or set the pump; please leave radiator valves"
                " open until then."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit=(
            "setting" if causes and causes[0].cause == "pump_setting" and causes[0].weight > 0.7 else "drive"
        ),
        bring=("strainer insert and seals", "bleed key", "hose and bucket", "inhibitor or antifreeze test"),
    )


def _short_of_water(
    context: Context, rows: Flags, share: float, widest: float, allowed: Lognormal
) -> tuple[float | None, tuple[Evidence, ...]]:
    """Probability that too little water flows, None where the flow is as it should be, and what tells.

    A pump that modulates gives little water on purpose: it keeps the difference, and a difference wider than
        nominal tells.
    A pump of one speed gives the same water at any heat, so that a lack shows in mild weather too.
    """
    days, limit = context.days, context.limit
    if context.site.heat_pump.antifreeze != "none":
        allowed = Lognormal(allowed.middle * limit("antifreeze_wider"), allowed.spread)
    wide = limit("wide_lift_share") * allowed.middle
    follows = elasticity(days.floats("flow_rate")[rows], days.floats("heat_power")[rows])
    one_speed = np.isfinite(follows) and follows < ONE_SPEED_ELASTICITY
    told: tuple[Evidence, ...] = ()
    if np.isfinite(follows):
        told = (Evidence("relative change of the flow for one of the heat", round(follows, 2), "-"),)
    by_share = short_of_nominal(share) if one_speed and context.site.heat_pump.flow_m3_per_h else 0.0
    if not np.isfinite(widest):
        return max(by_share, limit("low_flow_unseen_chance")), told
    if widest <= wide and by_share < limit("finding_chance"):
        return None, told
    by_difference = normal_chance(Lognormal(wide, allowed.spread).score(widest))
    return max(by_share, by_difference), told


def _nominal(context: Context) -> tuple[float, str]:
    pump = context.site.heat_pump
    if pump.flow_m3_per_h:
        return pump.flow_m3_per_h, "by the site file"
    if pump.rated_output_kw:
        wide = context.limit("widest_nominal_k")
        return pump.rated_output_kw / (KWH_PER_M3_K * wide), f"rated output at {wide:g} K"
    raise NotAssessed("needs heat_pump.flow_m3_per_h or heat_pump.rated_output_kw in the site file")


def _nominal_lift(context: Context, nominal: float) -> Lognormal:
    """Difference at rated output and nominal flow [K]; a usual value without a rated output."""
    rated = context.site.heat_pump.rated_output_kw
    return nominal_difference(rated or context.limit("usual_nominal_k") * KWH_PER_M3_K * nominal, nominal)


def _flow(days: Table) -> tuple[Floats, str]:
    """Flow while heating by day, as measured or from heat and difference."""
    measured = days.floats("flow_rate")
    if np.isfinite(measured).any():
        return measured, "measured"
    heat, lift = days.floats("heat_power") / 1000.0, days.floats("lift")
    usable = (lift > 1.0) & (heat > 0.3)
    return (
        np.divide(heat, KWH_PER_M3_K * lift, out=np.full(len(days), np.nan), where=usable),
        "from heat and difference",
    )


def _widest(context: Context, episode: Episode, here: Flags, nominal: float) -> float:
    """Difference at the highest output [K]: on days of most heat, or at an equally low charging flow.

    nan where no difference is measured.
    """
    days, reheats = context.days, context.facts.reheats
    lift, heat = days.floats("lift"), days.floats("heat_power")
    usable = here & np.isfinite(lift)
    busy = usable & np.isfinite(heat)
    if busy.any():
        usable = busy & (heat >= np.quantile(heat[busy], context.limit("busiest_days")))
    widest = nan_median(lift[usable])
    if len(reheats):
        inside = episode.covers(reheats["day"]) & (
            reheats.floats("minutes") >= context.limit("charge_minutes")
        )
        little = (
            fill_nan(reheats.floats("flow_rate"), np.inf) < context.limit("low_flow_note_share") * nominal
        )
        charging = reheats.floats("lift")[inside & little]
        if np.isfinite(charging).any():
            widest = float(np.fmax(widest, nan_median(charging)))
    return widest


def _flow_cost(days: Table, here: Flags, lift: float, share: float, year: float) -> float | None:
    """Half of a wider difference raises the flow temperature at the same mean temperature."""
    used = float(np.nansum(days.floats("e_space")[here]))
    if not np.isfinite(lift) or used <= 0:
        return None
    hotter = 0.5 * lift * (1.0 - min(share, 1.0))
    return used * (1.0 - 1.0 / (1.0 + FLOW_COST_PER_K * hotter)) * year


def _low_flow_causes(context: Context, here: Flags, share: Floats, since: str) -> tuple[Cause, ...]:
    """Air makes the flow restless, dirt lets it slide; a setting is low and steady."""
    days = context.days
    jitter, limit = nan_median(days.floats("flow_jitter")[here]), context.limit("flow_jitter")
    blocked, set_low = 0.5, 0.5
    words_blocked, words_set = "the flow is low", "the flow is low"
    if np.isfinite(jitter):
        restless = float(np.clip(np.log2(max(jitter, 1e-4) / limit), -2.0, 2.0))
        blocked, set_low = 2.0**restless, 2.0**-restless
        words_blocked = f"the flow changes by {percent(jitter, 1)} from one reading to the next, " + (
            "as with air in the water" if restless > 0 else "too little for air in the water"
        )
        words_set = (
            f"the flow is low but steady to {percent(jitter, 1)}" if restless <= 0 else "the flow is low"
        )
    known = share[here & np.isfinite(share)]
    if (slid := _slide(context)) is not None:
        blocked *= _SLID
        words_blocked = f"the flow has fallen gradually since {day_text(slid.since)}"
    elif len(known) >= _FEWEST_DAYS:
        limit_fall = context.limit("flow_fall_note_share")
        first, last = nan_median(known[: len(known) // 4]), nan_median(known[-(len(known) // 4) :])
        if last < first * (1.0 - limit_fall):
            blocked *= 3.0
            words_blocked = f"the flow went on falling, from {percent(first)} to {percent(last)} of nominal"
    if since > days.day(0).isoformat():
        words_set += f", since {day_text(since)}"
    return ranked({"strainer_or_air": (blocked, words_blocked), "pump_setting": (set_low, words_set)})


def _slide(context: Context) -> Finding | None:
    """The slide that led to a low flow, where there was one."""
    try:
        return falling_flow(context)
    except NotAssessed:
        return None


def falling_flow(context: Context) -> Finding | None:
    limit = context.limit
    like = _like_conditions(context)
    day, flow = like.day, like.flow
    if len(flow) < _FEWEST_DAYS:
        raise NotAssessed(
            f"needs at least {_FEWEST_DAYS} days with a flow rate at comparable conditions, has {len(flow)}"
        )
    smooth = moving_median(flow, _WINDOW_DAYS, 7)
    peak = int(np.nanargmax(smooth[: len(smooth) - 7]))
    end = nan_median(flow[-_WINDOW_DAYS:])
    fall = 1.0 - end / smooth[peak]
    if fall < limit("flow_fall_note_share") or len(flow) - peak < _WINDOW_DAYS:
        return None
    part = flow[peak:]
    begun = peak + int(np.argmax(smooth[peak:] < smooth[peak] * (1.0 - 0.2 * fall)))
    steepest = _steepest(smooth[peak:], day[peak:]) / max(fall * smooth[peak], 1e-9)
    noise = 1.4826 * nan_median(np.abs(part - smooth[peak:])) / smooth[peak]
    if steepest > limit("flow_step_share") or fall < limit("flow_fall_noise") * noise:
        return None
    weeks = max((day[-1] - day[begun]) / np.timedelta64(7, "D"), 1.0)
    severity = graded(fall, limit("flow_fall_watch_share"), limit("flow_fall_act_share"))
    since = np.datetime_as_string(day[begun], unit="D").item()
    steady = steady_flow(noise, len(part), like.load_error)
    real = min(Excess(fall, steady.uncertainty).probability_above(steady.value), limit("surest"))
    return Finding(
        "falling_flow",
        severity,
        since,
        real,
        f"The water flow has fallen {percent(fall)} since {day_text(since)}.",
        evidence=(
            Evidence(f"flow then, {like.what}", round(float(smooth[peak]), 3), "m3/h"),
            Evidence(f"flow now, {like.what}", round(end, 3), "m3/h"),
            context.evidence("fall", round(fall, 3), "-", "flow_fall_watch_share"),
            Evidence(
                "apparent fall from drift, load and scatter, 95 %",
                round(steady.value + GAUSS_95 * steady.uncertainty, 3),
                "-",
            ),
            context.evidence(
                "fall in the steepest two weeks over the total fall",
                round(steepest, 2),
                "-",
                "flow_step_share",
            ),
        ),
        causes=(
            Cause("strainer_clogging", 1.0, f"it fell gradually over {weeks:.0f} weeks, without a step"),
        ),
        next_step=(
            "Clean the strainer, look at what it caught, and check the water quality and the venting;"
            " compare the flow before and after."
        ),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else ("The water filter of your heating is filling up. Your installer will clean it.")
        ),
        visit="drive",
        bring=("strainer insert and seals", "hose and bucket", "water test", "magnet filter"),
    )


@dataclass(frozen=True)
class _Like:
    """Flow by day at conditions that stay alike. load_error : relative uncertainty of what the load moved
    [-]"""

    day: NDArray[Any]
    flow: Floats
    what: str
    load_error: float


def _like_conditions(context: Context) -> _Like:
    """Charging the cylinder, whose circuit has no valves that close by themselves; else heating. What the
    load moves is
    taken off both: a pump that modulates follows the heat."""
    days = context.days
    stamp = days["day"]
    hot = days.floats("flow_rate_hot_water")
    usable = np.isfinite(hot) & (days.floats("n_hot_water") >= 15)
    if usable.sum() >= _FEWEST_DAYS:
        return _at_like_load(
            stamp[usable], hot[usable], _charging_kw(context)[usable], "charging the cylinder"
        )
    flow, heat = days.floats("flow_rate"), days.floats("heat_power") / 1000.0
    usable = np.isfinite(flow) & (days.floats("n_steady") >= context.limit("flow_steady_minutes"))
    return _at_like_load(stamp[usable], flow[usable], heat[usable], "heating")


def _charging_kw(context: Context) -> Floats:
    """Heat while charging, median of each day [kW]; nan where not measured."""
    reheats, day = context.facts.reheats, context.days["day"]
    if not len(reheats):
        return np.full(len(day), np.nan)
    power = reheats.floats("heat") / np.maximum(reheats.floats("minutes"), 1.0) * 60.0
    return group_by_day(day, reheats["day"], power, "median")


def _at_like_load(day: NDArray[Any], flow: Floats, kilowatts: Floats, what: str) -> _Like:
    known = np.isfinite(kilowatts) & np.isfinite(flow)
    if known.sum() < _FEWEST_DAYS or float(np.ptp(kilowatts[known])) < 0.1:
        return _Like(day, flow, what, _LOAD_UNKNOWN if what == "heating" else 0.0)
    day, flow, kilowatts = day[known], flow[known], kilowatts[known]
    time = (day - day[0]) / np.timedelta64(1, "D")
    fit = robust_fit(np.column_stack([kilowatts, time, np.ones(len(flow))]), flow)
    moved = fit.coefficients[0] * (kilowatts - np.median(kilowatts))
    # Load and season go together: what the load's slope is not known by may pass for a slide.
    error = float(np.sqrt(max(fit.covariance[0, 0], 0.0))) * float(np.std(kilowatts)) / float(np.median(flow))
    return _Like(
        day,
        flow - moved,
        f"{what} at the same load",
        2.0 * error + 0.2 * float(np.std(moved) / np.median(flow)),
    )


def _steepest(smooth: Floats, day: np.ndarray) -> float:
    """Greatest fall within two weeks."""
    known = np.flatnonzero(np.isfinite(smooth))
    days = (day[known] - day[known][0]) / np.timedelta64(1, "D")
    grid = np.arange(0.0, days[-1] + 1.0)
    level = np.interp(grid, days, smooth[known])
    reach = min(_WINDOW_DAYS, len(level) - 1)
    return float(np.max(level[:-reach] - level[reach:])) if reach else 0.0


RULES: tuple[Rule, ...] = (
    Rule(
        "low_flow",
        low_flow,
        needs=(
            Need(("flow_rate", "heat_output", "space_heat"), 15.0),
            Need(("flow_temperature", "flow_rate"), 15.0),
        ),
        reads=frozenset({"flow_rate"}),
    ),
    Rule(
        "falling_flow",
        falling_flow,
        needs=(Need(("flow_rate",), 15.0, _FEWEST_DAYS),),
        reads=frozenset({"flow_rate"}),
    ),
)
