"""Is the heating water far cooler than the designed curve while the unit heats?

Cooler water costs less, so it matters only where rooms lack heat, or where the unit does not reach what its
controls ask. A house that is warm enough with it was designed with more than it needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from fieldfare.analysis.cautions import MAINS_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.hypotheses import Spread, log_likelihood, shares
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.heat.curve import brief_days, cool_and_steady, rooms_set_low
from fieldfare.analysis.findings.model import Cause, Evidence, Finding, Severity, rounded
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.physics.emitters import EXPONENTS
from fieldfare.analysis.statistics.quantiles import nan_median

# A curve set low: the water is what is asked, and the unit rests. A unit that does not reach it: the water
# lacks what is asked and there is no rest (common practice).
_SIGNATURES = {
    "curve_too_low": {"lack": Spread(0.0, 0.25), "running": Spread(0.6, 0.25)},
    "flow_not_reached": {"lack": Spread(1.0, 0.3), "running": Spread(0.95, 0.1)},
}
# Settings are lowered more often than units fail to reach them (common practice).
_PRIOR = {"curve_too_low": 2.0, "flow_not_reached": 1.0}
_TAIL_DF = 4


@dataclass(frozen=True)
class _Cool:
    """below : designed less measured flow [K]. lack : asked less measured, as a share of it; nan if unknown.

    running : share of the time. room : °C, nan where not measured. lacking : K below what is asked or
        designed
    """

    below: float
    lack: float
    running: float
    room: float
    lacking: float


def flow_temperature_below_curve(context: Context) -> Finding | None:
    if context.site.heating_curve is None:
        raise NotAssessed("needs heating_curve in the site file", "missing_in_site_file")
    days, limit = context.days, context.limit
    below = -days.floats("above_curve")
    judged = cool_and_steady(context) & np.isfinite(below) & ~brief_days(context) & ~rooms_set_low(context)
    coldest = context.site.design.outdoor_c
    if coldest is not None:
        judged &= ~(days.floats("outdoor") < coldest)
    if judged.sum() < limit("flow_below_curve_days"):
        raise NotAssessed("too few days with an hour of steady heating in cool weather", "too_few_days")
    is_below = judged & (fill_nan(below, -9.0) >= limit("flow_below_curve_watch_k"))
    episode = latest_episode(days["day"], is_below, judged, hold_days=5, gone_days=14)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & judged
    cool = _measured(context, below, here)
    if cool.below < limit("flow_below_curve_watch_k"):
        return None
    causes = _causes(cool)
    missed = causes[0].cause == "flow_not_reached" and np.isfinite(cool.lack)
    is_warm = cool.lacking < limit("room_deficit_note")
    if is_warm and not missed:
        return None  # the house needs no warmer water than this
    return _finding(context, cool, causes, episode, _severity(context, cool, episode, missed=missed), here)


def _severity(context: Context, cool: _Cool, episode: Episode, *, missed: bool) -> Severity:
    """It is a fault if rooms are cold or the target flow is missed; else it may be intended."""
    limit = context.limit
    felt = cool.lacking >= limit("room_deficit_note")
    if not (felt or (missed and not np.isfinite(cool.lacking))):
        return "note"
    severity = graded(cool.below, limit("flow_below_curve_watch_k"), limit("flow_below_curve_act_k"))
    return downgraded(severity if felt else "watch", episode, limit("flow_below_curve_days"))


def _measured(context: Context, below: Floats, here: Flags) -> _Cool:
    days = context.days
    size = nan_median(below[here])
    lack = nan_median((days.floats("target_flow") - days.floats("flow"))[here])
    running = days.floats("minutes_running") / np.maximum(days.floats("minutes_total"), 1.0)
    names = [c.removeprefix("room_day.") for c in days.names if c.startswith("room_day.")]
    rooms = {name: days.floats(f"room_day.{name}") for name in names}
    own = {name: days.floats(f"deficit.{name}") for name in names}
    lacks = [own[n] if np.isfinite(own[n]).any() else _under_design(context, rooms[n]) for n in names]
    known = [nan_median(v[here]) for v in lacks if np.isfinite(v[here]).any()]
    warmth = [nan_median(v[here]) for v in rooms.values() if np.isfinite(v[here]).any()]
    return _Cool(
        size,
        lack / size if size > 0.0 else np.nan,
        nan_median(running[here]),
        min(warmth, default=np.nan),
        max(known, default=np.nan),
    )


def _under_design(context: Context, room: Floats) -> Floats:
    """Without a set temperature the design's is used, less an allowance for cooler preferences."""
    wanted = context.site.design.indoor_c - context.limit("room_deficit_watch")
    return np.asarray(wanted - room, dtype=np.float64)


def _causes(cool: _Cool) -> tuple[Cause, ...]:
    facts = {"lack": cool.lack, "running": cool.running}
    weight = shares(
        {
            cause: log(_PRIOR[cause]) + log_likelihood(facts, expected, _TAIL_DF)
            for cause, expected in _SIGNATURES.items()
        }
    )
    parts = [f"the unit ran {percent(cool.running)} of the time"] if np.isfinite(cool.running) else []
    if np.isfinite(cool.lack):
        parts.insert(0, f"the water is {cool.lack * cool.below:.1f} K below what the controls ask")
    why = "; ".join(parts) or "the controls' own set temperature is not measured"
    return ranked({cause: (w, why) for cause, w in weight.items()})


def _finding(
    context: Context,
    cool: _Cool,
    causes: tuple[Cause, ...],
    episode: Episode,
    severity: Severity,
    here: Flags,
) -> Finding:
    days, limit = context.days, context.limit
    flow, curve = nan_median(days.floats("flow")[here]), nan_median(days.floats("curve")[here])
    first = causes[0].cause
    room = cool.room if np.isfinite(cool.room) else context.site.design.indoor_c
    left = (max(flow - room, 0.1) / max(curve - room, 1.0)) ** EXPONENTS["radiator"]
    quiet = severity == "note"
    return Finding(
        "flow_temperature_below_curve",
        severity,
        episode.since,
        confidence_of(cool.below / limit("flow_below_curve_watch_k"), episode.days, episode.share),
        f"The heating water is {cool.below:.1f} K cooler than the designed curve.",
        evidence=(
            context.evidence(
                "flow below the designed curve", round(cool.below, 1), "K", "flow_below_curve_watch_k"
            ),
            Evidence("mean flow temperature", round(flow, 1), "°C"),
            Evidence("designed flow temperature for the same weather", round(curve, 1), "°C"),
            Evidence("heat that emitters give at it, over that at the designed flow", round(left, 2), "-"),
            Evidence("coolest room meanwhile", rounded(cool.room), "°C"),
            Evidence("room below what is asked or designed", rounded(cool.lacking), "K"),
            context.evidence("days with it", int(here.sum()), "days", "flow_below_curve_days"),
        ),
        causes=causes,
        next_step=_step(first, cool),
        caution=MAINS_WORK if first == "flow_not_reached" else "",
        home=(
            ""
            if quiet
            else "Your heating water is cooler than planned. Tell your installer if rooms stay cool; they"
            " will look at it."
        ),
        until=episode.until,
        visit="none" if quiet else "setting" if first == "curve_too_low" else "drive",
        bring=("contact thermometer",) if first == "flow_not_reached" and not quiet else (),
        changes=(("flow_temperature", "raise"),) if first == "curve_too_low" and not quiet else (),
    )


def _step(cause: str, cool: _Cool) -> str:
    if cause == "flow_not_reached":
        return (
            "Check remotely for quiet mode, a power limit and a highest flow temperature set too low. Then"
            " visit: compare the flow sensor with a contact thermometer, and check output, water flow and the"
            " supply."
        )
    if not np.isfinite(cool.lacking):
        return (
            "Ask the householder whether every room is warm in cold weather. If so, leave it: cooler water"
            " costs less. If not, set the curve back to the design."
        )
    return (
        "Set the curve back to the design in steps of 2 K, remotely or by phone, and check the rooms after"
        " three cold days."
    )


RULES = (
    Rule(
        "flow_temperature_below_curve",
        flow_temperature_below_curve,
        needs=(Need(("flow_temperature",), 15.0, 7), Need(("outdoor_temperature",))),
        reads=frozenset({"flow_temperature", "outdoor_temperature"}),
    ),
)
