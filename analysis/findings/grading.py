"""Severity and cause weights: one mapping from size and probability, used by every finding.

A finding first grades itself by size and cost. Here its confidence then decides whether it may be more than
a note. Safety findings and a stopped unit are exempt: possible harm is reported even in doubt. What only
costs electricity is weighed by its probable cost instead, in its own rule.
"""

from __future__ import annotations

from dataclasses import replace

from fieldfare.analysis.expectation.other_explanation import picture_holds
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import Episode
from fieldfare.analysis.findings.excuses import FAMILY_OF
from fieldfare.analysis.findings.model import Cause, Finding, Severity

WEIGHED = frozenset({"rooms", "capacity", "curve", "operation", "efficiency", "house"})
"""Families whose findings must be probable to be more than a note."""
BY_COST = frozenset({"high_standby", "pump_always_on"})
"""Findings of these families that `probable_cost` weighs."""
HOT_WATER = frozenset({"supply", "charging", "cylinder"})
"""Families that judge the store by one sensor: what of it is used up is never seen for sure."""


def graded_by_confidence(context: Context, finding: Finding) -> Finding:
    """Downgrade a finding to a note where its confidence is below `finding_chance`."""
    if FAMILY_OF.get(finding.code) not in WEIGHED or finding.severity == "note" or finding.code in BY_COST:
        return finding
    if finding.confidence >= context.limit("finding_chance"):
        return finding
    return in_doubt(context, finding)


def with_other_explanations(context: Context, finding: Finding) -> Finding:
    """A graded finding with the probability that it is true: its own, times that its picture of the plant is
    right.

    Grading asks whether the departure is real; whether something else explains it is for whoever looks. Hot
    water that is only possibly short is a note.
    """
    family = FAMILY_OF.get(finding.code, "data")
    told = replace(finding, confidence=finding.confidence * picture_holds(family))
    doubtful = family in HOT_WATER and told.confidence < context.limit("hot_water_likely")
    return in_doubt(context, told) if doubtful and told.severity != "note" else told


def in_doubt(context: Context, finding: Finding) -> Finding:
    """A finding of a size that matters as a note, since it is not sure enough; undecided where it goes on and
    is more likely than not.

    A note has no text for the householder and asks for no visit.
    """
    likely = finding.until is None and finding.confidence >= context.limit("finding_likely")
    return replace(finding, severity="note", home="", visit="none", undecided=likely)


def graded(value: float, watch: float, act: float, *, downward: bool = False) -> Severity:
    """Severity of a value: note below `watch`, watch from it, act from `act`; reversed for `downward`."""
    if downward:
        value, watch, act = -value, -watch, -act
    return "act" if value >= act else "watch" if value >= watch else "note"


def probable_cost(context: Context, severity: Severity, real: float, kwh: float, least: str) -> Severity:
    """The severity of an excess that is more likely real than not and whose probable cost matters; else note.

    real : probability that the excess is real [0 to 1]. kwh : what it costs a year, if it is [kWh]. least :
        name of the limit of a cost that matters [kWh/year]
    Source: expected cost, probability times consequence (ISO Guide 73, 3.6.1.8, level of risk; from memory).
    """
    matters = real >= context.limit("finding_likely") and real * kwh >= context.limit(least)
    return severity if matters else "note"


def downgraded(severity: Severity, episode: Episode, fewest_days: float) -> Severity:
    """Note for an episode that has ended or lasted few days; otherwise the given severity."""
    return "note" if episode.until is not None or episode.days * episode.share < fewest_days else severity


def ranked(scores: dict[str, tuple[float, str]]) -> tuple[Cause, ...]:
    """Causes by descending weight, normalised to 1; causes under 2 % are left out.

    scores : cause -> (weight, reason)
    """
    total = sum(max(w, 0.0) for w, _ in scores.values())
    if total <= 0.0:
        return ()
    causes = [Cause(name, max(w, 0.0) / total, why) for name, (w, why) in scores.items() if w / total >= 0.02]
    whole = sum(c.weight for c in causes)
    causes = [Cause(c.cause, c.weight / whole, c.because) for c in causes]
    return tuple(sorted(causes, key=lambda c: -c.weight))
