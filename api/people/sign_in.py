"""Sign-in and sign-out: password, second factor, and lookup of sessions."""

from __future__ import annotations

import hashlib
import hmac
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import cast

from itsdangerous import BadSignature, URLSafeTimedSerializer
from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import OF_THE_FIRM, Actor, Role
from fieldfare.api.people.accounts import AccountRefused, tidy_email
from fieldfare.api.people.passwords import hash_password, is_password, needs_new_hash
from fieldfare.api.people.secrets import mark_of, new_secret
from fieldfare.api.people.sessions import (
    CONFIRMED_FOR,
    IDLE_FOR,
    LINK_LONGEST,
    LONGEST,
    PENDING_FOR,
    Origin,
    open_row,
)
from fieldfare.api.people.throttle import (
    FORGOTTEN_AFTER,
    FREE_TRIES,
    FREE_TRIES_OF_ADDRESS,
    TooManyTries,
    address_key,
    count_key,
    count_tries,
    forgive_tries,
)
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import (
    FailedSignIn,
    HomeLink,
    Person,
    PersonSite,
    SecondFactor,
    SignedIn,
)

__all__ = ["KnownDevices", "LiveSession", "Opened", "SignIn", "TooManyTries", "same"]
UNKNOWN_ACCOUNTS = 512
DEVICE_LASTS_S = 365 * 86_400


class KnownDevices:
    """Signed device cookies, which mark browsers that a person has signed in with."""

    def __init__(self, key: str) -> None:
        self._signer = (
            URLSafeTimedSerializer(key, salt="device", signer_kwargs={"digest_method": hashlib.sha256})
            if key
            else None
        )

    def make(self, person: int) -> str:
        """A new device cookie; empty without a key."""
        return str(self._signer.dumps([person, new_secret()])) if self._signer else ""

    def person(self, text: str) -> int | None:
        """Person of a device cookie; None if it is forged or expired."""
        if self._signer is None:
            return None
        try:
            return int(self._signer.loads(text, max_age=DEVICE_LASTS_S)[0])
        except (BadSignature, ValueError, TypeError, LookupError):
            return None


@dataclass(frozen=True)
class LiveSession:
    """A live session: the person, and the CSRF token of unsafe requests.

    must_enrol : a second factor is required and the person has none
    """

    actor: Actor
    csrf: str
    key: str
    must_enrol: bool = False


@dataclass(frozen=True)
class Opened:
    """A session opened by a correct password. pending : it needs a second factor first"""

    secret: str
    person: int
    pending: bool


class SignIn:
    """Sessions in the state database."""

    def __init__(self, database: Database, key: str = "", *, require_factor: bool = False) -> None:
        """key : signs device cookies; without it no device is known
        require_factor : the firm's people need a second factor
        """
        self._database, self._require_factor = database, require_factor
        self._devices = KnownDevices(key)

    def check_password(self, email: str, password: str, address: str, device: str = "") -> int:
        """Check a password.

        device : the text of a device cookie, empty without one
        Returns the person's number. Raises AccountRefused or TooManyTries.

        Attempts are counted before the password is checked, so that parallel attempts are throttled like
        sequential ones. A device known for this person has its own count, so that guesses from elsewhere
        don't lock it out.
        Source: OWASP, Slow Down Online Guessing Attacks with Device Cookies.
        """
        try:
            account = tidy_email(email)
        except InputError:
            account = ""
        with self._database.write() as session:
            person = session.scalars(select(Person).where(Person.email == account)).first()
            keys = self._counted(account, person, address, device)
            count_tries(session, keys)
            stored_hash = person.password if person and person.active else None
        if not is_password(stored_hash, password[:1024]) or person is None:
            raise AccountRefused("e-mail or password is wrong")
        with self._database.write() as session:
            forgive_tries(session, keys, address)
            if stored_hash and needs_new_hash(stored_hash):
                changed = {"password": hash_password(password)}
                session.execute(update(Person).where(Person.id == person.id).values(changed))
        return person.id

    def sign_in(
        self, email: str, password: str, address: str, device: str = "", origin: Origin | None = None
    ) -> Opened:
        """Check a password and open a session, which is pending if the person has a second factor.

        Raises AccountRefused or TooManyTries.
        """
        person = self.check_password(email, password, address, device)
        origin = origin or Origin(address)
        with self._database.write() as session:
            pending = _has_factor(session, person)
            if not pending:
                _came_in(session, person)
            secret = open_row(
                session,
                person,
                None,
                PENDING_FOR if pending else LONGEST,
                origin=origin,
                pending=pending,
            )
        return Opened(secret, person, pending)

    def pending(self, secret: str) -> tuple[int, str] | None:
        """Person and key of a session that waits for its second factor; None for any other."""
        with self._database.read() as session:
            row = session.get(SignedIn, mark_of(secret))
            if row is None or not row.pending or row.expires < _now() or row.person is None:
                return None
            return row.person, row.hash

    def check_factor(self, person: int, check: Callable[[int], str], address: str, device: str = "") -> str:
        """Run a second-factor check with throttling. Returns its result, the method. Raises TooManyTries."""
        if device and self._devices.person(device) == person:
            keys = {count_key("factor device", device): FREE_TRIES}
        else:
            keys = {count_key("factor", str(person)): FREE_TRIES, address_key(address): FREE_TRIES_OF_ADDRESS}
        with self._database.write() as session:
            count_tries(session, keys)
        way = check(person)
        with self._database.write() as session:
            forgive_tries(session, keys, address)
        return way

    def complete(
        self, secret: str, check: Callable[[int], str], device: str = "", origin: Origin | None = None
    ) -> Opened:
        """End a pending session and open a full one in its place. Raises AccountRefused, TooManyTries."""
        waiting = self.pending(secret)
        if waiting is None:
            raise AccountRefused("too much time has passed; sign in again")
        person, key = waiting
        origin = origin or Origin()
        way = self.check_factor(person, check, origin.address, device)
        with self._database.write() as session:
            ended = session.execute(delete(SignedIn).where(SignedIn.hash == key))
            if not ended.rowcount:  # type: ignore[attr-defined]
                raise AccountRefused("too much time has passed; sign in again")
            _came_in(session, person)
            return Opened(open_row(session, person, None, LONGEST, origin=origin, way=way), person, False)

    def _counted(self, account: str, person: Person | None, address: str, device: str) -> dict[str, int]:
        """Throttle keys of an attempt, each with its number of free attempts."""
        if person is not None and device and self._devices.person(device) == person.id:
            return {count_key("device", device): FREE_TRIES}
        # Accounts that don't exist share a fixed number of counts, or guesses could fill the table.
        name = account if person is not None else f"? {zlib.crc32(account.encode()) % UNKNOWN_ACCOUNTS}"
        return {count_key("account", name): FREE_TRIES, address_key(address): FREE_TRIES_OF_ADDRESS}

    def device_cookie(self, person: int) -> str:
        """Value of a device cookie for this person."""
        return self._devices.make(person)

    def is_known_device(self, person: int, device: str) -> bool:
        """Whether the person has signed in with this device before. device : value of its cookie"""
        return bool(device) and self._devices.person(device) == person

    def open_for_person(self, person_id: int, origin: Origin | None = None, way: str = "invitation") -> str:
        """Open a session for a person authenticated in another way."""
        with self._database.write() as session:
            _came_in(session, person_id)
            return open_row(session, person_id, None, LONGEST, origin=origin, way=way)

    def open_for_link(self, link_id: str) -> str:
        with self._database.write() as session:
            return open_row(session, None, link_id, LINK_LONGEST, way="link")

    def live_session(self, secret: str) -> LiveSession | None:
        """The live session of a secret; None if it has ended or is pending."""
        now = _now()
        must_enrol = False
        with self._database.read() as session:
            row = session.get(SignedIn, mark_of(secret))
            if row is None or row.pending or row.expires < now:
                return None
            if row.seen + IDLE_FOR < now and row.link is None:
                return None
            actor = _person_actor(session, row.person) if row.person else _link_actor(session, row.link, now)
            if actor is not None and self._require_factor and row.way != "provider":
                must_enrol = _lacks_factor(session, actor)
        if actor is None:
            return None
        if row.seen + timedelta(minutes=5) < now:
            with self._database.write() as session:
                session.execute(update(SignedIn).where(SignedIn.hash == row.hash).values(seen=now))
        is_fresh = row.proved is not None and row.proved + CONFIRMED_FOR > now
        return LiveSession(replace(actor, is_fresh=is_fresh), row.csrf, row.hash, must_enrol)

    def sign_out(self, secret: str) -> None:
        with self._database.write() as session:
            session.execute(delete(SignedIn).where(SignedIn.hash == mark_of(secret)))

    def sweep(self) -> None:
        """Delete expired sessions."""
        now = _now()
        with self._database.write() as session:
            session.execute(delete(SignedIn).where(SignedIn.expires < now))
            session.execute(delete(FailedSignIn).where(FailedSignIn.last < now - FORGOTTEN_AFTER))


def same(a: str, b: str) -> bool:
    """Compare two secrets in constant time."""
    return hmac.compare_digest(a.encode(), b.encode())


def _came_in(session: Session, person: int) -> None:
    session.execute(update(Person).where(Person.id == person).values(last_in=_now()))


def _lacks_factor(session: Session, actor: Actor) -> bool:
    if actor.role not in OF_THE_FIRM:
        return False
    return not _has_factor(session, actor.person)


def _has_factor(session: Session, person: int | None) -> bool:
    chosen = select(SecondFactor.id).where(SecondFactor.person == person).limit(1)
    return session.scalars(chosen).first() is not None


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


def _now() -> datetime:
    return datetime.now(UTC)
