"""Does the immersion heater make hot water beyond disinfection?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER, MAINS_WORK, setpoint_advice
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule, require_hot_water
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.hot_water.heated_by_others import heated_by_others
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.yearly_cost import DAYS_A_YEAR
from fieldfare.analysis.physics.hot_water import USUAL_CYLINDER_LITRES, WH_PER_LITRE_KELVIN
from fieldfare.analysis.statistics.quantiles import nan_median

_LUKEWARM_C = 40.0
_USUAL_COP = 2.4


def immersion_use(context: Context) -> Finding | None:
    require_hot_water(context)
    days, limit = context.days, context.limit
    used = days.floats("electricity_immersion_kwh")
    # While the unit stands the heater makes the water in its stead: `unit_stopped` says so. Not so where the
    # heater keeps the water too hot for the unit to have anything to do.
    stands = (days.floats("minutes_running") == 0.0) & ~heated_by_others(context, days)
    known = np.isfinite(used) & ~stands
    used = np.where(known, used, np.nan)
    if known.sum() < 7:
        raise NotAssessed("needs immersion_electricity on at least 7 days", "too_few_days")
    beyond = _beyond_disinfection(context, fill_nan(used, 0.0))
    is_excess = beyond >= limit("immersion_day_kwh")
    episode = latest_episode(days["day"], is_excess, known, hold_days=3, gone_days=10)
    if episode is None:
        return None
    inside = known & episode.covers(days["day"])
    # A busy week is not the rule: the mean is over a month at least.
    a_day = float(beyond[inside].sum()) / max(float(inside.sum()), min(30.0, float(known.sum())))
    watch = limit("immersion_watch_kwh")
    severity = downgraded(graded(a_day, watch, limit("immersion_act_kwh")), episode, 3.0)
    if a_day < 0.3 * watch:
        return None
    causes, evidence = _causes(context, inside & is_excess)
    first = causes[0].cause if causes else ""
    kwh = a_day * (1.0 - 1.0 / _cop(context)) * DAYS_A_YEAR
    return Finding(
        "immersion_use",
        severity,
        episode.since,
        confidence_of(a_day / watch, episode.days * episode.share, episode.share),
        (f"The immersion heater supplies {a_day:.1f} kWh of hot water a day in addition to disinfection."),
        evidence=(
            context.evidence(
                "immersion heat in addition to disinfection",
                round(a_day, 2),
                "kWh/day",
                "immersion_watch_kwh",
            ),
            Evidence("days when the heater ran", int((inside & is_excess).sum()), "days"),
            Evidence("share of days", round(episode.share, 2), "-"),
            *evidence,
        ),
        causes=causes,
        until=episode.until,
        next_step=(
            (
                "Ask the householder to check the immersion heater's switch and timer and to leave it"
                " under the controller; only the scheduled disinfection should use it."
            )
            if first != "setpoint_above_reach"
            else _setpoint_step(context, inside & is_excess)
        ),
        caution=f"{HOT_WATER} {MAINS_WORK}",
        home=(
            ""
            if severity == "note"
            else (
                (
                    "The immersion heater in the hot-water cylinder runs every day, which costs more than"
                    " the heat pump would. Please check whether its switch or timer is on, and leave it"
                    " to the controller."
                )
                if first != "setpoint_above_reach"
                else (
                    "The hot water is set hotter than the heat pump can make it, so the immersion"
                    " heater does the rest each time. Your installer will check the setting."
                )
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="none" if severity == "note" else "setting" if first == "setpoint_above_reach" else "call",
    )


def _setpoint_step(context: Context, chosen: Flags) -> str:
    """Next step where charges end below the setpoint; never advises the growth range."""
    plant, reheats = context.site.hot_water, context.facts.reheats
    assert plant is not None
    reach = nan_median(reheats.floats("to_c")[np.isin(reheats["day"], context.days["day"][chosen])])
    if not np.isfinite(reach):
        return (
            "Before changing any setpoint, check how hot the heat pump alone makes the cylinder, and"
            " what limits it."
        )
    return setpoint_advice(reach, disinfected=plant.pasteurise_c is not None)


def _beyond_disinfection(context: Context, used: Floats) -> Floats:
    """Each day's immersion energy less what a disinfection may take: one a schedule, the greatest days."""
    plant = context.site.hot_water
    assert plant is not None
    beyond = used.copy()
    if plant.pasteurise_c is None:
        return beyond
    litres = plant.cylinder_litres or USUAL_CYLINDER_LITRES
    allowed = litres * WH_PER_LITRE_KELVIN / 1000.0 * (plant.pasteurise_c - _LUKEWARM_C)
    number = (context.days["day"] - context.days["day"][0]) // np.timedelta64(1, "D")
    taken: list[int] = []
    for i in np.argsort(-used):
        if used[i] < 0.05:
            break
        if all(abs(int(number[i]) - t) >= plant.pasteurise_every_days for t in taken):
            taken.append(int(number[i]))
            beyond[i] = max(used[i] - allowed, 0.0)
    return beyond


def _cop(context: Context) -> float:
    want = context.figures.expected
    return float(
        np.clip(
            want.measured_hot_water or want.hot_water or context.site.design.spf_hot_water or _USUAL_COP,
            1.3,
            5.0,
        )
    )


def _causes(context: Context, chosen: Flags) -> tuple[tuple[Cause, ...], tuple[Evidence, ...]]:
    """A timer heats at fixed hours above the setpoint; an unreachable setpoint follows each charge."""
    days, plant = context.days, context.site.hot_water
    assert plant is not None
    total = float(np.nansum(days.floats("electricity_immersion_kwh")[chosen]))
    after = float(np.nansum(days.floats("electricity_immersion_after_kwh")[chosen]))
    doubt, words = 0.0, []
    evidence: list[Evidence] = []
    if "electricity_immersion_after_kwh" in days and total > 0:
        share = after / total
        doubt += 5.0 * (0.5 - share)
        words.append(f"{percent(share)} of its heat follows a charge by the heat pump")
        evidence.append(
            Evidence("share of its heat that follows a charge by the heat pump", round(share, 2), "-")
        )
    past = nan_median(days.floats("immersion_to_c")[chosen]) - plant.setpoint_c
    if np.isfinite(past):
        doubt += float(np.clip(0.6 * (past - 1.5), -1.0, 3.0))
        words.append(f"it ends {abs(past):.1f} K {'above' if past > 0 else 'below'} the setpoint")
        evidence.append(Evidence("cylinder at its end minus setpoint", round(past, 1), "K"))
    reheats = context.facts.reheats
    ends = reheats.floats("to_c")[np.isin(reheats["day"], days["day"][chosen])]
    short = plant.setpoint_c - nan_median(ends)
    if np.isfinite(short):
        doubt += float(np.clip(1.2 * (1.5 - short), -2.5, 1.0))
        words.append(f"charges end {abs(short):.1f} K {'below' if short > 0 else 'above'} the setpoint")
        evidence.append(Evidence("setpoint minus end of the charges", round(short, 1), "K"))
    steady = _same_hour(days.floats("immersion_at_min")[chosen])
    if np.isfinite(steady):
        doubt += 2.0 * (steady - 0.6)
        evidence.append(Evidence("similarity of its hours from day to day", round(steady, 2), "-"))
    if not words:
        return (), tuple(evidence)
    p = probability_of(doubt)
    why = ", ".join(words)
    return ranked({"immersion_timer_on": (p, why), "setpoint_above_reach": (1.0 - p, why)}), tuple(evidence)


def _same_hour(minute: Floats) -> float:
    """1 where it begins at the same time every day, 0 where at any."""
    known = minute[np.isfinite(minute)]
    if len(known) < 3:
        return float("nan")
    return float(np.abs(np.mean(np.exp(2j * np.pi * known / 1440.0))))


RULES = (
    Rule(
        "immersion_use",
        immersion_use,
        (Need(("immersion_electricity",), 1440.0, 7),),
        frozenset({"immersion_electricity", "cylinder_temperature"}),
    ),
)
