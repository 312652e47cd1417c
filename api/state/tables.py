"""Tables of the plants and of what was worked out from their readings."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Boolean, Date, ForeignKey, LargeBinary, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from api.state.columns import UtcTime


class Base(DeclarativeBase):
    """Every table of the state database."""


def _site_key() -> Mapped[str]:
    return mapped_column(String(40), ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True)


class SiteRow(Base):
    """A site file as it was given."""

    __tablename__ = "sites"

    id: Mapped[str] = mapped_column(String(40), primary_key=True)
    file: Mapped[str] = mapped_column(Text)
    added: Mapped[datetime] = mapped_column(UtcTime)
    updated: Mapped[datetime] = mapped_column(UtcTime)


class FactDay(Base):
    """A local day whose facts are kept, and the fingerprint of what they were made from."""

    __tablename__ = "fact_days"

    site: Mapped[str] = _site_key()
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    fingerprint: Mapped[str] = mapped_column(String(32))


class FactChunk(Base):
    """One facts table of one site and month, packed as `fact_tables` does."""

    __tablename__ = "fact_chunks"

    site: Mapped[str] = _site_key()
    kind: Mapped[str] = mapped_column(String(16), primary_key=True)
    month: Mapped[str] = mapped_column(String(7), primary_key=True)
    payload: Mapped[bytes] = mapped_column(LargeBinary)


class KeptResult(Base):
    """A result that was worked out for a period, valid while its fingerprint holds. `rolling` marks those of the last
    year, as the nightly work makes them: the newest stands for the site in the fleet."""

    __tablename__ = "kept_results"

    site: Mapped[str] = _site_key()
    first: Mapped[date] = mapped_column(Date, primary_key=True)
    last: Mapped[date] = mapped_column(Date, primary_key=True)
    fingerprint: Mapped[str] = mapped_column(String(32))
    made: Mapped[datetime] = mapped_column(UtcTime)
    rolling: Mapped[bool] = mapped_column(Boolean, default=False)
    payload: Mapped[bytes] = mapped_column(LargeBinary)
