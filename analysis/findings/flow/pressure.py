"""Is the circuit losing water, is its pressure low?"""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.flow.expansion_vessel import pressure_swings
from fieldfare.analysis.findings.flow.pressure_common import (
    EMPTY_BAR,
    GAUGE_BAR,
    bounded,
    drift_of_pressure,
    pressure_of_days,
)
from fieldfare.analysis.findings.flow.pressure_trend import FEWEST_DAYS, Drift
from fieldfare.analysis.findings.grading import graded
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text

# Air leaves a new circuit for some weeks, and its pressure with it (common practice).
_SETTLING = timedelta(days=28)


def pressure_falling(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    pressure = pressure_of_days(context, FEWEST_DAYS)
    known = np.isfinite(pressure)
    fall = drift_of_pressure(context, -1, limit("pressure_fall_note"), limit("pressure_fallen_bar"))
    if fall is None:
        return None
    loss, fallen = -fall.slope, -fall.change
    ongoing = _ongoing(context, fall, pressure)
    now = float(np.median(pressure[known][-3:]))
    severity = _fall_severity(context, fall, now, ongoing=ongoing)
    if severity is None:
        return None
    real = Excess(loss, max(fall.error, 0.1 * limit("pressure_fall_note")))
    topped = f", though it was topped up {fall.refills_within} times" if fall.refills_within > 1 else ""
    return Finding(
        "pressure_falling",
        severity,
        days.day(fall.first).isoformat(),
        bounded(real.probability_above(limit("pressure_fall_note") / 2.0)),
        f"The heating circuit loses {loss:.2f} bar a week, {fallen:.1f} bar so"
        f" far{topped}.{_ahead(context, now, loss) if ongoing else ''}",
        evidence=(
            context.evidence(
                "fall of pressure at the same water temperature",
                round(loss, 3),
                "bar/week",
                "pressure_fall_watch",
            ),
            Evidence("its standard uncertainty", round(fall.error, 4), "bar/week"),
            context.evidence("total fall, without refills", round(fallen, 2), "bar", "pressure_fallen_bar"),
            context.evidence(
                "pressure, median of the newest 3 days", round(now, 2), "bar", "pressure_low_watch"
            ),
            context.evidence(
                "time until the unit locks out at this rate",
                math.floor(_days_left(context, now, loss)),
                "days",
                "pressure_days_left",
            ),
            Evidence("refills seen", fall.refills, ""),
        ),
        until=None if ongoing else days.day(fall.last).isoformat(),
        next_step=(
            "Ask the householder to look for drips at radiators, valves and the relief valve's outlet, and"
            " how often it is topped up. Then visit: relief valve, expansion vessel's charge (with the"
            " circuit empty of pressure), joints, the coil of the cylinder; find the leak, then top up with"
            " the right water or mixture."
        ),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "The heating circuit is slowly losing water. Please look for damp spots at radiators"
                " and pipes and tell your installer."
            )
        ),
        visit="drive" if severity != "note" else "none",
        bring=("vessel pump and gauge", "relief valve", "leak detector") if severity != "note" else (),
    )


def _ongoing(context: Context, fall: Drift, pressure: Floats) -> bool:
    """Whether the circuit still loses water, as far as is known.

    A top-up is no repair: a fall that a refill ended goes on until the level is seen to stay, or somebody
    worked on the plant. A circuit that has run empty can fall no further: that has not ended either.
    """
    after = pressure[fall.last + 1 :]
    if np.isfinite(after).any() and float(np.nanmax(after)) < 2.0 * EMPTY_BAR:
        return True
    ended = context.days.day(fall.last).isoformat()
    return not fall.over and not any(r.kind == "serviced" and r.until >= ended for r in context.recognised)


def _fall_severity(context: Context, fall: Drift, now: float, *, ongoing: bool) -> Severity | None:
    limit = context.limit
    loss, fallen = -fall.slope, -fall.change
    severity = graded(loss, limit("pressure_fall_watch"), limit("pressure_fall_act"))
    if severity == "note" and fallen >= limit("pressure_fallen_watch"):
        severity = "watch"
    if severity == "note" and fall.refills_within >= limit("pressure_refills_watch"):
        severity = "watch"
    if severity == "watch" and _days_left(context, now, loss) < limit("pressure_days_left"):
        severity = "act"
    handed = context.site.handed_over
    settling = handed is not None and context.days.day(fall.first) < handed + _SETTLING
    if not ongoing or (settling and fallen < limit("pressure_settling_bar")):
        severity = "note"
    return severity


def _ahead(context: Context, now: float, loss: float) -> str:
    lowest = context.limit("pressure_low_act")
    weeks = (now - lowest) / loss if loss > 0 else np.inf
    if weeks <= 0:
        return f" It is below {lowest:g} bar."
    if weeks < 1.5:
        return f" It is at {lowest:g} bar now or within days."
    return f" At this rate it reaches {lowest:g} bar in {weeks:.0f} weeks." if weeks < 30 else ""


def pressure_low(context: Context) -> Finding | None:
    days, limit = context.days, context.limit
    pressure = pressure_of_days(context, 3)
    known = np.isfinite(pressure)
    watch, act = limit("pressure_low_watch"), limit("pressure_low_act")
    is_low = fill_nan(pressure, 9.0) < watch
    episode = latest_episode(days["day"], is_low, known, hold_days=3, gone_days=7)
    if episode is None:
        return None
    inside = is_low & episode.covers(days["day"])
    level = float(np.median(pressure[inside][-14:]))
    falls = _fall_to(context, episode)
    since = min(episode.since, falls or episode.since)
    vessel = context.once(_vessel_fails)
    severity: Severity = graded(level, watch, act, downward=True) if episode.until is None else "note"
    return Finding(
        "pressure_low",
        severity,
        since,
        bounded(Excess(watch - level, GAUGE_BAR).probability),
        (
            f"The heating circuit pressure {'is' if episode.until is None else 'was'} {level:.1f} bar."
            f"{_low_words(episode, since)}"
        ),
        evidence=(
            context.evidence(
                "pressure, median of the newest low days", round(level, 2), "bar", "pressure_low_watch"
            ),
            context.evidence(
                "lowest pressure on those days",
                round(float(np.nanmin(days.floats("pressure_min")[inside])), 2),
                "bar",
                "pressure_low_act",
            ),
            Evidence("days with low pressure", int(inside.sum()), "days"),
        ),
        until=episode.until,
        next_step=_low_step(vessel=vessel, falls=falls is not None),
        caution=water_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "The water pressure in the heating is low while it is cool and high while it is hot. Please"
                " do not top it up; call your installer. Until then the heating may stop."
                if vessel
                else (
                    "The water pressure in the heating is low. If you were shown how to top it up,"
                    " top it up to the mark; otherwise call your installer. Until then the heating"
                    " may stop."
                )
            )
        ),
        visit="none" if severity == "note" else "call" if severity == "watch" else "drive",
        bring=("filling hose", "vessel pump and gauge") if severity == "act" else (),
    )


def _low_step(*, vessel: bool, falls: bool) -> str:
    """What to do about a low pressure, in the same order as `pressure_falling` asks for.

    vessel : whether the expansion vessel fails. falls : whether the circuit loses water
    """
    if vessel:
        return (
            "Have the expansion vessel repaired first, see pressure_swings: if topped up before, the"
            " circuit opens its relief valve when it warms. Then set the marked cold pressure."
        )
    if falls:
        return (
            "Find the leak first, see pressure_falling, then top up to the marked cold pressure (usually 1 to"
            " 1.5 bar). Until then the householder may top up if shown how, so that the unit does not stop."
        )
    return (
        "Have the circuit topped up to its marked cold pressure (usually 1 to 1.5 bar); the householder may"
        " do it if shown how. Check whether it falls again: see pressure_falling. Check the expansion"
        " vessel's charge at the next visit."
    )


def _vessel_fails(context: Context) -> bool:
    """True where the pressure swings as it does with an empty vessel: topping up would then do harm."""
    try:
        found = pressure_swings(context)
    except NotAssessed:
        return False
    return found is not None and found.severity != "note"


def _fall_to(context: Context, episode: Episode) -> str | None:
    """First day of the slow fall that led to the low pressure, or goes on under it; None without one."""
    limit = context.limit
    fall = drift_of_pressure(context, -1, limit("pressure_fall_note"), limit("pressure_fallen_bar"))
    if fall is None or context.days.day(fall.last).isoformat() < episode.since:
        return None
    return context.days.day(fall.first).isoformat()


def _low_words(episode: Episode, since: str) -> str:
    """Tells the days apart where the finding dates from the fall, on whose first days the pressure was
    good."""
    if since == episode.since or episode.until is not None:
        return ""
    return f" It has been low since {day_text(episode.since)}, and falling since {day_text(since)}."


def _days_left(context: Context, now: float, loss: float) -> float:
    """Time until the pressure is too low. now [bar], loss [bar/week], above 0"""
    return max(now - context.limit("pressure_low_act"), 0.0) / loss * 7.0


_PRESSURE = frozenset({"system_pressure"})
RULES = (
    Rule("pressure_falling", pressure_falling, (Need(("system_pressure",), 1440.0, FEWEST_DAYS),), _PRESSURE),
    Rule("pressure_low", pressure_low, (Need(("system_pressure",), 1440.0, 3),), _PRESSURE),
)
