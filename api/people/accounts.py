"""User accounts: store, change and invite people."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import PEOPLE_ROLES
from fieldfare.api.people.passwords import check_strength, hash_password
from fieldfare.api.people.secrets import mark_of, new_secret
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import (
    Invitation,
    Person,
    PersonSite,
    SignedIn,
)
from fieldfare.api.state.tables import SiteRow

INVITED_FOR = timedelta(days=7)
FIRST_USER_FOR = timedelta(hours=24)
_EMAIL = re.compile(r"^[^@\s<>\"',;:\\]{1,64}@[^@\s<>\"',;:\\]{1,189}$")


class UnknownPerson(InputError):
    """No person has that id or e-mail."""


class AccountRefused(InputError):
    """An invitation or sign-in is invalid or expired."""


@dataclass(frozen=True)
class PersonRow:
    """Public data of a person, without secrets."""

    id: int
    email: str
    name: str
    role: str
    sites: tuple[str, ...]
    active: bool
    notices: bool
    has_password: bool
    created: datetime
    last_in: datetime | None


class Accounts:
    """People in the state database."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def all(self) -> list[PersonRow]:
        with self.database.read() as session:
            return [_row(session, p) for p in session.scalars(select(Person).order_by(Person.email))]

    def get(self, person_id: int) -> PersonRow:
        """Raises UnknownPerson."""
        with self.database.read() as session:
            return _row(session, _person(session, person_id))

    def find(self, email: str) -> PersonRow:
        """Raises UnknownPerson."""
        with self.database.read() as session:
            person = session.scalars(select(Person).where(Person.email == tidy_email(email))).first()
            if person is None:
                raise UnknownPerson(f"nobody here has the e-mail {email!r}")
            return _row(session, person)

    def add(self, email: str, name: str, role: str, sites: Iterable[str] = ()) -> PersonRow:
        """Add a person without a password; `invite` lets them set one. Raises InputError."""
        email, sites = tidy_email(email), sorted(set(sites))
        _check(name, role, sites)
        with self.database.write() as session:
            if session.scalars(select(Person.id).where(Person.email == email)).first():
                raise InputError(f"somebody with the e-mail {email} already has an account")
            person = Person(
                email=email, name=name.strip(), role=role, active=True, notices=True, created=_now()
            )
            session.add(person)
            session.flush()
            _set_sites(session, person.id, sites)
            return _row(session, person)

    def change(
        self,
        person_id: int,
        *,
        name: str | None = None,
        role: str | None = None,
        sites: Iterable[str] | None = None,
        active: bool | None = None,
        notices: bool | None = None,
    ) -> PersonRow:
        """Change the given fields; a changed role or site, or a stop, ends the person's sessions."""
        with self.database.write() as session:
            person = _person(session, person_id)
            before = _row(session, person)
            new_sites = list(before.sites) if sites is None else sorted(set(sites))
            _check(
                name or person.name,
                role or person.role,
                new_sites if (role or person.role) == "householder" else (),
            )
            person.name, person.role = (name or person.name).strip(), role or person.role
            person.active = person.active if active is None else active
            person.notices = person.notices if notices is None else notices
            _set_sites(session, person_id, new_sites if person.role == "householder" else [])
            session.flush()
            _keep_an_installer(session)
            after = _row(session, person)
            if (before.role, before.sites, before.active) != (after.role, after.sites, after.active):
                session.execute(delete(SignedIn).where(SignedIn.person == person_id))
            return after

    def remove(self, person_id: int) -> None:
        """Delete a person. Raises UnknownPerson; InputError if no installer would remain."""
        with self.database.write() as session:
            session.delete(_person(session, person_id))
            session.flush()
            _keep_an_installer(session)

    def invite(self, person_id: int) -> str:
        """Create a one-time secret to set a password; revokes older ones. Raises UnknownPerson."""
        with self.database.write() as session:
            _person(session, person_id)
            session.execute(delete(Invitation).where(Invitation.person == person_id))
            return _invitation(session, "password", person_id, INVITED_FOR)

    def first_user_secret(self) -> str | None:
        """Create a one-time secret for the first user; None if any user exists."""
        with self.database.write() as session:
            if session.scalars(select(Person.id).limit(1)).first():
                return None
            session.execute(delete(Invitation).where(Invitation.kind == "first"))
            return _invitation(session, "first", None, FIRST_USER_FOR)

    def make_first_user(self, secret: str, email: str, name: str, password: str) -> PersonRow:
        """Create the first installer. Raises AccountRefused for a bad secret, InputError for other errors."""
        email = tidy_email(email)
        check_strength(password, email)
        _check(name, "installer", ())
        with self.database.write() as session:
            _spend(session, secret, "first")
            if session.scalars(select(Person.id).limit(1)).first():
                raise AccountRefused("this address was used already")
            person = Person(email=email, name=name.strip(), role="installer", active=True, notices=True)
            person.created, person.password = _now(), hash_password(password)
            session.add(person)
            session.flush()
            return _row(session, person)

    def invited(self, secret: str) -> PersonRow | None:
        """The invited person, without spending the invitation; None if it is not valid."""
        with self.database.read() as session:
            row = session.get(Invitation, mark_of(secret))
            if row is None or row.kind != "password" or row.person is None or row.expires < _now():
                return None
            return _row(session, _person(session, row.person))

    def set_invited_password(self, secret: str, password: str) -> PersonRow:
        """Spend an invitation. Raises AccountRefused for a bad secret, InputError for a weak password."""
        with self.database.write() as session:
            person = _person(session, _spend(session, secret, "password") or 0)
            check_strength(password, person.email)
            self._set(session, person, password)
            return _row(session, person)

    def set_password(self, person_id: int, password: str) -> None:
        """Set a password and end the person's sessions. Raises UnknownPerson, InputError."""
        with self.database.write() as session:
            person = _person(session, person_id)
            check_strength(password, person.email)
            self._set(session, person, password)

    def _set(self, session: Session, person: Person, password: str) -> None:
        person.password = hash_password(password)
        session.execute(delete(SignedIn).where(SignedIn.person == person.id))


def tidy_email(email: str) -> str:
    """Normalise an e-mail address: lower case, trimmed. Raises InputError if invalid."""
    email = email.strip().lower()
    if not _EMAIL.match(email):
        raise InputError(f"{email[:80]!r} is not an e-mail address")
    return email


def _check(name: str, role: str, sites: Iterable[str]) -> None:
    if not 1 <= len(name.strip()) <= 120 or not name.isprintable():
        raise InputError("a name has 1 to 120 characters, on one line")
    if role not in PEOPLE_ROLES:
        raise InputError(f"unknown role {role!r}; use {', '.join(PEOPLE_ROLES)}")
    if sites and role != "householder":
        raise InputError("only a householder has sites; the firm's people see all")


def _set_sites(session: Session, person_id: int, sites: list[str]) -> None:
    known = set(session.scalars(select(SiteRow.id).where(SiteRow.id.in_(sites)))) if sites else set()
    if missing := [s for s in sites if s not in known]:
        raise InputError(f"unknown site {missing[0]!r}")
    session.execute(delete(PersonSite).where(PersonSite.person == person_id))
    session.add_all([PersonSite(person=person_id, site=s) for s in sites])


def _keep_an_installer(session: Session) -> None:
    chosen = select(Person.id).where(Person.role == "installer", Person.active)
    if session.scalars(chosen.limit(1)).first() is None:
        raise InputError("no installer would be left to let anybody in")


def _person(session: Session, person_id: int) -> Person:
    person = session.get(Person, person_id)
    if person is None:
        raise UnknownPerson(f"nobody here has the number {person_id}")
    return person


def _invitation(session: Session, kind: str, person: int | None, good_for: timedelta) -> str:
    secret = new_secret()
    session.add(Invitation(hash=mark_of(secret), kind=kind, person=person, expires=_now() + good_for))
    return secret


def _spend(session: Session, secret: str, kind: str) -> int | None:
    row = session.get(Invitation, mark_of(secret))
    if row is None or row.kind != kind or row.expires < _now():
        raise AccountRefused("this address is not valid, or no longer is; ask for a new one")
    session.delete(row)
    return row.person


def _row(session: Session, person: Person) -> PersonRow:
    chosen = select(PersonSite.site).where(PersonSite.person == person.id).order_by(PersonSite.site)
    return PersonRow(
        person.id,
        person.email,
        person.name,
        person.role,
        tuple(session.scalars(chosen)),
        person.active,
        person.notices,
        person.password is not None,
        person.created,
        person.last_in,
    )


def _now() -> datetime:
    return datetime.now(UTC)
