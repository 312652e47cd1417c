"""Convert alert rows of the state database to and from the Life of the rules."""

from __future__ import annotations

from dataclasses import asdict, fields
from datetime import datetime

from sqlalchemy.orm import Session

from fieldfare.api.alerts.life import Life
from fieldfare.api.state.work_tables import Alert, AlertEvent

_LIFE = tuple(f.name for f in fields(Life))


def life_of(row: Alert) -> Life:
    return Life(**{name: getattr(row, name) for name in _LIFE})


def set_life(row: Alert, life: Life, now: datetime) -> None:
    changed = False
    for name, value in asdict(life).items():
        changed |= getattr(row, name, None) != value
        setattr(row, name, value)
    if changed or row.changed is None:
        row.changed = now


def note_event(session: Session, alert: int, what: str, who: str, now: datetime, note: str = "") -> None:
    session.add(AlertEvent(alert=alert, time=now, what=what, who=who, note=note))
