"""Alert life cycle: opening and resolving need their duration, and alerts do not flap."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldfare.api.alerts.life import (
    LIVE,
    Life,
    Patience,
    acknowledge,
    snooze,
    step,
)

NIGHT = datetime(2026, 1, 5, 3, 10, tzinfo=UTC)
DAY = timedelta(days=1)
PATIENCE = Patience()


def nights(seen: str) -> tuple[Life | None, list[str]]:
    """Nightly looks: w, a, u for a finding of that severity, n for a note, . for none."""
    severity = {"w": "watch", "a": "act", "u": "urgent", "n": "note", ".": None}
    life, happened = None, []
    for n, letter in enumerate(seen):
        life, events = step(life, severity[letter], NIGHT + n * DAY, patience=PATIENCE)
        happened += [f"{e}@{n}" for e in events]
    return life, happened


@pytest.mark.parametrize(
    ("seen", "happened"),
    [
        ("w", []),
        ("ww", []),
        ("www", ["opened@2"]),
        ("aa", ["opened@1"]),
        ("u", ["opened@0"]),
        ("nnnnnn", []),
        ("w.w.w.w.w.w", []),  # on its limit every other night
        ("www....", ["opened@2"]),
        ("www.....", ["opened@2", "resolved@7"]),
        ("www...w...w", ["opened@2"]),
        ("www.....www", ["opened@2", "resolved@7", "reopened@10"]),
        ("www.....w", ["opened@2", "resolved@7"]),
        ("wwwa", ["opened@2", "worsened@3"]),
        ("aaww", ["opened@1"]),
        ("u.", ["opened@0"]),
        ("u..", ["opened@0", "resolved@2"]),
    ],
)
def test_what_happens_over_nights(seen: str, happened: list[str]) -> None:
    assert nights(seen)[1] == happened


def test_each_reopening_is_an_episode_of_its_own() -> None:
    life, _ = nights("www.....www.....www")
    assert life is not None
    assert (life.state, life.episode) == ("open", 3)


def test_acknowledged_stays_so_until_it_is_worse() -> None:
    life, _ = nights("www")
    assert life is not None
    held, events = step(acknowledge(life), "watch", NIGHT + 5 * DAY, patience=PATIENCE)
    assert held is not None
    assert (held.state, events) == ("acknowledged", [])
    worse, events = step(held, "urgent", NIGHT + 6 * DAY, patience=PATIENCE)
    assert worse is not None
    assert (worse.state, events) == ("open", ["worsened"])


def test_snoozed_wakes_when_its_time_is_up_and_only_then() -> None:
    life, _ = nights("www")
    assert life is not None
    put_off = snooze(life, NIGHT + 9 * DAY)
    asleep, events = step(put_off, "watch", NIGHT + 8 * DAY, patience=PATIENCE)
    assert asleep is not None
    assert (asleep.state, events) == ("snoozed", [])
    awake, events = step(asleep, "watch", NIGHT + 9 * DAY, patience=PATIENCE)
    assert awake is not None
    assert (awake.state, awake.snoozed_until, events) == ("open", None, ["woke"])


def test_nothing_opens_while_the_site_is_worked_on() -> None:
    life = None
    for n in range(6):
        life, events = step(life, "urgent", NIGHT + n * DAY, patience=PATIENCE, maintained=True)
        assert (life, events) == (None, [])
    life, events = step(life, "urgent", NIGHT + 6 * DAY, patience=PATIENCE)
    assert events == ["opened"]


def test_a_resolved_alert_cannot_be_handled() -> None:
    life, _ = nights("www.....")
    assert life is not None
    with pytest.raises(ValueError, match="resolved"):
        acknowledge(life)
    with pytest.raises(ValueError, match="resolved"):
        snooze(life, NIGHT + 30 * DAY)


@given(st.lists(st.sampled_from(["watch", "act", "urgent", "note", None]), min_size=1, max_size=60))
def test_whatever_is_seen_openings_and_endings_alternate(seen: list[str | None]) -> None:
    life: Life | None = None
    told = []
    for n, severity in enumerate(seen):
        life, events = step(life, severity, NIGHT + n * DAY, patience=PATIENCE)
        told += [e for e in events if e in ("opened", "reopened", "resolved")]
        again, repeated = step(life, severity, NIGHT + n * DAY, patience=PATIENCE)
        assert (again, repeated) == (life, [])  # the same look at the same moment changes nothing
    for a, b in pairwise(told):
        assert (a == "resolved") != (b == "resolved")
    assert told[:1] in ([], ["opened"])
    assert (life is not None and life.state in LIVE) == (len(told) % 2 == 1)
