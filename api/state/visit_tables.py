"""Tables of visits, calendar feeds, personal settings and the firm."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Boolean, Float, ForeignKey, Integer, LargeBinary, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from fieldfare.api.state.columns import Json, UtcTime
from fieldfare.api.state.people_tables import HASH, SITE
from fieldfare.api.state.tables import Base


class Booking(Base):
    """A visit to a home. `sequence` grows with each change, as in iCalendar (RFC 5545, 3.8.7.4)."""

    __tablename__ = "visits"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    site: Mapped[str] = mapped_column(SITE, ForeignKey("sites.id", ondelete="CASCADE"), index=True)
    start: Mapped[datetime] = mapped_column(UtcTime, index=True)
    minutes: Mapped[int] = mapped_column(Integer)
    person: Mapped[int | None] = mapped_column(ForeignKey("people.id", ondelete="SET NULL"), index=True)
    findings: Mapped[list[str]] = mapped_column(Json)
    note: Mapped[str] = mapped_column(Text, default="")
    state: Mapped[str] = mapped_column(String(16))
    sequence: Mapped[int] = mapped_column(Integer, default=0)
    created: Mapped[datetime] = mapped_column(UtcTime)
    created_by: Mapped[str] = mapped_column(String(254))
    changed: Mapped[datetime] = mapped_column(UtcTime)
    changed_by: Mapped[str] = mapped_column(String(254))


class CalendarFeed(Base):
    """Secret address of a person's calendar, stored as a hash."""

    __tablename__ = "calendar_feeds"

    person: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"), primary_key=True)
    hash: Mapped[str] = mapped_column(HASH, unique=True)
    with_contact: Mapped[bool] = mapped_column(Boolean)
    made: Mapped[datetime] = mapped_column(UtcTime)
    used: Mapped[datetime | None] = mapped_column(UtcTime)


class PersonSettings(Base):
    """A person's settings; without a row the firm's settings apply."""

    __tablename__ = "person_settings"

    person: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"), primary_key=True)
    channel: Mapped[str] = mapped_column(Text, default="")
    at_once: Mapped[list[str]] = mapped_column(Json)
    digest: Mapped[list[str]] = mapped_column(Json)
    quiet_from: Mapped[int | None] = mapped_column(Integer)
    quiet_to: Mapped[int | None] = mapped_column(Integer)
    units: Mapped[dict[str, str]] = mapped_column(Json)
    language: Mapped[str] = mapped_column(String(16), default="", server_default="")
    """Empty: as the browser asks, else the home's."""


class Firm(Base):
    """The firm as printed on papers: one row. Empty texts fall back to the environment."""

    __tablename__ = "firm"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str] = mapped_column(Text, default="")
    contact: Mapped[str] = mapped_column(Text, default="")
    latitude: Mapped[float | None] = mapped_column(Float)
    longitude: Mapped[float | None] = mapped_column(Float)
    logo: Mapped[bytes | None] = mapped_column(LargeBinary)
    logo_kind: Mapped[str] = mapped_column(String(32), default="")
    changed: Mapped[datetime] = mapped_column(UtcTime)
    changed_by: Mapped[str] = mapped_column(String(254))
