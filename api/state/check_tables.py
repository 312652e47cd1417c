"""Tables of manual checks and photos."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Integer, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fieldfare.api.state.columns import Json, UtcTime
from fieldfare.api.state.tables import Base


class CheckSheet(Base):
    """A check of a home: winter, annual service or commissioning. Signed while it has a job."""

    __tablename__ = "check_sheets"
    __table_args__ = (UniqueConstraint("site", "kind", "period"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    site: Mapped[str] = mapped_column(String(40), ForeignKey("sites.id", ondelete="CASCADE"))
    kind: Mapped[str] = mapped_column(String(16))
    period: Mapped[str] = mapped_column(String(8))
    created: Mapped[datetime] = mapped_column(UtcTime)
    work: Mapped[int | None] = mapped_column(ForeignKey("works.id", ondelete="SET NULL"))
    signed: Mapped[datetime | None] = mapped_column(UtcTime)
    items: Mapped[list[dict[str, Any]] | None] = mapped_column(Json)
    """The items as signed; None before."""


class CheckChange(Base):
    """One field of an item as filled in. The last change counts; the others are its history."""

    __tablename__ = "check_changes"

    seq: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(36), unique=True)
    """Created on the device, so that a change sent twice is stored once."""
    sheet: Mapped[int] = mapped_column(ForeignKey("check_sheets.id", ondelete="CASCADE"), index=True)
    item: Mapped[str] = mapped_column(String(32))
    field: Mapped[str] = mapped_column(String(40))
    value: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(String(254))
    typed: Mapped[datetime] = mapped_column(UtcTime)
    received: Mapped[datetime] = mapped_column(UtcTime)


class Photo(Base):
    """A photo of a check item or a job. The image is a file in the data folder."""

    __tablename__ = "photos"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    site: Mapped[str] = mapped_column(String(40), ForeignKey("sites.id", ondelete="CASCADE"), index=True)
    sheet: Mapped[int | None] = mapped_column(ForeignKey("check_sheets.id", ondelete="CASCADE"), index=True)
    item: Mapped[str] = mapped_column(String(32), default="")
    work: Mapped[int | None] = mapped_column(ForeignKey("works.id", ondelete="CASCADE"), index=True)
    width: Mapped[int] = mapped_column(Integer)
    height: Mapped[int] = mapped_column(Integer)
    size: Mapped[int] = mapped_column(Integer)
    digest: Mapped[str] = mapped_column(String(64))
    small_digest: Mapped[str] = mapped_column(String(64))
    who: Mapped[str] = mapped_column(String(254))
    taken: Mapped[datetime] = mapped_column(UtcTime)
    added: Mapped[datetime] = mapped_column(UtcTime)
