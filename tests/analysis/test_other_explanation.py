"""What a finding's probability leaves out: that the plant works otherwise than its rule takes it to."""

from __future__ import annotations

import pytest

from fieldfare.analysis.expectation.other_explanation import TOLD_AND_TRUE, picture_holds
from fieldfare.analysis.findings.excuses import FAMILIES
from fieldfare.analysis.findings.grading import with_other_explanations
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.findings.model import Finding
from tests.analysis.operation_tables import context_of, days_of


def test_every_family_is_counted_and_no_more_true_than_told() -> None:
    assert set(TOLD_AND_TRUE) == {*FAMILIES, "data"}
    assert all(0 <= true <= told for told, true in TOLD_AND_TRUE.values())


def test_what_was_seldom_wrong_is_surer() -> None:
    assert picture_holds("house") < picture_holds("operation") < picture_holds("rooms")
    assert picture_holds("cylinder") < picture_holds("disinfection") < picture_holds("efficiency")


@pytest.mark.parametrize("family", sorted(TOLD_AND_TRUE))
def test_few_findings_are_drawn_to_their_kind(family: str) -> None:
    """With the rules' own highest probability it gives the share that was true, nearer to the kind's mean."""
    told, true = TOLD_AND_TRUE[family]
    at_most = picture_holds(family) * LIMITS["surest"].default
    assert 0.6 < at_most <= LIMITS["surest"].default
    assert (at_most - true / told) * (0.77 - true / told) > -0.01


def test_a_finding_is_told_with_both_probabilities() -> None:
    short = Finding("capacity_short", "watch", "2025-11-01", 0.8, "It is short by 1 kW.")
    context = context_of(days_of())
    said = with_other_explanations(context, short)
    assert said.confidence == pytest.approx(0.8 * picture_holds("capacity"))
    assert said.severity == "watch"
    stuck = with_other_explanations(
        context, Finding("sensor_stuck", "act", "2025-11-01", 0.9, "It stands for 9 days.")
    )
    assert stuck.confidence == pytest.approx(0.9 * picture_holds("data"))


@pytest.mark.parametrize(
    ("own", "severity", "undecided"), [(0.97, "watch", False), (0.75, "note", True), (0.4, "note", False)]
)
def test_hot_water_that_is_possibly_short_is_a_note(own: float, severity: str, undecided: bool) -> None:
    """Whether a store has run out is inferred from one sensor in it."""
    short = Finding("hot_water_shortfall", "watch", "2025-11-01", own, "Hot water may run out.")
    said = with_other_explanations(context_of(days_of()), short)
    assert (said.severity, said.undecided) == (severity, undecided)
