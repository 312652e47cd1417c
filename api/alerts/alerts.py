"""Alerts in the state database: one per site and finding, with its history."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts import life as rules
from fieldfare.api.alerts.alert_rows import life_of, note_event, set_life
from fieldfare.api.alerts.decisions import HandlingRow, alert_after, lasts
from fieldfare.api.alerts.handling import put, row_of
from fieldfare.api.alerts.life import Patience
from fieldfare.api.people.access import SCHEDULER, Actor
from fieldfare.api.state.database import Database
from fieldfare.api.state.work_tables import (
    Alert,
    AlertEvent,
    Handling,
    Maintenance,
)

STATES = ("open", "acknowledged", "snoozed", "resolved")


class UnknownAlert(InputError):
    """No alert has that id."""


@dataclass(frozen=True)
class AlertRow:
    id: int
    site: str
    code: str
    state: str
    severity: str
    headline: str
    episode: int
    opened: datetime | None
    resolved: datetime | None
    snoozed_until: datetime | None
    changed: datetime
    finding: dict[str, Any]


@dataclass(frozen=True)
class EventRow:
    time: datetime
    what: str
    who: str
    note: str


@dataclass(frozen=True)
class AlertChange:
    """Changes found by one check of a site."""

    alert: int
    what: str
    severity: str


class Alerts:
    """Stored alerts. `patience` sets how long findings must be present or absent."""

    def __init__(self, database: Database, patience: Patience | None = None) -> None:
        self._database, self._patience = database, patience or Patience()

    def look(
        self,
        site: str,
        findings: Iterable[Mapping[str, Any]],
        now: datetime,
        codes: frozenset[str] | None = None,
        spared: frozenset[str] = frozenset(),
    ) -> list[AlertChange]:
        """Update a site's alerts with its current findings.

        codes : the only codes that were checked; default all but `spared`. Other alerts stay unchanged
        Returns what happened. Idempotent for the same findings at the same time.
        """
        open_findings = {f["code"]: f for f in findings if f.get("until") is None}
        happened = []
        with self._database.write() as session:
            rows = {
                r.code: r for r in session.scalars(select(Alert).where(Alert.site == site).with_for_update())
            }
            handlings = {r.code: r for r in session.scalars(select(Handling).where(Handling.site == site))}
            maintained = _is_maintained(session, site, now)
            for code in sorted(open_findings.keys() | rows.keys() | handlings.keys()):
                if code not in spared and (codes is None or code in codes):
                    events = self._look_at(
                        session, site, code, rows.get(code), open_findings.get(code), now, maintained
                    )
                    happened += self._under_decision(
                        session, handlings.get(code), open_findings.get(code), events, now
                    )
        return happened

    def _under_decision(
        self,
        session: Session,
        handling: Handling | None,
        finding: Mapping[str, Any] | None,
        events: list[AlertChange],
        now: datetime,
    ) -> list[AlertChange]:
        """Events to report for a finding with a decision; the decision ends with its finding."""
        if handling is None:
            return events
        row = row_of(handling)
        if finding is None and row.state != "no_fault":
            alert = session.scalars(
                select(Alert).where(Alert.site == row.site, Alert.code == row.code)
            ).first()
            never_alerted = alert is None and now - row.decided >= self._patience.gone(
                _alerting(row.severity)
            )
            if never_alerted or any(e.what == "resolved" for e in events):
                session.delete(handling)
            return events
        if not lasts(row, finding["severity"] if finding else None, now):
            return events
        return [e for e in events if not _is_silenced(session, e, row, now)]

    def _look_at(
        self,
        session: Session,
        site: str,
        code: str,
        row: Alert | None,
        finding: Mapping[str, Any] | None,
        now: datetime,
        maintained: bool,
    ) -> list[AlertChange]:
        severity = finding["severity"] if finding else None
        patience = self._patience.at_once() if code in rules.AT_ONCE else self._patience
        after, events = rules.step(
            life_of(row) if row else None, severity, now, patience=patience, maintained=maintained
        )
        if after is None:
            if row is not None:
                session.delete(row)
            return []
        if row is None:
            row = Alert(site=site, code=code, headline="", finding={})
            session.add(row)
        if finding is not None:
            row.headline, row.finding = finding["headline"], dict(finding)
        set_life(row, after, now)
        session.flush()
        for what in events:
            note_event(session, row.id, what, SCHEDULER.name, now)
        return [AlertChange(row.id, what, after.severity) for what in events]

    def page(
        self, offset: int, limit: int, *, state: str = "", site: str = "", live: bool = False
    ) -> tuple[list[AlertRow], int]:
        """Alerts, most severe and newest first, and the total count, without waiting ones."""
        chosen = (
            select(Alert).where(Alert.state == state)
            if state
            else select(Alert).where(Alert.state != "waiting")
        )
        if site:
            chosen = chosen.where(Alert.site == site)
        if live:
            chosen = chosen.where(Alert.state.in_(rules.LIVE))
        weight = case(rules.GRAVER, value=Alert.severity, else_=0)
        with self._database.read() as session:
            total = session.scalar(select(func.count()).select_from(chosen.subquery())) or 0
            ordered = chosen.order_by(weight.desc(), Alert.opened.desc(), Alert.id)
            rows = list(session.scalars(ordered.offset(offset).limit(limit)))
        return [_row(r) for r in rows], total

    def get(self, alert: int) -> AlertRow:
        """Raises UnknownAlert."""
        with self._database.read() as session:
            return _row(_alert(session, alert))

    def events(self, alert: int) -> list[EventRow]:
        with self._database.read() as session:
            rows = session.scalars(
                select(AlertEvent).where(AlertEvent.alert == alert).order_by(AlertEvent.id)
            )
            return [EventRow(r.time, r.what, r.who, r.note) for r in rows]

    def acknowledge(self, alert: int, who: Actor, note: str = "") -> AlertRow:
        """Acknowledge without an end date; the site's page shows it. Raises UnknownAlert, InputError."""
        return self._handle(alert, who, "acknowledged", note, rules.acknowledge, "in_hand")

    def snooze(self, alert: int, who: Actor, until: datetime, note: str = "") -> AlertRow:
        """Snooze; the site's page shows its finding as muted. Raises UnknownAlert, InputError."""
        if until <= datetime.now(UTC):
            raise InputError("an alert can only be snoozed until a time in the future")
        return self._handle(alert, who, "snoozed", note, lambda life: rules.snooze(life, until), "muted")

    def comment(self, alert: int, who: Actor, note: str) -> AlertRow:
        return self._handle(alert, who, "note", note, lambda life: life)

    def _handle(self, alert: int, who: Actor, what: str, note: str, change: Any, state: str = "") -> AlertRow:
        """Apply a change and record it. state : of the decision stored with the finding; empty for none"""
        now = datetime.now(UTC)
        with self._database.write() as session:
            row = _alert(session, alert)
            try:
                set_life(row, change(life_of(row)), now)
            except ValueError as error:
                raise InputError(str(error)) from None
            if state:
                decision = HandlingRow(
                    row.site,
                    row.code,
                    state,
                    row.severity,
                    who.name,
                    row.snoozed_until,
                    note,
                    who.name,
                    now,
                    None,
                )
                put(session, decision, who, event=what)
            else:
                note_event(session, alert, what, who.name, now, note)
            return _row(row)

    def since(self, moment: datetime) -> list[tuple[AlertRow, str]]:
        """Alerts with their events after a time, oldest first, without people's own actions."""
        reported = ("opened", "reopened", "worsened", "woke", "resolved")
        chosen = select(Alert, AlertEvent.what).join(AlertEvent, AlertEvent.alert == Alert.id)
        chosen = chosen.where(AlertEvent.time > moment, AlertEvent.what.in_(reported)).order_by(AlertEvent.id)
        with self._database.read() as session:
            return [(_row(alert), what) for alert, what in session.execute(chosen)]

    def counts(self) -> dict[tuple[str, str], int]:
        """(state, severity) -> how many."""
        chosen = select(Alert.state, Alert.severity, func.count()).group_by(Alert.state, Alert.severity)
        with self._database.read() as session:
            return {(state, severity): n for state, severity, n in session.execute(chosen)}

    def maintain(self, site: str, start: datetime, end: datetime, reason: str, who: Actor) -> dict[str, Any]:
        """Announce maintenance of a site. Raises InputError."""
        if end <= start:
            raise InputError("maintenance ends after it starts")
        with self._database.write() as session:
            row = Maintenance(site=site, start=start, end=end, reason=reason, who=who.name)
            session.add(row)
            session.flush()
            return _window(row)

    def maintenance(self, site: str) -> list[dict[str, Any]]:
        with self._database.read() as session:
            chosen = select(Maintenance).where(Maintenance.site == site).order_by(Maintenance.start.desc())
            return [_window(row) for row in session.scalars(chosen)]

    def end_maintenance(self, site: str, window: int) -> None:
        """End a maintenance window. Raises InputError if the site has no such window."""
        with self._database.write() as session:
            row = session.get(Maintenance, window)
            if row is None or row.site != site:
                raise InputError(f"{site} has no maintenance window {window}")
            session.delete(row)


def _alert(session: Session, alert: int) -> Alert:
    row = session.get(Alert, alert)
    if row is None or row.state == "waiting":
        raise UnknownAlert(f"there is no alert {alert}")
    return row


def _alerting(severity: str) -> str:
    return severity if severity in rules.GRAVER else "watch"


def _is_silenced(session: Session, event: AlertChange, row: HandlingRow, now: datetime) -> bool:
    """Whether a newly opened alert is under a decision; if so, apply the decision's state and send no
    notice."""
    if event.what not in ("opened", "reopened", "woke"):
        return False
    alert = session.get_one(Alert, event.alert)
    set_life(alert, alert_after(life_of(alert), row), now)
    latest = select(AlertEvent).where(AlertEvent.alert == event.alert, AlertEvent.what == event.what)
    noted = session.scalars(latest.order_by(AlertEvent.id.desc()).limit(1)).one()
    noted.what, noted.who, noted.note = row.state, row.decided_by, row.reason
    return True


def _is_maintained(session: Session, site: str, now: datetime) -> bool:
    chosen = select(Maintenance.id).where(
        Maintenance.site == site, Maintenance.start <= now, Maintenance.end > now
    )
    return session.scalars(chosen.limit(1)).first() is not None


def _row(r: Alert) -> AlertRow:
    return AlertRow(
        r.id,
        r.site,
        r.code,
        r.state,
        r.severity,
        r.headline,
        r.episode,
        r.opened,
        r.resolved,
        r.snoozed_until,
        r.changed,
        dict(r.finding),
    )


def _window(row: Maintenance) -> dict[str, Any]:
    return {
        "id": row.id,
        "site": row.site,
        "start": row.start,
        "end": row.end,
        "reason": row.reason,
        "who": row.who,
    }
