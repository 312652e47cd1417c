"""Booked visits in the state database: which home, when, how long, who, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import OF_THE_FIRM, Actor
from fieldfare.api.people.secrets import new_id
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import Person
from fieldfare.api.state.visit_tables import Booking

LEAST_MINUTES, MOST_MINUTES = 5, 720
MOST_NOTE, MOST_FINDINGS = 1000, 30
FURTHEST = timedelta(days=2 * 366)
"""A visit is booked for the next two years at most."""


class UnknownVisit(InputError):
    """The site has no such visit."""


class Clash(InputError):
    """The person is elsewhere at that time. site : id of the other home"""

    def __init__(self, person: str, site: str) -> None:
        super().__init__(self.message(person, site))
        self.person: str = person
        self.site: str = site

    @staticmethod
    def message(person: str, home: str) -> str:
        return f"{person} is booked for another visit at that time, at {home}"


@dataclass(frozen=True)
class BookingRequest:
    """A requested visit. person : id of the account, None while unassigned"""

    start: datetime
    minutes: int
    person: int | None = None
    findings: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class BookingRow:
    """A booked or cancelled visit. who : name of the person, empty while unassigned"""

    id: int
    uid: str
    site: str
    start: datetime
    minutes: int
    person: int | None
    who: str
    findings: tuple[str, ...]
    note: str
    state: str
    sequence: int
    created: datetime
    changed: datetime

    @property
    def end(self) -> datetime:
        return self.start + timedelta(minutes=self.minutes)


class Bookings:
    """Visits, kept until their home is erased or their time is over (api/records/retention.py)."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def between(
        self,
        first: datetime,
        end: datetime,
        *,
        person: int | None = None,
        site: str = "",
        cancelled: bool = False,
    ) -> list[BookingRow]:
        """Visits with first <= start < end, earliest first.

        person, site : filters. cancelled : bool, default False. Include cancelled visits
        """
        chosen = select(Booking).where(Booking.start >= first, Booking.start < end)
        if person is not None:
            chosen = chosen.where(Booking.person == person)
        if site:
            chosen = chosen.where(Booking.site == site)
        if not cancelled:
            chosen = chosen.where(Booking.state == "booked")
        with self._database.read() as session:
            rows = session.scalars(chosen.order_by(Booking.start, Booking.id))
            names = _names(session)
            return [_row(r, names) for r in rows]

    def next_of_each(self, now: datetime) -> dict[str, BookingRow]:
        """Site -> its next or current visit."""
        found: dict[str, BookingRow] = {}
        for row in self.between(now - timedelta(minutes=MOST_MINUTES), now + FURTHEST):
            if row.end > now:
                found.setdefault(row.site, row)
        return found

    def of_site(self, site: str) -> list[BookingRow]:
        """Every visit of a home, newest first, including cancelled ones."""
        with self._database.read() as session:
            chosen = select(Booking).where(Booking.site == site).order_by(Booking.start.desc(), Booking.id)
            names = _names(session)
            return [_row(r, names) for r in session.scalars(chosen)]

    def get(self, site: str, visit: int) -> BookingRow:
        """Raises UnknownVisit."""
        with self._database.read() as session:
            return _row(_own(session, site, visit), _names(session))

    def book(
        self, site: str, wish: BookingRequest, by: Actor, now: datetime, *, even_so: bool = False
    ) -> BookingRow:
        """Book a visit. even_so : even if the person is elsewhere then. Raises InputError, Clash."""
        _check(wish, now)
        with self._database.write() as session:
            _free(session, wish, None, even_so)
            row = Booking(
                uid=new_id() + new_id(),
                site=site,
                state="booked",
                created=now,
                created_by=by.name,
                sequence=0,
            )
            _fill(row, wish, by, now)
            session.add(row)
            session.flush()
            return _row(row, _names(session))

    def change(
        self, site: str, visit: int, wish: BookingRequest, by: Actor, now: datetime, *, even_so: bool = False
    ) -> BookingRow:
        """Change a visit, or book a cancelled one again. Raises InputError, Clash, UnknownVisit."""
        with self._database.write() as session:
            row = _own(session, site, visit)
            if wish.start != row.start:
                _check(wish, now)
            else:
                _check_size(wish)
            _free(session, wish, visit, even_so)
            row.state, row.sequence = "booked", row.sequence + 1
            _fill(row, wish, by, now)
            return _row(row, _names(session))

    def cancel(self, site: str, visit: int, by: Actor, now: datetime) -> BookingRow:
        """Cancel a visit; calendars are updated. Cancelling again changes nothing. Raises UnknownVisit."""
        with self._database.write() as session:
            row = _own(session, site, visit)
            if row.state != "cancelled":
                row.state, row.sequence = "cancelled", row.sequence + 1
                row.changed, row.changed_by = now, by.name
            return _row(row, _names(session))


def moment_of(day: date, at: time, zone: ZoneInfo) -> datetime:
    """Convert a local time to UTC. Raises InputError for a time skipped by a clock change.

    In a repeated hour, the first pass is meant.
    """
    local = datetime.combine(day, at, zone)
    moment = local.astimezone(UTC)
    if moment.astimezone(zone).replace(tzinfo=None) != local.replace(tzinfo=None):
        raise InputError(f"{at:%H:%M} is left out on {day}: the clocks go forward; take another time")
    return moment


def colleagues(database: Database) -> dict[int, str]:
    """Id -> name of the firm's people who can make visits."""
    chosen = select(Person.id, Person.name).where(Person.role.in_(OF_THE_FIRM), Person.active)
    with database.read() as session:
        return dict(session.execute(chosen.order_by(Person.name)).all())


def _check(wish: BookingRequest, now: datetime) -> None:
    if wish.start < now - timedelta(minutes=MOST_MINUTES):
        raise InputError("that time is over; a visit is booked for a time to come")
    if wish.start > now + FURTHEST:
        raise InputError("that is too far ahead; a visit is booked for the next two years")
    _check_size(wish)


def _check_size(wish: BookingRequest) -> None:
    if not LEAST_MINUTES <= wish.minutes <= MOST_MINUTES:
        raise InputError(f"a visit takes {LEAST_MINUTES} to {MOST_MINUTES} minutes")
    if len(wish.note) > MOST_NOTE:
        raise InputError(f"the note has {len(wish.note)} characters; at most {MOST_NOTE} are kept")
    if len(wish.findings) > MOST_FINDINGS:
        raise InputError(f"a visit has up to {MOST_FINDINGS} findings")


def _free(session: Session, wish: BookingRequest, visit: int | None, even_so: bool) -> None:
    """Raises InputError if the person can't make visits, Clash if they are elsewhere."""
    if wish.person is None:
        return
    person = session.get(Person, wish.person)
    if person is None or not person.active or person.role not in OF_THE_FIRM:
        raise InputError("choose a person of the firm, or unassigned")
    near = timedelta(minutes=MOST_MINUTES)
    end = wish.start + timedelta(minutes=wish.minutes)
    chosen = select(Booking).where(
        Booking.person == wish.person,
        Booking.state == "booked",
        Booking.start < end,
        Booking.start > wish.start - near,
    )
    for other in session.scalars(chosen.order_by(Booking.start)):
        if other.id != visit and other.start + timedelta(minutes=other.minutes) > wish.start and not even_so:
            raise Clash(person.name, other.site)


def _fill(row: Booking, wish: BookingRequest, by: Actor, now: datetime) -> None:
    row.start, row.minutes, row.person = wish.start, wish.minutes, wish.person
    row.findings, row.note = list(wish.findings), wish.note
    row.changed, row.changed_by = now, by.name


def _own(session: Session, site: str, visit: int) -> Booking:
    row = session.get(Booking, visit)
    if row is None or row.site != site:
        raise UnknownVisit(f"{site} has no visit {visit}")
    return row


def _names(session: Session) -> dict[int, str]:
    return dict(session.execute(select(Person.id, Person.name)).all())


def _row(r: Booking, names: dict[int, str]) -> BookingRow:
    return BookingRow(
        r.id,
        r.uid,
        r.site,
        r.start,
        r.minutes,
        r.person,
        names.get(r.person or 0, ""),
        tuple(r.findings),
        r.note,
        r.state,
        r.sequence,
        r.created,
        r.changed,
    )


def by_day(rows: Iterable[BookingRow], zones: dict[str, ZoneInfo]) -> dict[date, list[BookingRow]]:
    """Local day -> its visits, each in the zone of its home."""
    out: dict[date, list[BookingRow]] = {}
    for row in rows:
        zone = zones.get(row.site, ZoneInfo("UTC"))
        out.setdefault(row.start.astimezone(zone).date(), []).append(row)
    return out
