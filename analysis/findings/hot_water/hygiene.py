"""Was the cylinder disinfected, as scheduled or at all, and does its water stand where Legionella grows?

What counts is time at temperature: an hour at 60 °C or its like
(`fieldfare.analysis.physics.hot_water.disinfection_rate`).
"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context, Need, Rule, require_hot_water
from fieldfare.analysis.findings.grading import ranked
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


def _done(context: Context) -> Flags:
    """Days of all days on which the store was held hot enough for long enough."""
    dose = context.all_days.days.floats("disinfection_min")
    return np.asarray(fill_nan(dose, 0.0) >= context.limit("disinfection_minutes"), dtype=np.bool_)


def _known(context: Context) -> Flags:
    """Days of all days that count as days without: the cylinder measured throughout, somebody at home."""
    whole = context.all_days.days
    return np.asarray(
        (whole.floats("minutes_tank_known") >= 0.8 * whole.floats("minutes_total"))
        & np.isin(whole["day"], context.days["day"])
    )


def disinfection_lacking(context: Context) -> Finding | None:
    """Stored water that stands in the growth range and is not disinfected, whatever the schedule says."""
    require_hot_water(context)
    plant, days, limit = context.site.hot_water, context.all_days.days, context.limit
    assert plant is not None
    if "disinfection_min" not in days or not np.isfinite(days.floats("tank_mean")).any():
        raise NotAssessed("needs cylinder_temperature", "missing_quantity")
    known, done = _known(context), _done(context)
    allowed = limit("lacking_days")
    if plant.pasteurise_c is not None:
        allowed = max(allowed, plant.pasteurise_every_days + limit("pasteurise_slack_days"))
    if known.sum() < allowed:
        raise NotAssessed(f"needs at least {allowed:g} days with cylinder_temperature", "too_few_days")
    reached = np.flatnonzero(done)
    begin = int(reached[-1]) + 1 if len(reached) else 0
    mine = known & (np.arange(len(days)) >= begin)
    length = int(mine.sum())
    if length < allowed:
        return None
    share = float(
        days.floats("minutes_tank_growth")[mine].sum() / days.floats("minutes_tank_known")[mine].sum()
    )
    if share < limit("growth_share"):
        return None
    usual, hottest = (
        nan_median(days.floats("tank_mean")[mine]),
        float(np.nanmax(days.floats("tank_max")[mine])),
    )
    severity: Severity = (
        "act" if usual < limit("growth_act_c") and length >= 2.0 * limit("lacking_days") else "watch"
    )
    best = float(np.nanmax(days.floats("disinfection_min")[mine]))
    since = days.day(min(begin, len(days) - 1))
    real = Excess(limit("growth_upper_c") - usual, SENSOR_LOW_K).probability
    causes = _lacking_causes(context, mine, hottest, best)
    return Finding(
        "disinfection_lacking",
        severity,
        since.isoformat(),
        float(np.clip(real * (1.0 - 0.5 ** (length / allowed)) + 0.3, 0.5, 0.98)),
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
            Evidence(
                "last disinfected",
                days.day(int(reached[-1])).isoformat() if len(reached) else "not in this period",
            ),
        ),
        causes=causes,
        next_step=_lacking_step(context, causes[0].cause),
        caution=f"{_MEANWHILE} {HOT_WATER}",
        home=(
            "Your stored hot water has been lukewarm for a long time and was not heated through. Your"
            " installer will set a regular disinfection; ask them before using showers if someone at"
            " home is frail. Hotter water can scald."
        ),
        visit="setting",
    )


def _lacking_causes(context: Context, mine: Flags, hottest: float, best: float) -> tuple[Cause, ...]:
    plant, days = context.site.hot_water, context.all_days.days
    assert plant is not None
    # Runs above the everyday setpoint show a programme that does not get far enough, or does not hold.
    tried = int((fill_nan(days.floats("tank_max")[mine], 0.0) >= plant.setpoint_c + _TRIED_K).sum())
    planned = plant.pasteurise_c is not None and plant.pasteurise_c < DISINFECTED_AT_C - SENSOR_LOW_K
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


def _lacking_step(context: Context, cause: str) -> str:
    hold = f"{DISINFECTED_AT_C:g} °C for {hold_minutes(DISINFECTED_AT_C):.0f} minutes in the whole cylinder"
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
    # Disinfection counts on any day it was held; only days that can be judged count as days without.
    plant, days = context.site.hot_water, context.all_days.days
    assert plant is not None
    if plant.pasteurise_c is None:
        raise NotAssessed("no thermal disinfection is scheduled", "not_applicable")
    if "disinfection_min" not in days:
        raise NotAssessed("needs cylinder_temperature", "missing_quantity")
    every = plant.pasteurise_every_days
    known, done = _known(context), _done(context)
    if plant.pasteurise_c < DISINFECTED_AT_C:
        # A schedule too low to disinfect is told by disinfection_lacking; here it counts as the schedule
        # has it.
        done |= fill_nan(days.floats("minutes_hot_enough"), 0.0) >= context.limit("disinfection_minutes")
    allowed = every + context.limit("pasteurise_slack_days")
    if known.sum() <= allowed:
        raise NotAssessed(f"needs more than {allowed:g} days with cylinder_temperature", "too_few_days")
    gaps = _gaps(known, done)
    length, begin, last = gaps[-1]
    missed = [g for g in gaps if g[0] > allowed]
    if not missed:
        return None
    ongoing = length > allowed
    if not ongoing:
        length, begin, last = missed[-1]
    overdue = length / every
    share = sum(g[0] for g in missed) / max(int(known.sum()), 1)
    severity: Severity = "note"
    # One run skipped (a power cut, the night the clocks change) is made good by the next.
    skipped = len(missed) == 1 and overdue <= 2.0 and bool(done.any())
    if not skipped and (ongoing or (len(missed) >= 2 and share > 0.4)):
        severity = "act" if overdue >= context.limit("pasteurise_act") else "watch"
    hottest = float(np.nanmax(days.floats("tank_max")[begin : last + 1]))
    held = float(np.nanmax(fill_nan(days.floats("disinfection_min")[begin : last + 1], 0.0)))
    reached = np.flatnonzero(done)
    since = days.day(min(begin + every, len(days) - 1)).isoformat()
    short = plant.pasteurise_c - hottest
    how = (
        f"The cylinder stayed {short:.0f} K below it."
        if short > SENSOR_LOW_K
        else f"It reached {hottest:.0f} °C, but the hold counts as only {held:.0f} minutes at 60 °C."
    )
    return Finding(
        "pasteurisation_missed",
        severity,
        since,
        float(np.clip(1.0 - 0.5 ** (overdue * 1.5), 0.5, 0.99)),
        f"Disinfection at {plant.pasteurise_c:g} °C was not {'reached' if short > SENSOR_LOW_K else 'held'}"
        f" for {length} days; it is scheduled every {every}.",
        evidence=(
            context.evidence("days without disinfection", length, "days", "pasteurise_slack_days", allowed),
            Evidence("highest temperature meanwhile", round(hottest, 1), "°C"),
            context.evidence("longest hold, as minutes at 60 °C", round(held), "min", "disinfection_minutes"),
            Evidence(
                "last disinfected",
                days.day(int(reached[-1])).isoformat() if len(reached) else "not in this period",
            ),
            Evidence("scheduled runs missed in this period", sum(g[0] // every for g in missed), ""),
        ),
        until=None if ongoing else days.day(last).isoformat(),
        next_step=(
            "Check that the disinfection programme is on and the immersion heater works (fuse,"
            f" thermostat cut-out), let it run to {plant.pasteurise_c:g} °C now, and check that it"
            f" holds as long as local rules require. {how}"
        ),
        caution=f"{_MEANWHILE} {HOT_WATER}",
        home=(
            ""
            if severity == "note"
            else (
                "The regular disinfection that prevents Legionella in your hot water has not been"
                " completed. Your installer will fix it soon; ask them before using showers if"
                " someone at home is frail."
            )
        ),
        visit="none" if severity == "note" else "setting" if hottest < plant.setpoint_c + 3.0 else "drive",
        bring=(
            ("immersion heater and thermostat",)
            if severity != "note" and hottest >= plant.setpoint_c + 3.0
            else ()
        ),
    )


def _gaps(known: Flags, done: Flags) -> list[tuple[int, int, int]]:
    """Runs without disinfection as (judged days, first, last index); days without data do not count."""
    out, count, begin = [], 0, 0
    for i in range(len(known)):
        if done[i]:
            out.append((count, begin, max(i - 1, begin)))
            count, begin = 0, i + 1
        elif known[i]:
            count += 1
    out.append((count, min(begin, len(known) - 1), len(known) - 1))
    return out


_TANK = frozenset({"cylinder_temperature"})
RULES = (
    Rule("disinfection_lacking", disinfection_lacking, (Need(("cylinder_temperature",), 15.0, 8),), _TANK),
    Rule("pasteurisation_missed", pasteurisation_missed, (Need(("cylinder_temperature",), 15.0, 8),), _TANK),
)
