"""Notices: queued once per receiver, sent, retried, and never sent twice."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.alerts import AlertRow
from fieldfare.api.alerts.channels import (
    Letter,
    MayHaveArrived,
    NotSent,
    Rejected,
    send,
)
from fieldfare.api.alerts.life import AT_ONCE
from fieldfare.api.alerts.words import (
    digest_message,
    month_message,
    not_before,
    urgent_message,
)
from fieldfare.api.core.outgoing import Outgoing
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.sites import site_names
from fieldfare.api.firm.about import about_firm
from fieldfare.api.firm.personal_settings import PersonalSettings, settings_of_people
from fieldfare.api.people.access import OF_THE_FIRM
from fieldfare.api.people.secrets import new_id
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import PersonSite
from fieldfare.api.state.work_tables import Notice

BACK_OFF = tuple(timedelta(minutes=m) for m in (1, 5, 15, 60, 180, 360))
"""Delays before retries; after the last one the notice has failed."""
CLAIM_LOST_AFTER = timedelta(minutes=10)

log = logging.getLogger(__name__)
Send = Callable[[Letter, str, str, Outgoing], None]


@dataclass(frozen=True)
class NoticeRow:
    id: int
    kind: str
    site: str | None
    receiver: str
    subject: str
    state: str
    attempts: int
    created: datetime
    sent: datetime | None
    error: str


@dataclass(frozen=True)
class Receiver:
    """Address of a receiver, and that person's notice settings."""

    address: str
    own: PersonalSettings

    def wants_at_once(self, alert: AlertRow) -> bool:
        """Whether to notify at once; codes of AT_ONCE count as urgent."""
        return ("urgent" if _cannot_wait(alert) else alert.severity) in self.own.at_once


class Notices:
    """The queue in the state database.

    A notice is claimed before it is sent, and then becomes sent, failed or unsure. Unsure means that the
    connection broke after all data were sent, or the process died: it is shown, and not sent again.
    """

    def __init__(self, database: Database, settings: Settings, send: Send = send) -> None:
        self._database, self._settings, self._send = database, settings, send

    def urgent(self, alerts: Sequence[AlertRow], now: datetime, zone: ZoneInfo | None = None) -> int:
        """Queue immediate notices, once per episode of an alert. Return the number of new notices.

        Urgent ones and codes that can't wait are sent at any hour; the rest respects quiet hours in `zone`.
        """
        new = 0
        with self._database.write() as session:
            receivers = self._firm(session)
            for alert in alerts:
                name = site_names(session).get(alert.site, alert.site)
                subject, body = urgent_message(alert, name, self._settings.address)
                for receiver in receivers:
                    if not receiver.wants_at_once(alert):
                        continue
                    waits = not _cannot_wait(alert) and zone is not None
                    when = self._after_quiet(now, zone, receiver.own) if waits and zone else now
                    key = f"{alert.severity}-{alert.id}-{alert.episode}-{_short(receiver.address)}"
                    new += _queue(session, key, "urgent", alert.site, receiver.address, subject, body, when)
        return new

    def digest(
        self, day: str, happened: Sequence[tuple[AlertRow, str]], live: int, now: datetime, zone: ZoneInfo
    ) -> int:
        """Queue the morning digest of a day. Return the number of new notices."""
        new = 0
        with self._database.write() as session:
            names = site_names(session)
            for receiver in self._firm(session):
                reported = [
                    (alert, what) for alert, what in happened if alert.severity in receiver.own.digest
                ]
                message = digest_message(reported, live, names, self._settings.address)
                if message is not None:
                    key, when = (
                        f"digest-{day}-{_short(receiver.address)}",
                        self._after_quiet(now, zone, receiver.own),
                    )
                    new += _queue(session, key, "digest", None, receiver.address, *message, when)
        return new

    def month(self, site: str, month: str, now: datetime, zone: ZoneInfo) -> int:
        """Queue the message about a monthly report for the home's householders. Return the number of new
        notices."""
        new = 0
        signature = about_firm(self._database, self._settings).signature
        chosen = select(PersonSite.person).where(PersonSite.site == site)
        with self._database.write() as session:
            name = site_names(session).get(site, site)
            subject, body = month_message(name, month, self._settings.address, site, signature)
            here = set(session.scalars(chosen))
            for email, (person, own) in settings_of_people(session).items():
                if person.id in here:
                    key = f"month-{site}-{month}-{_short(email)}"
                    when = self._after_quiet(now, zone, own)
                    new += _queue(session, key, "month", site, own.channel or email, subject, body, when)
        return new

    def account(self, email: str, subject: str, body: str) -> None:
        """Queue a message to a person about their own account, if e-mail is set up; quiet hours do not
        apply."""
        if not self._settings.mail_url:
            return
        now = datetime.now(UTC)
        text = (
            f"{body}\n\nIf that was you, there is nothing to do. If not: change your password at"
            f" {self._settings.address}/account, end the other sessions there, and tell your firm's"
            " installer.\n"
        )
        with self._database.write() as session:
            _queue(session, f"account-{new_id()}", "account", None, email, subject, text, now)

    def deliver(self, now: datetime | None = None) -> dict[str, int]:
        """Send what is due. Return counts by end state."""
        moment = now or datetime.now(UTC)
        self._give_up_lost(moment)
        ended: dict[str, int] = {}
        while (claimed := self._claim(moment)) is not None:
            state = self._deliver(claimed, moment)
            ended[state] = ended.get(state, 0) + 1
        return ended

    def page(self, offset: int, limit: int, site: str = "") -> tuple[list[NoticeRow], int]:
        """Notices, newest first, and the total count."""
        chosen = select(Notice) if not site else select(Notice).where(Notice.site == site)
        with self._database.read() as session:
            total = session.scalar(select(func.count()).select_from(chosen.subquery())) or 0
            rows = list(session.scalars(chosen.order_by(Notice.id.desc()).offset(offset).limit(limit)))
        return [_row(r) for r in rows], total

    def counts(self) -> dict[str, int]:
        """state -> how many."""
        with self._database.read() as session:
            return dict(session.execute(select(Notice.state, func.count()).group_by(Notice.state)).all())

    def _claim(self, now: datetime) -> Notice | None:
        chosen = (
            select(Notice)
            .where(Notice.state == "waiting", Notice.not_before <= now)
            .order_by(Notice.id)
            .limit(1)
        )
        with self._database.write() as session:
            row = session.scalars(chosen.with_for_update(skip_locked=True)).first()
            if row is not None:
                row.state, row.attempts, row.not_before = "sending", row.attempts + 1, now
            return row

    def _deliver(self, notice: Notice, now: datetime) -> str:
        letter = Letter(notice.key, notice.receiver, notice.subject, notice.body, notice.kind == "urgent")
        values: dict[str, object] = {"state": "sent", "sent": datetime.now(UTC), "error": ""}
        try:
            outgoing = Outgoing.of(self._settings.internal_hosts)
            self._send(letter, self._settings.mail_url, self._settings.mail_from, outgoing)
        except (Rejected, InputError) as error:
            values = {"state": "failed", "error": str(error)}
        except NotSent as error:
            more = notice.attempts <= len(BACK_OFF)
            values = {"state": "waiting" if more else "failed", "error": str(error)}
            if more:
                values["not_before"] = now + BACK_OFF[notice.attempts - 1]
        except MayHaveArrived as error:
            values = {"state": "unsure", "error": str(error)}
        except Exception as error:  # an error of one channel must not stop the others
            log.exception("a notice could not be sent")
            values = {"state": "unsure", "error": f"{type(error).__name__}: {error}"}
        with self._database.write() as session:
            session.execute(update(Notice).where(Notice.id == notice.id).values(values))
        return str(values["state"])

    def _give_up_lost(self, now: datetime) -> None:
        """Mark notices being sent when the process died as unsure: they may have arrived."""
        lost = (Notice.state == "sending", Notice.not_before < now - CLAIM_LOST_AFTER)
        with self._database.write() as session:
            session.execute(
                update(Notice).where(*lost).values(state="unsure", error="the service was stopped meanwhile")
            )

    def _firm(self, session: Session) -> list[Receiver]:
        """Receivers: the firm's people with their settings, and the installation's channels, which get all
        notices."""
        people = [
            Receiver(own.channel or email, own)
            for email, (person, own) in settings_of_people(session).items()
            if person.role in OF_THE_FIRM and (own.channel or self._settings.mail_url)
        ]
        return [
            *people,
            *(Receiver(channel, PersonalSettings()) for channel in self._settings.channels.split()),
        ]

    def _after_quiet(self, now: datetime, zone: ZoneInfo, own: PersonalSettings) -> datetime:
        if own.quiet_from is None or own.quiet_to is None:
            return not_before(now, zone, self._settings.quiet_from, self._settings.quiet_to)
        return not_before(now, zone, own.quiet_from, own.quiet_to)


def _cannot_wait(alert: AlertRow) -> bool:
    return alert.severity == "urgent" or (alert.code in AT_ONCE and alert.severity == "act")


def _queue(
    session: Session,
    key: str,
    kind: str,
    site: str | None,
    receiver: str,
    subject: str,
    body: str,
    when: datetime,
) -> int:
    if session.scalars(select(Notice.id).where(Notice.key == key)).first() is not None:
        return 0
    row = Notice(
        key=key, kind=kind, site=site, receiver=receiver, subject=" ".join(subject.split()), body=body
    )
    row.state, row.attempts, row.not_before, row.created = "waiting", 0, when, datetime.now(UTC)
    session.add(row)
    session.flush()
    return 1


def _short(receiver: str) -> str:
    return hashlib.sha256(receiver.encode()).hexdigest()[:16]


def _row(r: Notice) -> NoticeRow:
    shown = r.receiver if "://" not in r.receiver else r.receiver.split("://")[0] + "://..."
    return NoticeRow(r.id, r.kind, r.site, shown, r.subject, r.state, r.attempts, r.created, r.sent, r.error)
