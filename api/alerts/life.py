"""The life of an alert: pure rules from what is seen to what an alert becomes. Nothing flaps.

waiting       seen, but not yet for long enough
open          held for its time; somebody should look
acknowledged  somebody has it in hand, for good or until a moment
snoozed       put off until a moment
resolved      gone for its time; seen again for its time, it is reopened (a new episode)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

GRAVER = {"watch": 1, "act": 2, "urgent": 3}
"""Severities that alert, by weight. A note is told on the site's page and alerts nobody."""
LIVE = ("open", "acknowledged", "snoozed")


AT_ONCE = frozenset({"unit_stopped"})
"""Codes whose act opens at once: what the watch says of them is no matter of a long window."""


@dataclass(frozen=True)
class Patience:
    """How long a finding must hold before it opens, and be gone before it is resolved.

    A nightly finding of a long window is slow by itself: three nights in a row make a watch, two make an act.
    What is urgent opens at once. Gone must last longer than held, so that a finding on its limit stays one
    alert.
    """

    hold_watch: timedelta = timedelta(hours=47)
    hold_act: timedelta = timedelta(hours=23)
    hold_urgent: timedelta = timedelta(0)
    gone_watch: timedelta = timedelta(hours=95)
    gone_act: timedelta = timedelta(hours=95)
    gone_urgent: timedelta = timedelta(hours=23)

    def at_once(self) -> Patience:
        """The same for a code of AT_ONCE: it opens at the first look, and is resolved after half a day
        without it."""
        half_day = timedelta(hours=12)
        return replace(
            self, hold_act=timedelta(0), gone_watch=half_day, gone_act=half_day, gone_urgent=half_day
        )

    def hold(self, severity: str) -> timedelta:
        return getattr(self, f"hold_{severity}")

    def gone(self, severity: str) -> timedelta:
        return getattr(self, f"gone_{severity}")


@dataclass(frozen=True)
class Life:
    """Where an alert stands."""

    state: str
    severity: str
    episode: int = 0
    seen_since: datetime | None = None
    gone_since: datetime | None = None
    opened: datetime | None = None
    resolved: datetime | None = None
    snoozed_until: datetime | None = None


def step(
    life: Life | None, severity: str | None, now: datetime, *, patience: Patience, maintained: bool = False
) -> tuple[Life | None, list[str]]:
    """What becomes of an alert when its finding is looked for.

    life : None where there never was one. severity : of the finding as seen now; None where it is not seen
    maintained : the site is being worked on, so nothing new counts
    Returns the new life (None: nothing to keep) and what happened, of opened, reopened, worsened, woke,
    resolved.
    """
    if severity is not None and severity in GRAVER:
        return _seen(life, severity, now, patience, maintained)
    return _unseen(life, now, patience)


def acknowledge(life: Life, until: datetime | None = None) -> Life:
    """Somebody has it in hand; it opens again at `until`. Raises ValueError where it is not live."""
    if life.state not in LIVE:
        raise ValueError(f"an alert that is {life.state} can't be acknowledged")
    return replace(life, state="acknowledged", snoozed_until=until)


def reopen(life: Life) -> Life:
    """Take back what was decided. An alert that is not live stays as it is."""
    return replace(life, state="open", snoozed_until=None) if life.state in LIVE else life


def snooze(life: Life, until: datetime | None) -> Life:
    """Put it off; None: until it gets worse. Raises ValueError where it is not live."""
    if life.state not in LIVE:
        raise ValueError(f"an alert that is {life.state} can't be snoozed")
    return replace(life, state="snoozed", snoozed_until=until)


def _seen(
    life: Life | None, severity: str, now: datetime, patience: Patience, maintained: bool
) -> tuple[Life | None, list[str]]:
    if life is None or life.state in ("waiting", "resolved"):
        if maintained:
            return (replace(life, seen_since=None) if life else None), []
        before = life or Life("waiting", severity)
        since = before.seen_since or now
        waiting = replace(before, severity=severity, seen_since=since)
        if now - since < patience.hold(severity):
            return waiting, []
        again = before.state == "resolved"
        opened = replace(
            waiting, state="open", episode=before.episode + 1, gone_since=None, opened=now, resolved=None
        )
        return opened, ["reopened" if again else "opened"]
    seen = replace(life, gone_since=None, seen_since=life.seen_since or now)
    happened = []
    if GRAVER[severity] > GRAVER[life.severity] and not maintained:
        seen, happened = replace(seen, state="open", severity=severity, snoozed_until=None), ["worsened"]
    elif GRAVER[severity] < GRAVER[life.severity]:
        seen = replace(seen, severity=severity)
    return _woken(seen, now, happened)


def _unseen(life: Life | None, now: datetime, patience: Patience) -> tuple[Life | None, list[str]]:
    if life is None or life.state == "waiting":
        return None, []
    if life.state == "resolved":
        return replace(life, seen_since=None), []
    gone = life.gone_since or now
    if now - gone >= patience.gone(life.severity):
        ended = replace(
            life, state="resolved", gone_since=gone, seen_since=None, resolved=now, snoozed_until=None
        )
        return ended, ["resolved"]
    return _woken(replace(life, gone_since=gone), now, [])


def _woken(life: Life, now: datetime, happened: list[str]) -> tuple[Life, list[str]]:
    is_put_off = life.state in ("snoozed", "acknowledged")
    if is_put_off and life.snoozed_until is not None and life.snoozed_until <= now:
        return replace(life, state="open", snoozed_until=None), [*happened, "woke"]
    return life, happened
