"""Tables of people, their credentials, and the audit trail."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, Boolean, ForeignKey, Integer, String, Text, UniqueConstraint, false
from sqlalchemy.orm import Mapped, mapped_column

from fieldfare.api.state.columns import Json, UtcTime
from fieldfare.api.state.tables import Base

HASH = String(64)
SITE = String(40)


class Person(Base):
    """A user. `sites` lists a householder's homes; the firm's people see every site."""

    __tablename__ = "people"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    email: Mapped[str] = mapped_column(String(254), unique=True)
    name: Mapped[str] = mapped_column(String(120))
    role: Mapped[str] = mapped_column(String(16))
    password: Mapped[str | None] = mapped_column(Text)
    active: Mapped[bool] = mapped_column(Boolean, default=True)
    notices: Mapped[bool] = mapped_column(Boolean, default=True)
    created: Mapped[datetime] = mapped_column(UtcTime)
    last_in: Mapped[datetime | None] = mapped_column(UtcTime)


class PersonSite(Base):
    """A home and one of its householders."""

    __tablename__ = "people_sites"

    person: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"), primary_key=True)
    site: Mapped[str] = mapped_column(SITE, ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True)


class SavedView(Base):
    """A saved fleet view: its name and address (filters and order)."""

    __tablename__ = "saved_views"
    __table_args__ = (UniqueConstraint("person", "name"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    person: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"))
    name: Mapped[str] = mapped_column(String(60))
    address: Mapped[str] = mapped_column(String(600))


class Invitation(Base):
    """A one-time address for the first user, a new person, or a new password."""

    __tablename__ = "invitations"

    hash: Mapped[str] = mapped_column(HASH, primary_key=True)
    kind: Mapped[str] = mapped_column(String(16))
    person: Mapped[int | None] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"))
    expires: Mapped[datetime] = mapped_column(UtcTime)


class SignedIn(Base):
    """A session of a person or of a home's link."""

    __tablename__ = "sessions"

    hash: Mapped[str] = mapped_column(HASH, primary_key=True)
    person: Mapped[int | None] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"))
    link: Mapped[str | None] = mapped_column(ForeignKey("home_links.id", ondelete="CASCADE"))
    csrf: Mapped[str] = mapped_column(String(64))
    created: Mapped[datetime] = mapped_column(UtcTime)
    seen: Mapped[datetime] = mapped_column(UtcTime)
    expires: Mapped[datetime] = mapped_column(UtcTime)
    address: Mapped[str] = mapped_column(String(64), default="", server_default="")
    device: Mapped[str] = mapped_column(String(120), default="", server_default="")
    way: Mapped[str] = mapped_column(String(16), default="password", server_default="password")
    """How the person showed who they are: password, totp, passkey, recovery, invitation or provider."""
    pending: Mapped[bool] = mapped_column(Boolean, default=False, server_default=false())
    """True between the password and the second factor: such a session opens nothing."""
    proved: Mapped[datetime | None] = mapped_column(UtcTime)
    """When the person last showed who they are."""
    challenge: Mapped[str | None] = mapped_column(String(128))
    offer: Mapped[str | None] = mapped_column(Text)
    """An authenticator's secret (encrypted) that the person has not confirmed yet."""


class SecondFactor(Base):
    """A person's second factor: an authenticator app (TOTP, RFC 6238) or a passkey (WebAuthn)."""

    __tablename__ = "factors"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    person: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(String(80))
    secret: Mapped[str] = mapped_column(Text)
    """totp: the shared secret, encrypted; passkey: the public key in base64url."""
    credential: Mapped[str | None] = mapped_column(String(1400), unique=True)
    counter: Mapped[int] = mapped_column(BigInteger, default=0)
    """totp: the last time step that was used; passkey: the authenticator's signature count."""
    created: Mapped[datetime] = mapped_column(UtcTime)
    used: Mapped[datetime | None] = mapped_column(UtcTime)


class RecoveryCode(Base):
    """A code that replaces a lost second factor once."""

    __tablename__ = "recovery_codes"

    hash: Mapped[str] = mapped_column(HASH, primary_key=True)
    person: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"), index=True)


class HomeLink(Base):
    """A signed link that shows one home to its householder without an account."""

    __tablename__ = "home_links"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    site: Mapped[str] = mapped_column(SITE, ForeignKey("sites.id", ondelete="CASCADE"))
    made_by: Mapped[str] = mapped_column(String(254))
    created: Mapped[datetime] = mapped_column(UtcTime)
    expires: Mapped[datetime] = mapped_column(UtcTime)
    revoked: Mapped[datetime | None] = mapped_column(UtcTime)


class DeviceToken(Base):
    """Token of a gateway or another program, for one purpose and optionally one site."""

    __tablename__ = "device_tokens"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    hash: Mapped[str] = mapped_column(HASH, unique=True)
    name: Mapped[str] = mapped_column(String(120))
    purpose: Mapped[str] = mapped_column(String(16))
    site: Mapped[str | None] = mapped_column(SITE, ForeignKey("sites.id", ondelete="CASCADE"))
    created: Mapped[datetime] = mapped_column(UtcTime)
    expires: Mapped[datetime] = mapped_column(UtcTime)
    used: Mapped[datetime | None] = mapped_column(UtcTime)
    revoked: Mapped[datetime | None] = mapped_column(UtcTime)


class FailedSignIn(Base):
    """Failed sign-ins, counted per account or address."""

    __tablename__ = "failed_sign_ins"

    key: Mapped[str] = mapped_column(HASH, primary_key=True)
    count: Mapped[int] = mapped_column(Integer)
    last: Mapped[datetime] = mapped_column(UtcTime)


class AuditEntry(Base):
    """One line of the audit trail."""

    __tablename__ = "audit"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    time: Mapped[datetime] = mapped_column(UtcTime, index=True)
    who: Mapped[str] = mapped_column(String(254))
    role: Mapped[str] = mapped_column(String(16))
    action: Mapped[str] = mapped_column(String(48))
    site: Mapped[str | None] = mapped_column(SITE, index=True)
    address: Mapped[str] = mapped_column(String(64))
    detail: Mapped[dict[str, Any]] = mapped_column(Json)


class Consent(Base):
    """A householder's yes or no to one use of the home's data; the newest per purpose counts."""

    __tablename__ = "consents"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    site: Mapped[str] = mapped_column(SITE, ForeignKey("sites.id", ondelete="CASCADE"), index=True)
    purpose: Mapped[str] = mapped_column(String(32))
    given: Mapped[bool] = mapped_column(Boolean)
    who: Mapped[str] = mapped_column(String(254))
    time: Mapped[datetime] = mapped_column(UtcTime)
    words: Mapped[str] = mapped_column(Text)
