"""Every fast situation has the required findings, and healthy ones have none."""

from __future__ import annotations

import pytest

from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.findings.model import Finding
from tests.situations.case import Situation, run, said_before, situations

# What other rules tell from a stop is judged by their own tests.
OF_STOPS = ("unit_stopped", "fault_reported")


@pytest.mark.parametrize("situation", [s for s in situations() if not s.slow], ids=lambda s: s.name)
def test_situation(situation: Situation) -> None:
    outcome = run(situation)
    assert not outcome.wrong, f"{situation.truth}: {'; '.join(outcome.wrong)} (said: {outcome.said})"
    for finding in outcome.findings:
        if situation.expects and finding.code in OF_STOPS:
            assert_evidence_passes_its_own_limit(finding)


def assert_evidence_passes_its_own_limit(finding: Finding) -> None:
    for e in finding.evidence:
        if e.limit is not None and isinstance(e.value, float | int):
            assert e.limit_name in LIMITS
            assert e.value >= e.limit if e.side == "above" else e.value <= e.limit, (finding.code, e)


def test_the_table_says_what_was_said_before_of_every_situation() -> None:
    assert {s.name for s in situations()} <= said_before().keys()
