"""A person's visits as a calendar feed (RFC 5545), behind a secret address that can be renewed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from icalendar import Calendar, Event, vText
from sqlalchemy import delete, select, update

from fieldfare.analysis.plain_text import plain_line, plain_text
from fieldfare.api.people.access import OF_THE_FIRM
from fieldfare.api.people.secrets import mark_of, new_secret
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import Person
from fieldfare.api.state.visit_tables import CalendarFeed
from fieldfare.api.visits.bookings import FURTHEST, BookingRow, Bookings
from fieldfare.dashboards.text import words

PAST = timedelta(days=31)
"""Visits that are over, and cancelled ones, stay in the calendar so long."""
ASKED_AGAIN = timedelta(hours=1)


@dataclass(frozen=True)
class FeedRow:
    """Public data of a feed, without its secret."""

    person: int
    with_contact: bool
    made: datetime
    used: datetime | None


class Feeds:
    """Secret calendar addresses. A program that knows one can read that person's visits only."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def renew(self, person: int, *, with_contact: bool) -> str:
        """Create a new secret, which revokes the old address. Returns the secret; only its hash is stored."""
        secret = new_secret()
        with self._database.write() as session:
            session.execute(delete(CalendarFeed).where(CalendarFeed.person == person))
            session.add(
                CalendarFeed(
                    person=person,
                    hash=mark_of(secret),
                    with_contact=with_contact,
                    made=datetime.now(UTC),
                    used=None,
                )
            )
        return secret

    def end(self, person: int) -> None:
        with self._database.write() as session:
            session.execute(delete(CalendarFeed).where(CalendarFeed.person == person))

    def of_person(self, person: int) -> FeedRow | None:
        with self._database.read() as session:
            row = session.get(CalendarFeed, person)
            return FeedRow(row.person, row.with_contact, row.made, row.used) if row else None

    def open(self, secret: str) -> tuple[FeedRow, str] | None:
        """The feed of a secret and its person's name; None if it is revoked or the person is not active."""
        with self._database.read() as session:
            row = session.scalars(select(CalendarFeed).where(CalendarFeed.hash == mark_of(secret))).first()
            person = session.get(Person, row.person) if row else None
        if row is None or person is None or not person.active or person.role not in OF_THE_FIRM:
            return None
        now = datetime.now(UTC)
        if row.used is None or row.used < now - ASKED_AGAIN:
            with self._database.write() as session:
                session.execute(update(CalendarFeed).where(CalendarFeed.hash == row.hash).values(used=now))
        return FeedRow(row.person, row.with_contact, row.made, row.used), person.name


def visits_of(database: Database, person: int, now: datetime) -> list[BookingRow]:
    """Visits in a person's calendar, including cancelled ones."""
    return Bookings(database).between(now - PAST, now + FURTHEST, person=person, cancelled=True)


def calendar(
    visits: Iterable[BookingRow],
    homes: Mapping[str, Mapping[str, Any]],
    name: str,
    address: str,
    *,
    with_contact: bool,
) -> bytes:
    """A calendar of visits.

    homes : site -> name, and contact and position where known. name : of the person. address : of the service
    with_contact : include address, telephone number and position; otherwise only the home's name and page
    """
    made = Calendar()
    made.add("prodid", "-//fieldfare//visits//EN")
    made.add("version", "2.0")
    for key in ("name", "x-wr-calname"):  # RFC 7986, and the form that older programs read
        made.add(key, plain_line(f"Visits, {name}"))
    made.add("refresh-interval", ASKED_AGAIN, parameters={"value": "DURATION"})
    for visit in visits:
        made.add_component(_event(visit, homes.get(visit.site, {"name": visit.site}), address, with_contact))
    return made.to_ical()


def _event(visit: BookingRow, home: Mapping[str, Any], address: str, with_contact: bool) -> Event:
    page = f"{address}/sites/{visit.site}"
    event = Event()
    event.add("uid", f"{visit.uid}@fieldfare")
    event.add("dtstamp", visit.changed)
    event.add("created", visit.created)
    event.add("last-modified", visit.changed)
    event.add("sequence", visit.sequence)
    event.add("dtstart", visit.start)
    event.add("dtend", visit.end)
    event.add("summary", plain_line(f"Visit: {home['name']}"))
    event.add("status", "CANCELLED" if visit.state == "cancelled" else "CONFIRMED")
    event.add("class", "PRIVATE")
    event.add("url", page)
    lines = [words.finding_title(code) for code in visit.findings]
    contact = home.get("contact") if with_contact else None
    if contact is not None:
        lines += [visit.note, *_contact_lines(contact)]
        if contact.address:
            event["location"] = vText(plain_line(contact.address))
        if home.get("position"):
            event.add("geo", home["position"])
    event.add("description", plain_text("\n".join(line for line in [*lines, page] if line)))
    return event


def _contact_lines(contact: Any) -> list[str]:
    lines = (contact.name, contact.phone, contact.access_notes)
    return [str(line) for line in lines if line]
