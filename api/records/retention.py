"""Retention periods of each kind of data, and the nightly deletion."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial

from sqlalchemy import ColumnElement, delete

from fieldfare.api.checks.photos import Photos
from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.people.sign_in import SignIn
from fieldfare.api.state.people_tables import AuditEntry, Invitation
from fieldfare.api.state.visit_tables import Booking
from fieldfare.api.state.work_tables import (
    Alert,
    JobRun,
    Notice,
    StoredPaper,
)


@dataclass(frozen=True)
class Retention:
    """One kind of data and its retention; days is None for as long as the home is managed."""

    kind: str
    days: int | None
    why: str


KEPT = (
    Retention("readings", None, "performance is compared over years; erased with the home or on request"),
    Retention("facts", None, "worked out from the readings, and erased with them"),
    Retention("works", None, "the history of the installation; erased with the home or on request"),
    Retention(
        "checks", None, "results of manual checks, to compare with the next check; erased with the home"
    ),
    Retention("photos", 1_130, "of checks and jobs; three heating seasons"),
    Retention("handling", None, "what was decided about a finding, until it is gone; erased with the home"),
    Retention("visits", 1_130, "three heating seasons; erased with the home"),
    Retention("papers", 1_130, "three heating seasons and the time to look back on the last"),
    Retention("alerts", 1_130, "after they were resolved; three heating seasons"),
    Retention("notices", 180, "to show what was sent"),
    Retention("audit", 730, "to find out afterwards who did what"),
    Retention("jobs", 90, "to find faults"),
    Retention("sessions", 14, "people stay signed in no longer; a home's link 30 days at a time"),
    Retention(
        "backups", 35, "a backup is overwritten after this; what was erased is gone from all of them then"
    ),
)
CHECKED_WITHIN_DAYS = 7
"""Part of the fleet's stored readings checked for damage each night."""
_DAYS = {kept.kind: kept.days for kept in KEPT}


def tidy(service: Service) -> str:
    """Delete expired data, and check the stored readings of some sites for damage.

    Returns a summary in one line.
    """
    gone = 0
    now = datetime.now(UTC)
    old: tuple[tuple[type, ColumnElement[bool]], ...] = (
        (StoredPaper, StoredPaper.made < _before("papers", now)),
        (Alert, Alert.resolved < _before("alerts", now)),
        (Notice, Notice.created < _before("notices", now)),
        (AuditEntry, AuditEntry.time < _before("audit", now)),
        (JobRun, JobRun.started < _before("jobs", now)),
        (Invitation, Invitation.expires < now),
        (Booking, Booking.start < _before("visits", now)),
    )
    with service.database.write() as session:
        for table, condition in old:
            gone += session.execute(delete(table).where(condition)).rowcount  # type: ignore[attr-defined]
    gone += Photos(service.database, service.settings.data).remove_before(_before("photos", now))
    SignIn(service.database).sweep()
    damaged = _look_for_damage(service, now)
    remark = f"; data can't be used at {', '.join(damaged)}" if damaged else ""
    return f"{gone} old rows removed{remark}"


def _look_for_damage(service: Service, now: datetime) -> list[str]:
    """Read all stored bytes of a part of the fleet. Return the sites with damage.

    The whole fleet is read within CHECKED_WITHIN_DAYS.
    """
    today = now.toordinal() % CHECKED_WITHIN_DAYS
    found = []
    for site in service.sites.ids():
        if zlib.crc32(site.encode()) % CHECKED_WITHIN_DAYS == today:
            troubles = attempt(site, "look for damage", partial(service.store.check, site))
            if isinstance(troubles, Failure) or troubles:
                found.append(site)
    return found


def _before(kind: str, now: datetime) -> datetime:
    return now - timedelta(days=_DAYS[kind] or 0)
