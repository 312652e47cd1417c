"""Store decisions about findings, and apply them to alerts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from fieldfare.api.alerts.alert_rows import life_of, note_event, set_life
from fieldfare.api.alerts.decisions import JOB_PROOF_DAYS, HandlingRow, alert_after
from fieldfare.api.alerts.life import reopen
from fieldfare.api.core.fleet_marks import mark_stale
from fieldfare.api.people.access import Actor
from fieldfare.api.state.database import Database
from fieldfare.api.state.work_tables import Alert, Handling


class Handlings:
    """Stored decisions, one per site and finding."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_site(self, site: str) -> dict[str, HandlingRow]:
        """Finding code -> decision, including expired ones."""
        with self._database.read() as session:
            rows = session.scalars(select(Handling).where(Handling.site == site).order_by(Handling.code))
            return {r.code: row_of(r) for r in rows}

    def all(self) -> dict[str, dict[str, HandlingRow]]:
        """Site -> finding code -> decision."""
        out: dict[str, dict[str, HandlingRow]] = {}
        with self._database.read() as session:
            for r in session.scalars(select(Handling)):
                out.setdefault(r.site, {})[r.code] = row_of(r)
        return out

    def decide(self, row: HandlingRow, by: Actor) -> HandlingRow:
        """Store a decision, replacing the previous one; a live alert of the finding follows it."""
        with self._database.write() as session:
            put(session, row, by)
        return row

    def undo(self, site: str, code: str, by: Actor) -> HandlingRow | None:
        """Delete a decision: the finding is open again. Return what was undone, or None."""
        with self._database.write() as session:
            return drop(session, site, code, by)


def put(session: Session, row: HandlingRow, by: Actor, event: str = "") -> None:
    """Write a decision and update its live alert. event : name in the alert's history, default the state"""
    stored = session.get(Handling, (row.site, row.code)) or Handling(site=row.site, code=row.code)
    for name in ("state", "severity", "who", "ends", "reason", "decided_by", "decided", "work"):
        setattr(stored, name, getattr(row, name))
    session.add(stored)
    mark_stale(session.connection(), [row.site])
    alert = _alert(session, row.site, row.code)
    if alert is not None:
        set_life(alert, alert_after(life_of(alert), row), row.decided)
        note_event(session, alert.id, event or row.state, by.name, row.decided, row.reason)


def drop(session: Session, site: str, code: str, by: Actor) -> HandlingRow | None:
    """Delete a decision; a live alert reopens."""
    stored = session.get(Handling, (site, code))
    if stored is None:
        return None
    was, now = row_of(stored), datetime.now(UTC)
    session.delete(stored)
    mark_stale(session.connection(), [site])
    alert = _alert(session, site, code)
    if alert is not None:
        set_life(alert, reopen(life_of(alert)), now)
        note_event(session, alert.id, "undone", by.name, now)
    return was


def close_by_job(
    session: Session, site: str, severities: dict[str, str], work: int, codes: list[str], by: Actor
) -> None:
    """Close the findings a job names, and reopen those it named before.

    severities : code -> severity of the open findings; others have nothing to close
    """
    before = session.scalars(select(Handling).where(Handling.site == site, Handling.work == work)).all()
    closed = {row.code for row in before}
    for code in closed - set(codes):
        drop(session, site, code, by)
    now = datetime.now(UTC)
    for code in codes:
        if code in severities and code not in closed:
            ends = now + timedelta(days=JOB_PROOF_DAYS)
            row = HandlingRow(site, code, "done", severities[code], by.name, ends, "", by.name, now, work)
            put(session, row, by)


def _alert(session: Session, site: str, code: str) -> Alert | None:
    chosen = select(Alert).where(Alert.site == site, Alert.code == code, Alert.state != "waiting")
    return session.scalars(chosen).first()


def row_of(r: Handling) -> HandlingRow:
    return HandlingRow(
        r.site, r.code, r.state, r.severity, r.who, r.ends, r.reason, r.decided_by, r.decided, r.work
    )
