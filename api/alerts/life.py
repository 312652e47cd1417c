"""Alert life cycle: pure rules with hysteresis, so that alerts do not flap.

waiting       present, but not yet for long enough
open          present for long enough; needs attention
acknowledged  assigned to somebody, with or without an end date
snoozed       postponed until a time
resolved      absent for long enough; if it returns for long enough, it reopens (a new episode)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

GRAVER = {"watch": 1, "act": 2, "urgent": 3}
"""Severities that alert, by weight. A note appears only on the site's page."""
LIVE = ("open", "acknowledged", "snoozed")


AT_ONCE = frozenset({"unit_stopped"})
"""Codes whose act opens at once, as the watch judges them over a short window."""


@dataclass(frozen=True)
class Patience:
    """How long a finding must be present before it opens, and absent before it is resolved.

    Nightly findings over a long window change slowly: three nights in a row open a watch, two an act. Urgent
    ones open at once. Absence must last longer than presence, so that a finding at its limit stays one alert.
    """

    hold_watch: timedelta = timedelta(hours=47)
    hold_act: timedelta = timedelta(hours=23)
    hold_urgent: timedelta = timedelta(0)
    gone_watch: timedelta = timedelta(hours=95)
    gone_act: timedelta = timedelta(hours=95)
    gone_urgent: timedelta = timedelta(hours=23)

    def at_once(self) -> Patience:
        """The same for a code of AT_ONCE: opens at the first look, resolves after half a day of absence."""
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
    """State of an alert."""

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
    """Next state of an alert after checking for its finding.

    life : None if there was no alert. severity : of the finding now; None if absent
    maintained : whether the site is under maintenance, so that new findings don't count
    Returns the new life (None: nothing to store) and the event: opened, reopened, worsened, woke or resolved.
    """
    if severity is not None and severity in GRAVER:
        return _while_found(life, severity, now, patience, maintained)
    return _unseen(life, now, patience)


def acknowledge(life: Life, until: datetime | None = None) -> Life:
    """Acknowledge; it opens again at `until`. Raises ValueError if it is not live."""
    if life.state not in LIVE:
        raise ValueError(f"an alert that is {life.state} can't be acknowledged")
    return replace(life, state="acknowledged", snoozed_until=until)


def reopen(life: Life) -> Life:
    """Undo a decision. An alert that is not live stays unchanged."""
    return replace(life, state="open", snoozed_until=None) if life.state in LIVE else life


def snooze(life: Life, until: datetime | None) -> Life:
    """Snooze until a time; None: until it gets worse. Raises ValueError if it is not live."""
    if life.state not in LIVE:
        raise ValueError(f"an alert that is {life.state} can't be snoozed")
    return replace(life, state="snoozed", snoozed_until=until)


def _while_found(
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
    after = replace(life, gone_since=None, seen_since=life.seen_since or now)
    happened = []
    if GRAVER[severity] > GRAVER[life.severity] and not maintained:
        after, happened = replace(after, state="open", severity=severity, snoozed_until=None), ["worsened"]
    elif GRAVER[severity] < GRAVER[life.severity]:
        after = replace(after, severity=severity)
    return _woken(after, now, happened)


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
