"""Signing in and out: sessions, and a brake on guessing."""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import cast

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from analysis.errors import InputError
from api.people.access import OF_THE_FIRM, Actor, Role
from api.people.accounts import Refused, tidy_email
from api.people.passwords import hash_password, is_password, needs_new_hash
from api.people.secrets import mark_of, new_secret
from api.state.database import Database
from api.state.people_tables import FailedSignIn, HomeLink, Person, PersonSite, SignedIn

IDLE_FOR = timedelta(hours=12)
LONGEST = timedelta(days=14)
LINK_LONGEST = timedelta(days=30)
FREE_TRIES, FREE_TRIES_OF_ADDRESS = 5, 30
"""Failed attempts before a wait is asked for: on one account, and from one address."""
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=15), timedelta(minutes=15)
FORGOTTEN_AFTER = timedelta(hours=24)


class TooManyTries(InputError):
    """Signing in is braked; `.wait` is how long."""

    def __init__(self, wait: timedelta) -> None:
        self.wait = wait
        super().__init__(
            f"too many failed attempts; try again in {max(1, round(wait.total_seconds()))} seconds"
        )


@dataclass(frozen=True)
class Visit:
    """A live session: who, and the secret that unsafe requests must bring besides the cookie."""

    actor: Actor
    csrf: str
    key: str


class SignIn:
    """Sessions in the state database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def sign_in(self, email: str, password: str, address: str) -> str:
        """Check a password. Returns the session's secret. Raises Refused or TooManyTries."""
        now = _now()
        try:
            account = tidy_email(email)
        except InputError:
            account = "?"
        keys = {_key("account", account): FREE_TRIES, _key("address", address): FREE_TRIES_OF_ADDRESS}
        with self._database.write() as session:
            for key, free in keys.items():
                _brake(session, key, free, now)
            person = session.scalars(select(Person).where(Person.email == account)).first()
            kept = person.password if person and person.active else None
        good = is_password(kept, password[:1024])
        with self._database.write() as session:
            if person is None or not good:
                for key in keys:
                    _count_failure(session, key, now)
            else:
                session.execute(delete(FailedSignIn).where(FailedSignIn.key == _key("account", account)))
                changed: dict[str, object] = {"last_in": now}
                if kept and needs_new_hash(kept):
                    changed["password"] = hash_password(password)
                session.execute(update(Person).where(Person.id == person.id).values(changed))
                return _open(session, person.id, None, LONGEST)
        raise Refused("e-mail or password is wrong")

    def open_for_person(self, person_id: int) -> str:
        """A session for somebody who has just shown who they are in another way."""
        with self._database.write() as session:
            return _open(session, person_id, None, LONGEST)

    def open_for_link(self, link_id: str) -> str:
        with self._database.write() as session:
            return _open(session, None, link_id, LINK_LONGEST)

    def visit(self, secret: str) -> Visit | None:
        """Who a session's secret stands for; None where it has ended."""
        now = _now()
        with self._database.read() as session:
            row = session.get(SignedIn, mark_of(secret))
            if row is None or row.expires < now or (row.seen + IDLE_FOR < now and row.link is None):
                return None
            actor = _person_actor(session, row.person) if row.person else _link_actor(session, row.link, now)
        if actor is None:
            return None
        if row.seen + timedelta(minutes=5) < now:
            with self._database.write() as session:
                session.execute(update(SignedIn).where(SignedIn.hash == row.hash).values(seen=now))
        return Visit(actor, row.csrf, row.hash)

    def sign_out(self, secret: str) -> None:
        with self._database.write() as session:
            session.execute(delete(SignedIn).where(SignedIn.hash == mark_of(secret)))

    def sweep(self) -> None:
        """Forget what has ended."""
        now = _now()
        with self._database.write() as session:
            session.execute(delete(SignedIn).where(SignedIn.expires < now))
            session.execute(delete(FailedSignIn).where(FailedSignIn.last < now - FORGOTTEN_AFTER))


def same(a: str, b: str) -> bool:
    """Compare two secrets without telling by the time it takes where they differ."""
    return hmac.compare_digest(a.encode(), b.encode())


def wait_after(failures: int, free: int) -> timedelta:
    """How long to wait after so many failures: nothing for the first few, then doubling."""
    if failures < free:
        return timedelta()
    return min(FIRST_WAIT * 2 ** min(failures - free, 10), LONGEST_WAIT)


def _open(session: Session, person: int | None, link: str | None, longest: timedelta) -> str:
    secret, now = new_secret(), _now()
    session.add(
        SignedIn(
            hash=mark_of(secret),
            person=person,
            link=link,
            csrf=new_secret(),
            created=now,
            seen=now,
            expires=now + longest,
        )
    )
    return secret


def _person_actor(session: Session, person_id: int) -> Actor | None:
    person = session.get(Person, person_id)
    if person is None or not person.active:
        return None
    sites = None
    if person.role not in OF_THE_FIRM:
        sites = frozenset(session.scalars(select(PersonSite.site).where(PersonSite.person == person_id)))
    return Actor(person.email, cast(Role, person.role), sites, person.id)


def _link_actor(session: Session, link_id: str | None, now: datetime) -> Actor | None:
    link = session.get(HomeLink, link_id)
    if link is None or link.revoked is not None or link.expires < now:
        return None
    return Actor(f"link {link.id}", "householder", frozenset({link.site}), by_link=True)


def _key(kind: str, value: str) -> str:
    return mark_of(f"{kind}:{value}")


def _brake(session: Session, key: str, free: int, now: datetime) -> None:
    row = session.get(FailedSignIn, key)
    if row is None:
        return
    if row.last + FORGOTTEN_AFTER < now:
        session.delete(row)
        return
    wait = row.last + wait_after(row.count, free) - now
    if wait > timedelta():
        raise TooManyTries(wait)


def _count_failure(session: Session, key: str, now: datetime) -> None:
    row = session.get(FailedSignIn, key)
    if row is None:
        session.add(FailedSignIn(key=key, count=1, last=now))
    else:
        row.count, row.last = row.count + 1, now


def _now() -> datetime:
    return datetime.now(UTC)
