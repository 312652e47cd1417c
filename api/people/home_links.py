"""Signed links for householders without an account; they expire and can be revoked."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from itsdangerous import BadSignature, URLSafeSerializer
from sqlalchemy import select

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.secrets import new_id
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import HomeLink

LONGEST_DAYS = 366


@dataclass(frozen=True)
class LinkRow:
    id: str
    site: str
    made_by: str
    created: datetime
    expires: datetime
    revoked: datetime | None


class HomeLinks:
    """Links in the state database; the address carries only a signed id."""

    def __init__(self, database: Database, key: str) -> None:
        self._database = database
        self._signer = URLSafeSerializer(
            key, salt="home link", signer_kwargs={"digest_method": hashlib.sha256}
        )

    def make(self, site: str, days: int, made_by: str) -> tuple[LinkRow, str]:
        """Create a link. Return it and the text of its address. Raises InputError."""
        if not 1 <= days <= LONGEST_DAYS:
            raise InputError(f"a link is good for 1 to {LONGEST_DAYS} days")
        now = datetime.now(UTC)
        row = HomeLink(
            id=new_id(), site=site, made_by=made_by, created=now, expires=now + timedelta(days=days)
        )
        with self._database.write() as session:
            session.add(row)
        return _row(row), str(self._signer.dumps(row.id))

    def open(self, text: str) -> LinkRow:
        """The link of an address. Raises AccountRefused if it is forged, expired or revoked."""
        try:
            link_id = self._signer.loads(text)
        except BadSignature:
            raise AccountRefused("this link is not good; ask for a new one") from None
        with self._database.read() as session:
            row = session.get(HomeLink, str(link_id))
        if row is None or row.revoked is not None or row.expires < datetime.now(UTC):
            raise AccountRefused("this link has ended; ask for a new one")
        return _row(row)

    def of_site(self, site: str) -> list[LinkRow]:
        with self._database.read() as session:
            chosen = select(HomeLink).where(HomeLink.site == site).order_by(HomeLink.created.desc())
            return [_row(row) for row in session.scalars(chosen)]

    def revoke(self, site: str, link_id: str) -> LinkRow:
        """Revoke a link. Raises InputError if the site has no such link."""
        with self._database.write() as session:
            row = session.get(HomeLink, link_id)
            if row is None or row.site != site:
                raise InputError(f"{site} has no link {link_id!r}")
            row.revoked = row.revoked or datetime.now(UTC)
        return _row(row)


def _row(row: HomeLink) -> LinkRow:
    return LinkRow(row.id, row.site, row.made_by, row.created, row.expires, row.revoked)
