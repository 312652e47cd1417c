"""Disinfection of the cylinder, and stored water in the range of Legionella growth.

What counts is time at temperature: an hour at 60 °C or its like
(`fieldfare.analysis.physics.hot_water.disinfection_rate`).
"""

from __future__ import annotations

from math import hypot

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context, Need, Rule, require_hot_water
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.hot_water.disinfected import Gap, disinfected, require_seen
from fieldfare.analysis.findings.hot_water.diverter import leak_in_charges, leak_to_heating
from fieldfare.analysis.findings.hot_water.too_much import too_much_hot_water
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C, SENSOR_LOW_K, hold_minutes
from fieldfare.analysis.statistics.quantiles import nan_median

_MEANWHILE = (
    "Legionella can grow meanwhile: until a disinfection has been held, follow local rules on showers and"
    " aerosols, above all where someone in the house is frail."
)
# A run that goes this far above the everyday setpoint was meant to disinfect (common practice).
_TRIED_K = 4.0
# Layers of a cylinder differ from its sensor's by so much, one standard deviation (common practice).
_LAYERS_K = 1.5
# A store that leaks says nothing about the schedule, which may be off besides (common practice).
_OFF_TOO = 0.1
# Schedules overdue up to which a single gap is one run skipped.
_ONE_SKIPPED = 2.0
_LACKING_HOME = (
    "Your stored hot water has been lukewarm for a long time and was not heated through. Your"
    " installer will set a regular disinfection; ask them before using showers if someone at"
    " home is frail. Hotter water can scald."
)
_MISSED_HOME = (
    "The regular disinfection that prevents Legionella in your hot water has not been"
    " completed. Your installer will fix it soon; ask them before using showers if"
    " someone at home is frail."
)


def disinfection_lacking(context: Context) -> Finding | None:
    """Stored water in the growth range without disinfection, regardless of the schedule."""
    require_hot_water(context)
    plant, days, limit = context.site.hot_water, context.all_days.days, context.limit
    assert plant is not None
    if "disinfection_min" not in days or not np.isfinite(days.floats("tank_mean")).any():
        raise NotAssessed("needs cylinder_temperature", "missing_quantity")
    done = disinfected(context, as_scheduled=False)
    allowed = limit("lacking_days")
    if plant.pasteurise_c is not None:
        allowed = max(allowed, plant.pasteurise_every_days + limit("pasteurise_slack_days"))
    if done.known.sum() < allowed:
        raise NotAssessed(f"needs at least {allowed:g} days with cylinder_temperature", "too_few_days")
    gap = done.gaps()[-1]
    require_seen(gap, allowed)
    mine = done.known & (np.arange(len(days)) >= gap.first)
    if gap.days < allowed:
        return None
    share = float(
        days.floats("minutes_tank_growth")[mine].sum() / days.floats("minutes_tank_known")[mine].sum()
    )
    if share < limit("growth_share"):
        return None
    usual = nan_median(days.floats("tank_mean")[mine])
    real = Excess(limit("growth_upper_c") - usual, hypot(SENSOR_LOW_K, _LAYERS_K)).probability
    severity: Severity = "watch"
    if gap.plain_days < allowed or real < limit("finding_chance"):
        severity = "note"
    elif usual < limit("growth_act_c") and gap.plain_days >= 2.0 * limit("lacking_days"):
        severity = "act"
    since = days.day(gap.first).isoformat()
    certain = min(real * (1.0 - 0.25 ** (max(gap.plain_days, 1) / allowed)), limit("surest"))
    return _lacking(context, mine, severity, since, certain, share=share, allowed=allowed)


def _lacking(
    context: Context,
    mine: Flags,
    severity: Severity,
    since: str,
    certain: float,
    *,
    share: float,
    allowed: float,
) -> Finding:
    days = context.all_days.days
    length, usual = int(mine.sum()), nan_median(days.floats("tank_mean")[mine])
    hottest = float(np.nanmax(days.floats("tank_max")[mine]))
    best = float(np.nanmax(days.floats("disinfection_min")[mine]))
    causes = _lacking_causes(context, mine, hottest, best)
    return Finding(
        "disinfection_lacking",
        severity,
        since,
        certain,
        (
            f"The stored water is at {usual:.0f} °C, where Legionella can grow, and was not disinfected"
            f" for {length} days."
        ),
        evidence=(
            context.evidence(
                "days without a completed disinfection", length, "days", "lacking_days", allowed
            ),
            context.evidence("share of the time between 20 and 50 °C", round(share, 2), "-", "growth_share"),
            context.evidence("usual temperature", round(usual, 1), "°C", "growth_upper_c"),
            Evidence("highest temperature meanwhile", round(hottest, 1), "°C"),
            context.evidence("longest hold, as minutes at 60 °C", round(best), "min", "disinfection_minutes"),
            _last_disinfected(context),
        ),
        causes=causes,
        as_designed=_as_designed(context, mine),
        next_step=_lacking_step(context, causes[0].cause),
        caution=f"{_MEANWHILE} {HOT_WATER}",
        home="" if severity == "note" else _LACKING_HOME,
        visit="none"
        if severity == "note"
        else "drive"
        if causes[0].cause == "diverter_passing"
        else "setting",
    )


def _as_designed(context: Context, mine: Flags) -> bool:
    """Whether the site file schedules no disinfection, and charges have ended at its setpoint all along."""
    plant, days = context.site.hot_water, context.all_days.days
    assert plant is not None
    never = not disinfected(context, as_scheduled=False).sure.any()
    off = nan_median(days.floats("tank_max")[mine]) - plant.setpoint_c
    return plant.pasteurise_c is None and never and abs(off) < _TRIED_K


def _last_disinfected(context: Context) -> Evidence:
    days = context.all_days.days
    held = np.flatnonzero(disinfected(context, as_scheduled=True).sure)
    when = days.day(int(held[-1])).isoformat() if len(held) else "not in this period"
    return Evidence("last disinfected", when)


def _lacking_causes(context: Context, mine: Flags, hottest: float, best: float) -> tuple[Cause, ...]:
    plant, days = context.site.hot_water, context.all_days.days
    assert plant is not None
    # Runs above the everyday setpoint show a programme that does not get far enough, or does not hold.
    tried = int((fill_nan(days.floats("tank_max")[mine], 0.0) >= plant.setpoint_c + _TRIED_K).sum())
    planned = plant.pasteurise_c is not None and plant.pasteurise_c < DISINFECTED_AT_C - SENSOR_LOW_K
    usual = nan_median(days.floats("tank_max")[mine])
    short = usual < plant.setpoint_c - context.limit("reheat_short_k")
    if plant.pasteurise_c is not None and short and _leaks_to_heating(context):
        why = (
            f"the heat goes to the heating: the store reaches {usual:.0f} °C on most days, below its everyday"
            f" {plant.setpoint_c:g} °C, so that no scheduled run can get further"
        )
        off = "the schedule may be off at the controller too"
        return ranked({"diverter_passing": (1.0 - _OFF_TOO, why), "none_scheduled": (_OFF_TOO, off)})
    low = 0.9 if planned or (tried and best > 0.0) else 0.75 if tried else 0.1
    how = (
        f"the schedule asks for {plant.pasteurise_c:g} °C only"
        if planned
        else (
            f"the hottest run reached {hottest:.0f} °C and counts as {best:.0f} minutes at 60 °C"
            if tried
            else f"no run exceeded {hottest:.0f} °C"
        )
    )
    none = (
        "the site file schedules none"
        if plant.pasteurise_c is None
        else (
            f"no scheduled run was started: the highest temperature was {hottest:.0f} °C"
            if not tried
            else f"{tried} days went above the setpoint"
        )
    )
    return ranked({"setpoint_too_low": (low, how), "none_scheduled": (1.0 - low, none)})


def _leaks_to_heating(context: Context) -> bool:
    """Whether the cylinder's heat is known to pass the diverter."""
    limit, leak, charge = context.limit, context.once(leak_to_heating), context.once(leak_in_charges)
    if leak is not None and leak.is_sure and leak.rate > limit("diverter_leak_k_per_h"):
        return True
    if charge is not None and charge.is_sure and charge.share >= limit("charge_leak_watch"):
        return True
    return context.once(too_much_hot_water) is not None


def _lacking_step(context: Context, cause: str) -> str:
    hold = f"{DISINFECTED_AT_C:g} °C for {hold_minutes(DISINFECTED_AT_C):.0f} minutes in the whole cylinder"
    if cause == "diverter_passing":
        return (
            "See diverter_passing: the heat goes to the heating instead of the store. Until that is mended,"
            f" let the immersion heater bring the store to {hold}, or what local rules ask. Check that a"
            " tempering valve is fitted and set before the water gets hotter."
        )
    if cause == "setpoint_too_low":
        return (
            f"Raise the disinfection's temperature and hold so that it reaches {hold}, or what local"
            " rules ask; let the immersion heater finish it, and run it now. Check that a tempering"
            " valve is fitted and set before the water gets hotter."
        )
    return (
        "Agree with the householder, by local rules, how the water is kept safe: a scheduled"
        f" disinfection ({hold}, weekly in common practice) or a store kept at"
        f" {DISINFECTED_AT_C:g} °C. Check that a tempering valve is fitted and set before the"
        " water gets hotter, run a disinfection now, and enter the schedule on this site's page."
    )


def pasteurisation_missed(context: Context) -> Finding | None:
    require_hot_water(context)
    plant, days, limit = context.site.hot_water, context.all_days.days, context.limit
    assert plant is not None
    if plant.pasteurise_c is None:
        raise NotAssessed("no thermal disinfection is scheduled", "not_applicable")
    if "disinfection_min" not in days:
        raise NotAssessed("needs cylinder_temperature", "missing_quantity")
    # A schedule too low to disinfect is disinfection_lacking; here it counts as the schedule has it.
    done = disinfected(context, as_scheduled=True)
    every = plant.pasteurise_every_days
    allowed = every + limit("pasteurise_slack_days")
    if done.known.sum() <= allowed:
        raise NotAssessed(f"needs more than {allowed:g} days with cylinder_temperature", "too_few_days")
    gaps = done.gaps()
    missed = [g for g in gaps if g.plain_days > allowed]
    ongoing = gaps[-1].days > allowed
    if not missed:
        require_seen(gaps[-1], allowed)
    # One run that is in doubt, before others that were held, is not worth a word.
    if not missed and not ongoing:
        return None
    gap = gaps[-1] if ongoing else missed[-1]
    overdue = gap.plain_days / every
    share = sum(g.days for g in missed) / max(int(done.known.sum()), 1)
    severity: Severity = "note"
    # One run skipped (a power cut, the night the clocks change) is made good by the next.
    skipped = len(missed) == 1 and overdue <= _ONE_SKIPPED and bool(done.possible.any())
    often = len(missed) > 1 and share > limit("pasteurise_missed_share")
    if not skipped and (often or (ongoing and gap.plain_days > allowed)):
        severity = "act" if overdue >= limit("pasteurise_act") else "watch"
    certain = min(1.0 - 0.5 ** (max(overdue, 0.5) * 1.5), limit("surest"))
    runs = sum(g.days // every for g in missed)
    return _missed(context, gap, severity, certain, until=None if ongoing else gap.last, runs=runs)


def _missed(
    context: Context,
    gap: Gap,
    severity: Severity,
    certain: float,
    *,
    until: int | None,
    runs: int,
) -> Finding:
    plant, days = context.site.hot_water, context.all_days.days
    assert plant is not None
    assert plant.pasteurise_c is not None
    every = plant.pasteurise_every_days
    length, begin, last = gap.days, gap.first, gap.last
    hottest = float(np.nanmax(days.floats("tank_max")[begin : last + 1]))
    held = float(np.nanmax(fill_nan(days.floats("disinfection_min")[begin : last + 1], 0.0)))
    reached = plant.pasteurise_c - hottest <= SENSOR_LOW_K
    loud, heater = severity != "note", hottest >= plant.setpoint_c + _TRIED_K - 1.0
    return Finding(
        "pasteurisation_missed",
        severity,
        days.day(min(begin + every, len(days) - 1)).isoformat(),
        certain,
        f"Disinfection at {plant.pasteurise_c:g} °C was not {'held' if reached else 'reached'}"
        f" for {length} days; it is scheduled every {every}.",
        evidence=(
            context.evidence(
                "days without disinfection",
                length,
                "days",
                "pasteurise_slack_days",
                every + context.limit("pasteurise_slack_days"),
            ),
            Evidence("highest temperature meanwhile", round(hottest, 1), "°C"),
            context.evidence("longest hold, as minutes at 60 °C", round(held), "min", "disinfection_minutes"),
            _last_disinfected(context),
            Evidence("scheduled runs missed in this period", runs, ""),
        ),
        until=None if until is None else days.day(until).isoformat(),
        next_step=_missed_step(plant.pasteurise_c, hottest, held, reached=reached),
        caution=f"{_MEANWHILE} {HOT_WATER}",
        home=_MISSED_HOME if loud else "",
        visit=("drive" if heater else "setting") if loud else "none",
        bring=("immersion heater and thermostat",) if loud and heater else (),
    )


def _missed_step(target_c: float, hottest: float, held: float, *, reached: bool) -> str:
    how = (
        f"It reached {hottest:.0f} °C, but the hold counts as only {held:.0f} minutes at 60 °C."
        if reached
        else f"The cylinder stayed {target_c - hottest:.0f} K below it."
    )
    return (
        "Check that the disinfection programme is on and the immersion heater works (fuse,"
        f" thermostat cut-out), let it run to {target_c:g} °C now, and check that it"
        f" holds as long as local rules require. {how}"
    )


_TANK = frozenset({"cylinder_temperature"})
RULES = (
    Rule("disinfection_lacking", disinfection_lacking, (Need(("cylinder_temperature",), 15.0, 8),), _TANK),
    Rule("pasteurisation_missed", pasteurisation_missed, (Need(("cylinder_temperature",), 15.0, 8),), _TANK),
)
