"""Sessions: open, list and end them, and store their pending challenges."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.secrets import mark_of, new_secret
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import SignedIn

LONGEST = timedelta(days=14)
LINK_LONGEST = timedelta(days=30)
IDLE_FOR = timedelta(hours=12)
PENDING_FOR = timedelta(minutes=5)
"""Between the password and the second factor."""
CONFIRMED_FOR = timedelta(minutes=15)
"""After this, people, links and deletion ask again who is there (OWASP ASVS 5.0, 7.5.3)."""
_SHOWN_ID = 16


@dataclass(frozen=True)
class Origin:
    """Where a sign-in comes from. address : of the client; device : `phone`, `computer` or `program`"""

    address: str = ""
    device: str = ""


@dataclass(frozen=True)
class SessionRow:
    """A session, as shown to its owner. id : identifier, not a credential"""

    id: str
    created: datetime
    seen: datetime
    address: str
    device: str
    way: str
    is_this: bool


class Sessions:
    """People's sessions in the state database. A key is the hash under which a session is kept."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_person(self, person: int, key: str = "") -> list[SessionRow]:
        """Live sessions, last used first. key : of the current session"""
        now = datetime.now(UTC)
        chosen = select(SignedIn).where(
            SignedIn.person == person,
            SignedIn.pending.is_(False),
            SignedIn.expires > now,
            SignedIn.seen > now - IDLE_FOR,
        )
        with self._database.read() as session:
            return [
                SessionRow(r.hash[:_SHOWN_ID], r.created, r.seen, r.address, r.device, r.way, r.hash == key)
                for r in session.scalars(chosen.order_by(SignedIn.seen.desc()))
            ]

    def end(self, person: int, session_id: str) -> None:
        """Raises InputError if the person has no such session."""
        chosen = (SignedIn.person == person, SignedIn.hash.startswith(session_id, autoescape=True))
        with self._database.write() as session:
            done = session.execute(delete(SignedIn).where(*chosen))
            if len(session_id) != _SHOWN_ID or not done.rowcount:  # type: ignore[attr-defined]
                raise InputError("this session has ended already")

    def end_others(self, person: int, key: str) -> int:
        """End all of a person's sessions but one. Returns how many ended."""
        chosen = (SignedIn.person == person, SignedIn.hash != key)
        with self._database.write() as session:
            done = session.execute(delete(SignedIn).where(*chosen))
            return int(done.rowcount)  # type: ignore[attr-defined]

    def confirm(self, key: str) -> str:
        """Renew a session after a confirmation; returns its new secret."""
        secret = new_secret()
        self._set(key, hash=mark_of(secret), proved=datetime.now(UTC))
        return secret

    def new_challenge(self, key: str) -> str:
        """Store a passkey challenge; replaces the session's earlier one."""
        challenge = new_secret()
        self._set(key, challenge=challenge)
        return challenge

    def take_challenge(self, key: str) -> str:
        """Return and consume the session's challenge. Raises InputError without one."""
        with self._database.write() as session:
            row = session.get(SignedIn, key, with_for_update=True)
            challenge = row.challenge if row is not None else None
            if row is None or challenge is None:
                raise InputError("this page is too old; load it again")
            row.challenge = None
        return challenge

    def keep_offer(self, key: str, sealed: str | None) -> None:
        """Keep an authenticator's encrypted secret until the person confirms it."""
        self._set(key, offer=sealed)

    def offer(self, key: str) -> str | None:
        with self._database.read() as session:
            row = session.get(SignedIn, key)
            return row.offer if row is not None else None

    def _set(self, key: str, **values: object) -> None:
        with self._database.write() as session:
            session.execute(update(SignedIn).where(SignedIn.hash == key).values(values))


def open_row(
    session: Session,
    person: int | None,
    link: str | None,
    longest: timedelta,
    *,
    origin: Origin | None = None,
    way: str = "password",
    pending: bool = False,
) -> str:
    """Add a session. Returns its secret."""
    secret, now, origin = new_secret(), datetime.now(UTC), origin or Origin()
    row = SignedIn(hash=mark_of(secret), person=person, link=link, csrf=new_secret(), created=now, seen=now)
    row.expires, row.way, row.pending = now + longest, way, pending
    row.address, row.device = origin.address[:64], origin.device[:120]
    row.proved = None if pending or link else now
    session.add(row)
    return secret


def device_of(agent: str) -> str:
    """Kind of device in a User-Agent header; nothing else of it is stored."""
    if not agent.startswith("Mozilla/"):
        return "program"
    return "phone" if "Mobi" in agent or "Android" in agent else "computer"
