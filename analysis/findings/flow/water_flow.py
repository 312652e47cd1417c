"""Is there enough water through the heat pump?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.expectation.water_flow import (
    ONE_SPEED_ELASTICITY,
    elasticity,
    nominal_difference,
    short_of_nominal,
)
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.flow.falling_flow import falling_flow
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding, rounded
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.findings.yearly_cost import heating_year, share_spared
from fieldfare.analysis.physics.water import KWH_PER_M3_K
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median

_FEWEST_DAYS = 28
_NEWEST_DAYS = 7
_MEASURED, _FROM_HEAT, _FROM_DAY = (
    "measured",
    "from heat and difference",
    "from the day's heat and difference",
)
# A day's heat over its hours of heating stands beside the difference of steady minutes: begins and ends of
# runs and the share of hot water leave so much open (common practice). Fewer hours are mostly begins and
# ends.
_DAY_SPREAD, _LEAST_HEATING_MIN = 0.12, 240.0
# Dirt slides, a setting does not: odds of one against the other once the flow has slid (common practice).
_SLID = 16.0


def low_flow(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    nominal, basis = _nominal(context)
    flow, how = _flow(context)
    steady = (days.floats("minutes_steady") >= limit("flow_steady_minutes")) & np.isfinite(flow)
    hot = days.floats("flow_rate_hot_water")
    top = np.fmax(np.fmax(days.floats("flow_rate_top"), hot), flow) if how == _MEASURED else flow
    judged = (steady | np.isfinite(hot)) & np.isfinite(top)
    if judged.sum() < limit("flow_days"):
        raise NotAssessed(
            "too few days of steady running with flow rate, or heat and both temperatures", "too_few_days"
        )
    share = top / nominal
    is_low = judged & (fill_nan(share, 9.0) < limit("low_flow_note_share"))
    episode = latest_episode(days["day"], is_low, judged, hold_days=3, gone_days=7)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & judged
    value = nan_median(share[here])
    if value >= limit("low_flow_note_share"):
        return None
    if not (here & steady).any() and value >= limit("reheat_flow_share"):
        return None  # seen while charging alone: coil and valve take their part of the flow
    lift = nan_median(days.floats("lift")[here & steady])
    widest = _widest(context, episode, here & steady, nominal)
    allowed = _nominal_lift(context, nominal)
    real, evidence = _short_of_water(context, here & steady, value, widest, allowed)
    if real is None:
        return None
    severity = downgraded(
        graded(value, limit("low_flow_watch_share"), limit("low_flow_act_share"), downward=True), episode, 5.0
    )
    kwh = _flow_cost(days, here & steady, lift, value, heating_year(context))
    since = onset(days["day"], np.where(judged, 1.0 - share, np.nan), episode)
    causes = _low_flow_causes(context, here, share, since)
    return Finding(
        "low_flow",
        severity,
        since,
        min(real, limit("surest")) * _known(how, value / limit("low_flow_note_share")),
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
                rounded(widest),
                "K",
                "wide_lift_share",
                round(limit("wide_lift_share") * allowed.middle, 1),
            ),
            *evidence,
            Evidence("flow-return difference in steady heating", rounded(lift), "K"),
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
    A pump of one speed gives the same water at any heat, so that a lack shows in mild weather too. At its
    least speed a pump that modulates does so as well: then the difference stays below nominal.
    """
    limit = context.limit
    if context.site.heat_pump.antifreeze != "none":
        allowed = Lognormal(allowed.middle * limit("antifreeze_wider"), allowed.spread)
    wide = limit("wide_lift_share") * allowed.middle
    follows = _follows(context, rows)
    one_speed = np.isfinite(follows) and follows < ONE_SPEED_ELASTICITY
    evidence: tuple[Evidence, ...] = ()
    if np.isfinite(follows):
        evidence = (Evidence("relative change of the flow for one of the heat", round(follows, 2), "-"),)
    by_share = short_of_nominal(share) if one_speed and context.site.heat_pump.flow_m3_per_h else 0.0
    if not np.isfinite(widest):
        return max(by_share, limit("low_flow_unseen_chance")), evidence
    if widest < allowed.middle:
        by_share *= limit("low_flow_unseen_chance")
    if widest <= wide and by_share < limit("finding_chance"):
        return None, evidence
    by_difference = normal_probability(Lognormal(wide, allowed.spread).score(widest))
    return max(by_share, by_difference), evidence


def _follows(context: Context, rows: Flags) -> float:
    """Relative change of the flow for one of the heat, over heating days and charges together [-]; nan where
    the heat hardly varies.

    Heating alone often stays at one output for weeks; a charge asks for more.
    """
    days, reheats = context.days, context.facts.reheats
    flow, heat = days.floats("flow_rate")[rows], days.floats("heat_power")[rows] / 1000.0
    if len(reheats):
        long = reheats.floats("minutes") >= context.limit("charge_minutes")
        charges = reheats.where(long & np.isin(reheats["day"], days["day"][rows]))
        flow = np.concatenate([flow, charges.floats("flow_rate")])
        heat = np.concatenate([heat, charges.floats("heat") / charges.floats("minutes") * 60.0])
    return elasticity(flow, heat)


def _nominal(context: Context) -> tuple[float, str]:
    pump = context.site.heat_pump
    if pump.flow_m3_per_h:
        return pump.flow_m3_per_h, "by the site file"
    if pump.rated_output_kw:
        wide = context.limit("widest_nominal_k")
        return pump.rated_output_kw / (KWH_PER_M3_K * wide), f"rated output at {wide:g} K"
    raise NotAssessed(
        "needs heat_pump.flow_m3_per_h or heat_pump.rated_output_kw in the site file", "missing_in_site_file"
    )


def _nominal_lift(context: Context, nominal: float) -> Lognormal:
    """Difference at rated output and nominal flow [K]; a usual value without a rated output."""
    rated = context.site.heat_pump.rated_output_kw
    return nominal_difference(rated or context.limit("usual_nominal_k") * KWH_PER_M3_K * nominal, nominal)


def _flow(context: Context) -> tuple[Floats, str]:
    """Flow while heating by day [m3/h]: as measured, else heat over difference, of steady minutes or, where a
    meter counts too coarsely to show these, of the day."""
    days = context.days
    measured = days.floats("flow_rate")
    if np.isfinite(measured).any():
        return measured, _MEASURED
    heat, lift, how = days.floats("heat_power") / 1000.0, days.floats("lift"), _FROM_HEAT
    names = [name for q in HEAT_QUANTITIES if (name := f"spacing.{q}") in days]
    if names and not any((days.floats(name) <= context.limit("flow_heat_minutes")).any() for name in names):
        hours = days.floats("minutes_heating") / 60.0
        long = hours >= _LEAST_HEATING_MIN / 60.0
        heat = np.divide(days.floats("heat_space_kwh"), hours, out=np.full(len(days), np.nan), where=long)
        how = _FROM_DAY
    usable = (lift > 1.0) & (heat > 0.3)
    return np.divide(heat, KWH_PER_M3_K * lift, out=np.full(len(days), np.nan), where=usable), how


def _known(how: str, over_limit: float) -> float:
    """Factor on the confidence by how the flow is measured. over_limit : flow over its limit [-]"""
    if how == _MEASURED:
        return 1.0
    return 0.95 if how == _FROM_HEAT else normal_probability(-np.log(over_limit) / _DAY_SPREAD)


def _widest(context: Context, episode: Episode, here: Flags, nominal: float) -> float:
    """Difference at the highest output [K]: on days of most heat, on the newest days, or at an equally low
    charging flow.

    A flow that goes on falling is least on the newest days, whatever heat these ask for. nan where no
    difference is measured.
    """
    days, reheats = context.days, context.facts.reheats
    lift, heat = days.floats("lift"), days.floats("heat_power")
    usable = here & np.isfinite(lift)
    busy = usable & np.isfinite(heat)
    if busy.any():
        usable = busy & (heat >= np.quantile(heat[busy], context.limit("busiest_days")))
    newest = np.flatnonzero(here & np.isfinite(lift))[-_NEWEST_DAYS:]
    widest = float(np.fmax(nan_median(lift[usable]), nan_median(lift[newest])))
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
    used = float(np.nansum(days.floats("electricity_space_kwh")[here]))
    if not np.isfinite(lift) or used <= 0:
        return None
    hotter = 0.5 * lift * (1.0 - min(share, 1.0))
    return used * share_spared(hotter) * year


def _low_flow_causes(context: Context, here: Flags, share: Floats, since: str) -> tuple[Cause, ...]:
    """Air makes the flow restless, dirt lets it slide. A setting is low and steady; so is settled dirt."""
    days = context.days
    jitter, limit = nan_median(days.floats("flow_jitter")[here]), context.limit("flow_jitter")
    blocked, set_low = 0.5, 0.5
    words_blocked, words_set = "the flow is low", "the flow is low"
    if np.isfinite(jitter):
        restless = float(np.clip(np.log2(max(jitter, 1e-4) / limit), -2.0, 2.0))
        air, set_low = 2.0**restless, 2.0**-restless
        blocked = max(air, 0.5 * (air + set_low))  # dirt alone is as steady as a setting
        words_blocked = (
            f"the flow changes by {percent(jitter, 1)} from one reading to the next, as with air in the water"
            if restless > 0
            else "the flow is low, without air in the water"
        )
        words_set = (
            f"the flow is low but steady to {percent(jitter, 1)}" if restless <= 0 else "the flow is low"
        )
    known = share[here & np.isfinite(share)]
    if (slid := _slide(context)) is not None:
        blocked *= _SLID
        words_blocked, words_set = (
            f"the flow has fallen gradually since {day_text(slid.since)}",
            "the flow is low",
        )
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


RULES: tuple[Rule, ...] = (
    Rule(
        "low_flow",
        low_flow,
        needs=(
            Need(("flow_rate", "heat_output", "space_heat"), 1440.0),
            Need(("flow_temperature", "flow_rate"), 15.0),
        ),
        reads=frozenset({"flow_rate"}),
    ),
)
