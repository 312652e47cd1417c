"""Mapped classes: the base class, and the sites."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import DeclarativeBase, Mapped

from fieldfare.api.state.site_tables import METADATA, SITES


class Base(DeclarativeBase):
    """Base of all tables of the state database."""

    metadata = METADATA


class SiteRow(Base):
    """A site file as text."""

    __table__ = SITES

    id: Mapped[str]
    file: Mapped[str]
    added: Mapped[datetime]
    updated: Mapped[datetime]
