"""Every fast situation is told as it should be, and healthy ones are left alone."""

from __future__ import annotations

import pytest

from tests.situations.case import Situation, run, said_before, situations


@pytest.mark.parametrize("situation", [s for s in situations() if not s.slow], ids=lambda s: s.name)
def test_situation(situation: Situation) -> None:
    outcome = run(situation)
    assert not outcome.wrong, f"{situation.truth}: {'; '.join(outcome.wrong)} (said: {outcome.said})"


def test_the_table_says_what_was_said_before_of_every_situation() -> None:
    assert {s.name for s in situations()} <= said_before().keys()
