"""Signing in and out: sessions, and a brake on guessing."""

from __future__ import annotations

import hashlib
import hmac
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network
from typing import cast

from itsdangerous import BadSignature, URLSafeTimedSerializer
from sqlalchemy import delete, func, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import OF_THE_FIRM, Actor, Role
from fieldfare.api.people.accounts import AccountRefused, tidy_email
from fieldfare.api.people.passwords import hash_password, is_password, needs_new_hash
from fieldfare.api.people.secrets import mark_of, new_secret
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import (
    FailedSignIn,
    HomeLink,
    Person,
    PersonSite,
    SignedIn,
)

IDLE_FOR = timedelta(hours=12)
LONGEST = timedelta(days=14)
LINK_LONGEST = timedelta(days=30)
FREE_TRIES, FREE_TRIES_OF_ADDRESS = 5, 30
"""Failed attempts before a wait is asked for: on one account, and from one address."""
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=15), timedelta(minutes=15)
FORGOTTEN_AFTER = timedelta(hours=24)


MOST_COUNTS = 50_000
UNKNOWN_ACCOUNTS = 512
DEVICE_LASTS_S = 365 * 86_400


class KnownDevices:
    """Signed marks of devices that somebody has signed in with."""

    def __init__(self, key: str) -> None:
        self._signer = (
            URLSafeTimedSerializer(key, salt="device", signer_kwargs={"digest_method": hashlib.sha256})
            if key
            else None
        )

    def make(self, person: int) -> str:
        """A new mark; empty without a key."""
        return str(self._signer.dumps([person, new_secret()])) if self._signer else ""

    def person(self, text: str) -> int | None:
        """Whose device it is; None for a mark that is forged or too old."""
        if self._signer is None:
            return None
        try:
            return int(self._signer.loads(text, max_age=DEVICE_LASTS_S)[0])
        except (BadSignature, ValueError, TypeError, LookupError):
            return None


class TooManyTries(InputError):
    """Signing in is braked; `.wait` is how long."""

    def __init__(self, wait: timedelta) -> None:
        self.wait = wait
        super().__init__(
            f"too many failed attempts; try again in {max(1, round(wait.total_seconds()))} seconds"
        )


@dataclass(frozen=True)
class LiveSession:
    """A live session: who, and the secret that unsafe requests must bring besides the cookie."""

    actor: Actor
    csrf: str
    key: str


class SignIn:
    """Sessions in the state database."""

    def __init__(self, database: Database, key: str = "") -> None:
        """key : signs device cookies; without it no device is known"""
        self._database = database
        self._devices = KnownDevices(key)

    def sign_in(self, email: str, password: str, address: str, device: str = "") -> str:
        """Check a password.

        device : the text of a device cookie, empty without one
        Returns the session's secret. Raises Refused or TooManyTries.

        Each try is counted before the password is checked, so that parallel tries brake like tries one after
        another. A device that this person signed in with before has a count of its own: guesses from
        elsewhere don't lock it out.
        Source: OWASP, Slow Down Online Guessing Attacks with Device Cookies.
        """
        now = _now()
        try:
            account = tidy_email(email)
        except InputError:
            account = ""
        with self._database.write() as session:
            person = session.scalars(select(Person).where(Person.email == account)).first()
            keys = self._counted(account, person, address, device)
            for key, free in keys.items():
                _count_try(session, key, free, now)
            kept = person.password if person and person.active else None
        if not is_password(kept, password[:1024]) or person is None:
            raise AccountRefused("e-mail or password is wrong")
        with self._database.write() as session:
            for key in keys:
                _forgive_try(session, key, entirely=key != _address_key(address))
            changed: dict[str, object] = {"last_in": now}
            if kept and needs_new_hash(kept):
                changed["password"] = hash_password(password)
            session.execute(update(Person).where(Person.id == person.id).values(changed))
            return _open(session, person.id, None, LONGEST)

    def _counted(self, account: str, person: Person | None, address: str, device: str) -> dict[str, int]:
        """The counts that a try adds to, each with its free tries."""
        if person is not None and device and self._devices.person(device) == person.id:
            return {_key("device", device): FREE_TRIES}
        # Accounts that don't exist share a fixed number of counts, or guesses could fill the table.
        name = account if person is not None else f"? {zlib.crc32(account.encode()) % UNKNOWN_ACCOUNTS}"
        return {_key("account", name): FREE_TRIES, _address_key(address): FREE_TRIES_OF_ADDRESS}

    def device_cookie(self, person: int) -> str:
        """Text for a cookie that marks a device as one this person has signed in with."""
        return self._devices.make(person)

    def open_for_person(self, person_id: int) -> str:
        """A session for somebody who has just shown who they are in another way."""
        with self._database.write() as session:
            return _open(session, person_id, None, LONGEST)

    def open_for_link(self, link_id: str) -> str:
        with self._database.write() as session:
            return _open(session, None, link_id, LINK_LONGEST)

    def visit(self, secret: str) -> LiveSession | None:
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
        return LiveSession(actor, row.csrf, row.hash)

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


def _address_key(address: str) -> str:
    """One count for an IPv4 address, or for the /64 network of an IPv6 address: a household has a whole
    one."""
    try:
        told = ip_address(address)
    except ValueError:
        return _key("address", address)
    if isinstance(told, IPv6Address):
        return _key("address", str(ip_network((told, 64), strict=False)))
    return _key("address", str(told))


def _count_try(session: Session, key: str, free: int, now: datetime) -> None:
    """Count a try. Raises TooManyTries, without counting, while the wait lasts."""
    row = session.get(FailedSignIn, key, with_for_update=True)
    if row is None:
        _make_room(session)
        row = FailedSignIn(key=key, count=0, last=now)
        try:
            with session.begin_nested():
                session.add(row)
        except IntegrityError:  # another try made it at the same moment
            row = session.get_one(FailedSignIn, key, with_for_update=True, populate_existing=True)
    if row.last + FORGOTTEN_AFTER < now:
        row.count = 0
    wait = row.last + wait_after(row.count, free) - now
    if wait > timedelta():
        raise TooManyTries(wait)
    row.count, row.last = row.count + 1, now


def _make_room(session: Session) -> None:
    """Remove the oldest counts where there are too many."""
    many = session.scalar(select(func.count()).select_from(FailedSignIn)) or 0
    if many >= MOST_COUNTS:
        oldest = select(FailedSignIn.key).order_by(FailedSignIn.last).limit(MOST_COUNTS // 10)
        session.execute(delete(FailedSignIn).where(FailedSignIn.key.in_(oldest)))


def _forgive_try(session: Session, key: str, *, entirely: bool) -> None:
    """Take back the count of a try that was right: all of an account's or device's, one of an address's."""
    row = session.get(FailedSignIn, key, with_for_update=True)
    if row is None:
        return
    if entirely or row.count <= 1:
        session.delete(row)
    else:
        row.count -= 1


def _now() -> datetime:
    return datetime.now(UTC)
