"""Tokens of gateways and of programs that read the metrics."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import select, update

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.access import DEVICE_PURPOSES, Actor
from fieldfare.api.people.secrets import mark_of, new_id, new_secret
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import DeviceToken

LONGEST_DAYS = 3660


@dataclass(frozen=True)
class TokenRow:
    id: str
    name: str
    purpose: str
    site: str | None
    created: datetime
    expires: datetime
    used: datetime | None
    revoked: datetime | None


class DeviceTokens:
    """Tokens in the state database; only their hashes are stored."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def make(self, name: str, purpose: str, site: str | None, days: int) -> tuple[TokenRow, str]:
        """Create a token. Return its row and the secret, which is shown only once. Raises InputError."""
        if purpose not in DEVICE_PURPOSES:
            raise InputError(f"unknown purpose {purpose!r}; use {', '.join(DEVICE_PURPOSES)}")
        if purpose == "readings" and site is None:
            raise InputError("a token for readings names its site")
        if not 1 <= days <= LONGEST_DAYS:
            raise InputError(f"a token is good for 1 to {LONGEST_DAYS} days")
        secret, now = new_secret(), datetime.now(UTC)
        row = DeviceToken(
            id=new_id(), hash=mark_of(secret), name=name, purpose=purpose, site=site, created=now
        )
        row.expires = now + timedelta(days=days)
        with self._database.write() as session:
            session.add(row)
        return _row(row), secret

    def actor(self, secret: str) -> Actor | None:
        """The actor of a token; None if it is unknown, expired or revoked."""
        now = datetime.now(UTC)
        with self._database.read() as session:
            row = session.scalars(select(DeviceToken).where(DeviceToken.hash == mark_of(secret))).first()
        if row is None or row.revoked is not None or row.expires < now:
            return None
        if row.used is None or row.used + timedelta(hours=1) < now:
            with self._database.write() as session:
                session.execute(update(DeviceToken).where(DeviceToken.id == row.id).values(used=now))
        sites = frozenset({row.site}) if row.site else frozenset()
        return Actor(f"token {row.id} ({row.name})", "device", sites, purpose=row.purpose)

    def all(self) -> list[TokenRow]:
        with self._database.read() as session:
            return [
                _row(r) for r in session.scalars(select(DeviceToken).order_by(DeviceToken.created.desc()))
            ]

    def revoke(self, token_id: str) -> TokenRow:
        """Revoke a token. Raises InputError for an unknown one."""
        with self._database.write() as session:
            row = session.get(DeviceToken, token_id)
            if row is None:
                raise InputError(f"there is no token {token_id!r}")
            row.revoked = row.revoked or datetime.now(UTC)
        return _row(row)


def _row(row: DeviceToken) -> TokenRow:
    return TokenRow(row.id, row.name, row.purpose, row.site, row.created, row.expires, row.used, row.revoked)
