"""Decide about a finding: shared by the API and the pages."""

from __future__ import annotations

from datetime import UTC, datetime

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.decisions import (
    Decision,
    HandlingRow,
    checked,
    end_of,
    open_severities,
)
from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import OF_THE_FIRM, Actor


def decide(parts: AppState, record: SiteRecord, code: str, decision: Decision, actor: Actor) -> HandlingRow:
    """Store a decision about an open finding. Raises InputError."""
    site, now = record.site.id, datetime.now(UTC)
    severity = _severity(parts, record, code)
    people = frozenset(colleagues(parts, actor))
    made = checked(decision, code, now.astimezone(record.site.zone).date(), people)
    row = HandlingRow(
        site,
        code,
        made.state,
        severity,
        made.who or actor.name,
        end_of(made.until, record.site.zone),
        made.reason,
        actor.name,
        now,
        None,
    )
    parts.handlings.decide(row, actor)
    until = made.until.isoformat() if made.until else None
    parts.audit.note(
        actor, f"finding {made.state}", site, code=code, who=row.who, until=until, reason=made.reason
    )
    return row


def undo(parts: AppState, record: SiteRecord, code: str, actor: Actor) -> None:
    """Undo a decision; does nothing without one."""
    was = parts.handlings.undo(record.site.id, code, actor)
    if was is not None:
        parts.audit.note(
            actor, "finding handling undone", record.site.id, code=code, state=was.state, reason=was.reason
        )


def colleagues(parts: AppState, actor: Actor) -> dict[str, str]:
    """E-mail -> name of the firm's people, the actor first; they can be assigned a finding."""
    found = {p.email: p.name for p in parts.accounts.all() if p.role in OF_THE_FIRM and p.active}
    return {actor.name: found.get(actor.name, actor.name), **found}


def names_of(parts: AppState) -> dict[str, str]:
    """E-mail -> name of every account."""
    return {p.email: p.name for p in parts.accounts.all()}


def _severity(parts: AppState, record: SiteRecord, code: str) -> str:
    """Raises InputError if the finding is not open."""
    for result in (parts.service.results.newest(record.site.id), rolling_result(parts.service, record, None)):
        if code in (found := open_severities(result)):
            return found[code]
    raise InputError(f"{record.site.id} has no open finding {code!r}")
