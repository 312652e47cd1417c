"""Audit trail: who did what, to which site, from where."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import delete, func, select

from fieldfare.api.people.access import Actor
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import AuditEntry

MOST_NOTED = 10_000


@dataclass(frozen=True)
class AuditRow:
    id: int
    time: datetime
    who: str
    role: str
    action: str
    site: str | None
    address: str
    detail: dict[str, Any]


class Audit:
    """Append-only audit lines."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._noted: dict[tuple[str, ...], int] = {}

    def note(
        self, actor: Actor, action: str, site: str | None = None, address: str = "", **detail: Any
    ) -> None:
        """Write one line. Details must not contain secrets."""
        entry = AuditEntry(time=datetime.now(UTC), who=actor.name, role=actor.role, action=action, site=site)
        entry.address, entry.detail = address, detail
        with self._database.write() as session:
            session.add(entry)

    def note_access(self, actor: Actor, site: str) -> None:
        """Log access to a home: once an hour per person and home."""
        if self._is_first(actor.name, site):
            self.note(actor, "looked", site)

    def note_refusal(self, actor: Actor, address: str, why: str, *, braked: bool) -> None:
        """Log a refused sign-in.

        Rate-limited attempts are logged once an hour per address, so that they can't flood the trail.
        """
        if not braked or self._is_first("braked", address):
            self.note(actor, "sign-in refused", address=address, why=why)

    def _is_first(self, *key: str) -> bool:
        """Whether this process sees the key for the first time in an hour."""
        hour = int(datetime.now(UTC).timestamp() // 3600)
        if self._noted.get(key) == hour:
            return False
        if len(self._noted) > MOST_NOTED:
            self._noted.clear()
        self._noted[key] = hour
        return True

    def page(self, offset: int, limit: int, site: str | None = None) -> tuple[list[AuditRow], int]:
        """Audit lines, newest first, and the total count."""
        chosen = select(AuditEntry) if site is None else select(AuditEntry).where(AuditEntry.site == site)
        with self._database.read() as session:
            total = session.scalar(select(func.count()).select_from(chosen.subquery())) or 0
            rows = list(session.scalars(chosen.order_by(AuditEntry.id.desc()).offset(offset).limit(limit)))
        return [_row(row) for row in rows], total

    def forget(self, site: str) -> None:
        """Delete the lines about a site."""
        with self._database.write() as session:
            session.execute(delete(AuditEntry).where(AuditEntry.site == site))


def _row(row: AuditEntry) -> AuditRow:
    return AuditRow(row.id, row.time, row.who, row.role, row.action, row.site, row.address, row.detail)
