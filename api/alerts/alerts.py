"""Alerts in the state database: one for each site and finding, with everything that happened to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from analysis.errors import InputError
from api.alerts import life as rules
from api.alerts.life import Life, Patience
from api.people.access import SCHEDULER, Actor
from api.state.database import Database
from api.state.work_tables import Alert, AlertEvent, Maintenance

STATES = ("open", "acknowledged", "snoozed", "resolved")
_LIFE = tuple(f.name for f in fields(Life))


class UnknownAlert(InputError):
    """There is no alert of that number."""


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
class Happened:
    """What a look at a site changed."""

    alert: int
    what: str
    severity: str


class Alerts:
    """Kept alerts. `patience` says how long findings must hold and be gone."""

    def __init__(self, database: Database, patience: Patience | None = None) -> None:
        self._database, self._patience = database, patience or Patience()

    def look(
        self,
        site: str,
        findings: Iterable[Mapping[str, Any]],
        now: datetime,
        codes: frozenset[str] | None = None,
        spared: frozenset[str] = frozenset(),
    ) -> list[Happened]:
        """Take in the findings of a site as they stand now.

        codes : the only codes that were looked for; default all but the spared. Other alerts are left as they are
        Returns what happened. Taking in the same findings at the same moment again changes nothing.
        """
        seen = {f["code"]: f for f in findings if f.get("until") is None}
        happened = []
        with self._database.write() as session:
            rows = {
                r.code: r for r in session.scalars(select(Alert).where(Alert.site == site).with_for_update())
            }
            maintained = _is_maintained(session, site, now)
            for code in sorted(seen.keys() | rows.keys()):
                if code not in spared and (codes is None or code in codes):
                    events = self._look_at(
                        session, site, code, rows.get(code), seen.get(code), now, maintained
                    )
                    happened += events
        return happened

    def _look_at(
        self,
        session: Session,
        site: str,
        code: str,
        row: Alert | None,
        finding: Mapping[str, Any] | None,
        now: datetime,
        maintained: bool,
    ) -> list[Happened]:
        severity = finding["severity"] if finding else None
        patience = self._patience.at_once() if code in rules.AT_ONCE else self._patience
        after, events = rules.step(
            _life(row) if row else None, severity, now, patience=patience, maintained=maintained
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
        _set(row, after, now)
        session.flush()
        for what in events:
            _note(session, row.id, what, SCHEDULER.name, now)
        return [Happened(row.id, what, after.severity) for what in events]

    def page(
        self, offset: int, limit: int, *, state: str = "", site: str = "", live: bool = False
    ) -> tuple[list[AlertRow], int]:
        """Gravest and newest first, and how many there are; what only waits is not shown."""
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
        """Raises UnknownAlert, InputError."""
        return self._handle(alert, who, "acknowledged", note, rules.acknowledge)

    def snooze(self, alert: int, who: Actor, until: datetime, note: str = "") -> AlertRow:
        """Raises UnknownAlert, InputError."""
        if until <= datetime.now(UTC):
            raise InputError("an alert is snoozed until a moment to come")
        return self._handle(alert, who, "snoozed", note, lambda life: rules.snooze(life, until))

    def comment(self, alert: int, who: Actor, note: str) -> AlertRow:
        return self._handle(alert, who, "note", note, lambda life: life)

    def _handle(self, alert: int, who: Actor, what: str, note: str, change: Any) -> AlertRow:
        now = datetime.now(UTC)
        with self._database.write() as session:
            row = _alert(session, alert)
            try:
                _set(row, change(_life(row)), now)
            except ValueError as error:
                raise InputError(str(error)) from None
            _note(session, alert, what, who.name, now, note)
            return _row(row)

    def since(self, moment: datetime) -> list[tuple[AlertRow, str]]:
        """Alerts and what happened to each after a moment, oldest first; what people did themselves is left out."""
        told = ("opened", "reopened", "worsened", "woke", "resolved")
        chosen = select(Alert, AlertEvent.what).join(AlertEvent, AlertEvent.alert == Alert.id)
        chosen = chosen.where(AlertEvent.time > moment, AlertEvent.what.in_(told)).order_by(AlertEvent.id)
        with self._database.read() as session:
            return [(_row(alert), what) for alert, what in session.execute(chosen)]

    def counts(self) -> dict[tuple[str, str], int]:
        """(state, severity) -> how many."""
        chosen = select(Alert.state, Alert.severity, func.count()).group_by(Alert.state, Alert.severity)
        with self._database.read() as session:
            return {(state, severity): n for state, severity, n in session.execute(chosen)}

    def maintain(self, site: str, start: datetime, end: datetime, reason: str, who: Actor) -> dict[str, Any]:
        """Announce that a site is worked on. Raises InputError."""
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
        """Raises InputError where the site has no such window."""
        with self._database.write() as session:
            row = session.get(Maintenance, window)
            if row is None or row.site != site:
                raise InputError(f"{site} has no maintenance of number {window}")
            session.delete(row)


def _alert(session: Session, alert: int) -> Alert:
    row = session.get(Alert, alert)
    if row is None or row.state == "waiting":
        raise UnknownAlert(f"there is no alert of number {alert}")
    return row


def _is_maintained(session: Session, site: str, now: datetime) -> bool:
    chosen = select(Maintenance.id).where(
        Maintenance.site == site, Maintenance.start <= now, Maintenance.end > now
    )
    return session.scalars(chosen.limit(1)).first() is not None


def _life(row: Alert) -> Life:
    return Life(**{name: getattr(row, name) for name in _LIFE})


def _set(row: Alert, life: Life, now: datetime) -> None:
    changed = False
    for name, value in asdict(life).items():
        changed |= getattr(row, name, None) != value
        setattr(row, name, value)
    if changed or row.changed is None:
        row.changed = now


def _note(session: Session, alert: int, what: str, who: str, now: datetime, note: str = "") -> None:
    session.add(AlertEvent(alert=alert, time=now, what=what, who=who, note=note))


def _row(r: Alert) -> AlertRow:
    return AlertRow(
        r.id, r.site, r.code, r.state, r.severity, r.headline, r.episode, r.opened, r.resolved, r.snoozed_until,
        r.changed, dict(r.finding),
    )  # fmt: skip


def _window(row: Maintenance) -> dict[str, Any]:
    return {
        "id": row.id,
        "site": row.site,
        "start": row.start,
        "end": row.end,
        "reason": row.reason,
        "who": row.who,
    }
