"""Decisions about findings, and how long they hold, as pure functions.

seen      read by somebody
in_hand   assigned to somebody until a date
muted     no notices until a date, for a reason
no_fault  judged not to be a fault, for a reason, until it is undone or the finding gets worse
done      a job was logged for it; the readings of the next weeks show whether it worked
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.reports.verdict import harm_of
from fieldfare.api.alerts.life import (
    GRAVER,
    LIVE,
    Life,
    acknowledge,
    snooze,
)
from fieldfare.dashboards.text import words

STATES = ("seen", "in_hand", "muted", "no_fault", "done")
LONGEST_DAYS = 366
"""A decision is looked at again after one heating season at most (common practice, no source)."""
LONGEST_DANGER_MUTE_DAYS = 14
"""A finding that may harm people or the plant can be muted until the next visit, not longer (common practice,
no source)."""
JOB_PROOF_DAYS = 14
"""A fortnight after a job has cold and mild days; a finding that is still there then is open again (common
practice)."""
MOST_REASON = 500
"""Characters."""


@dataclass(frozen=True)
class Decision:
    """A requested decision. who : e-mail of the assignee. until : last local day, inclusive"""

    state: str
    who: str = ""
    until: date | None = None
    reason: str = ""


@dataclass(frozen=True)
class HandlingRow:
    """A stored decision. ends : time from which it no longer holds; None for no end"""

    site: str
    code: str
    state: str
    severity: str
    who: str
    ends: datetime | None
    reason: str
    decided_by: str
    decided: datetime
    work: int | None


def open_severities(result: dict[str, Any] | None) -> dict[str, str]:
    """Code -> severity of a result document's open findings."""
    return {f["code"]: f["severity"] for f in (result or {}).get("findings", []) if f["until"] is None}


def is_danger(code: str) -> bool:
    """Whether a finding may harm people or the plant; muting it does not change verdict or rank."""
    return harm_of(code) == "danger"


def lasts(row: HandlingRow, severity: str | None, now: datetime) -> bool:
    """Whether a decision still holds for a finding of this severity (None: currently absent)."""
    if row.ends is not None and row.ends <= now:
        return False
    return weight(severity) <= weight(row.severity)


def weight(severity: str | None) -> int:
    return GRAVER.get(severity or "", 0)


def checked(decision: Decision, code: str, today: date, people: frozenset[str]) -> Decision:
    """Validate and normalise a decision.

    today : the site's local day. people : possible assignees
    Raises InputError with what is missing or wrong.
    """
    if decision.state not in STATES or decision.state == "done":
        raise InputError("choose one of: seen, in hand, muted, not a fault")
    reason = "".join(c for c in decision.reason if c.isprintable()).strip()
    if len(reason) > MOST_REASON:
        raise InputError(f"the reason may have {MOST_REASON} characters; it has {len(reason)}")
    if decision.state in ("muted", "no_fault") and not reason:
        raise InputError("give a reason")
    if decision.state == "in_hand" and decision.who not in people:
        raise InputError("say who has it in hand: a person of the firm")
    if decision.state in ("seen", "no_fault"):
        return Decision(decision.state, "", None, reason)
    until = _until(decision, code, today)
    return Decision(decision.state, decision.who if decision.state == "in_hand" else "", until, reason)


def _until(decision: Decision, code: str, today: date) -> date:
    if decision.until is None:
        raise InputError("say until which day")
    if decision.until < today:
        raise InputError(f"the last day must be today or later, got {words.day(decision.until)}")
    most = LONGEST_DAYS
    if decision.state == "muted" and is_danger(code):
        most = LONGEST_DANGER_MUTE_DAYS
    if (decision.until - today).days > most:
        why = ": people or the plant can come to harm" if most < LONGEST_DAYS else ""
        raise InputError(
            f"the last day may be {most} days from now at most{why}; got {words.day(decision.until)}"
        )
    return decision.until


def end_of(day: date | None, zone: ZoneInfo) -> datetime | None:
    """First instant after a local day."""
    if day is None:
        return None
    return datetime.combine(day + timedelta(days=1), time(), zone).astimezone(UTC)


def alert_after(life: Life, row: HandlingRow) -> Life:
    """Apply a decision to a live alert; other alerts stay unchanged."""
    if life.state not in LIVE:
        return life
    if row.state in ("muted", "no_fault"):
        return snooze(life, row.ends)
    return acknowledge(life, row.ends)
