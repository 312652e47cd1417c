"""The firm's name, contact, logo and starting point of drives."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.settings import Settings
from fieldfare.api.people.access import Actor
from fieldfare.api.state.database import Database
from fieldfare.api.state.visit_tables import Firm

MOST_NAME, MOST_CONTACT = 120, 300
"""Characters."""
_ROW = 1


@dataclass(frozen=True)
class AboutFirm:
    """The firm's data for papers, pages and drives.

    position : latitude and longitude [degrees] of the yard, or None. logo : image, or empty
    """

    name: str
    contact: str
    position: tuple[float, float] | None
    logo: bytes
    logo_kind: str
    changed: datetime | None

    @property
    def signature(self) -> dict[str, str]:
        return {"name": self.name, "contact": self.contact}

    @property
    def logo_address(self) -> str:
        """The logo as a `data:` URL, for self-contained papers; empty without one."""
        if not self.logo:
            return ""
        return f"data:{self.logo_kind};base64,{base64.b64encode(self.logo).decode()}"

    @property
    def logo_path(self) -> str:
        """URL of the logo, with a hash of its content; empty without one."""
        return f"/firm/logo?v={hashlib.blake2b(self.logo, digest_size=6).hexdigest()}" if self.logo else ""


def about_firm(database: Database, settings: Settings) -> AboutFirm:
    """The firm's data as saved in the browser, completed from the environment."""
    with database.read() as session:
        row = session.get(Firm, _ROW)
    if row is None:
        return AboutFirm(settings.firm, settings.firm_contact, None, b"", "", None)
    position = None
    if row.latitude is not None and row.longitude is not None:
        position = (row.latitude, row.longitude)
    return AboutFirm(
        row.name or settings.firm,
        row.contact or settings.firm_contact,
        position,
        row.logo or b"",
        row.logo_kind,
        row.changed,
    )


def change_firm(
    database: Database, by: Actor, *, name: str, contact: str, position: tuple[float, float] | None
) -> None:
    """Save name, contact and position; the logo is unchanged. Raises InputError."""
    name, contact = " ".join(name.split()), " ".join(contact.split())
    if len(name) > MOST_NAME or len(contact) > MOST_CONTACT:
        raise InputError(f"a name has up to {MOST_NAME} characters, a contact up to {MOST_CONTACT}")
    if not (name + contact).isprintable():
        raise InputError("name and contact are plain text")
    if position is not None and not (abs(position[0]) <= 90 and abs(position[1]) <= 180):
        raise InputError("a latitude lies between -90 and 90, a longitude between -180 and 180")
    with database.write() as session:
        row = session.get(Firm, _ROW) or _new(by)
        row.name, row.contact = name, contact
        row.latitude, row.longitude = position or (None, None)
        row.changed, row.changed_by = datetime.now(UTC), by.name
        session.add(row)


def set_logo(database: Database, by: Actor, logo: bytes, kind: str) -> None:
    """Save a sanitised logo; empty removes it."""
    with database.write() as session:
        row = session.get(Firm, _ROW) or _new(by)
        row.logo, row.logo_kind = logo or None, kind if logo else ""
        row.changed, row.changed_by = datetime.now(UTC), by.name
        session.add(row)


def _new(by: Actor) -> Firm:
    return Firm(id=_ROW, name="", contact="", logo_kind="", changed=datetime.now(UTC), changed_by=by.name)
