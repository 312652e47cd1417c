"""Tables of the daily work: job runs, alerts, decisions, notices, jobs, papers."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import Date, ForeignKey, Integer, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fieldfare.api.state.columns import Json, UtcTime
from fieldfare.api.state.tables import Base


def _site(*, index: bool = True) -> Mapped[str]:
    return mapped_column(String(40), ForeignKey("sites.id", ondelete="CASCADE"), index=index)


class JobRun(Base):
    """One job run: kind, site (empty for the firm), and the date or hour it was due for."""

    __tablename__ = "job_runs"
    __table_args__ = (UniqueConstraint("kind", "site", "due"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    kind: Mapped[str] = mapped_column(String(16))
    site: Mapped[str] = mapped_column(String(40), default="")
    due: Mapped[str] = mapped_column(String(16))
    state: Mapped[str] = mapped_column(String(8))
    worker: Mapped[str] = mapped_column(String(80))
    attempts: Mapped[int] = mapped_column(Integer, default=1)
    started: Mapped[datetime] = mapped_column(UtcTime)
    beat: Mapped[datetime] = mapped_column(UtcTime)
    ended: Mapped[datetime | None] = mapped_column(UtcTime)
    told: Mapped[str] = mapped_column(Text, default="")


class Alert(Base):
    """Life cycle of one finding at one site."""

    __tablename__ = "alerts"
    __table_args__ = (UniqueConstraint("site", "code"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    site: Mapped[str] = _site()
    code: Mapped[str] = mapped_column(String(48))
    state: Mapped[str] = mapped_column(String(16), index=True)
    severity: Mapped[str] = mapped_column(String(8))
    headline: Mapped[str] = mapped_column(Text)
    finding: Mapped[dict[str, Any]] = mapped_column(Json)
    episode: Mapped[int] = mapped_column(Integer, default=0)
    seen_since: Mapped[datetime | None] = mapped_column(UtcTime)
    gone_since: Mapped[datetime | None] = mapped_column(UtcTime)
    opened: Mapped[datetime | None] = mapped_column(UtcTime)
    resolved: Mapped[datetime | None] = mapped_column(UtcTime)
    snoozed_until: Mapped[datetime | None] = mapped_column(UtcTime)
    changed: Mapped[datetime] = mapped_column(UtcTime)


class AlertEvent(Base):
    """An event of an alert, and its author."""

    __tablename__ = "alert_events"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    alert: Mapped[int] = mapped_column(ForeignKey("alerts.id", ondelete="CASCADE"), index=True)
    time: Mapped[datetime] = mapped_column(UtcTime)
    what: Mapped[str] = mapped_column(String(16))
    who: Mapped[str] = mapped_column(String(254))
    note: Mapped[str] = mapped_column(Text, default="")


class Handling(Base):
    """A decision about a finding. Valid until `ends`, or until the finding is worse than `severity`."""

    __tablename__ = "handlings"

    site: Mapped[str] = mapped_column(
        String(40), ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True
    )
    code: Mapped[str] = mapped_column(String(48), primary_key=True)
    state: Mapped[str] = mapped_column(String(16))
    severity: Mapped[str] = mapped_column(String(8))
    who: Mapped[str] = mapped_column(String(254))
    ends: Mapped[datetime | None] = mapped_column(UtcTime)
    reason: Mapped[str] = mapped_column(Text, default="")
    decided_by: Mapped[str] = mapped_column(String(254))
    decided: Mapped[datetime] = mapped_column(UtcTime)
    work: Mapped[int | None] = mapped_column(ForeignKey("works.id", ondelete="CASCADE"))


class Maintenance(Base):
    """A maintenance window of a site: no alerts open and no notices are sent."""

    __tablename__ = "maintenance"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    site: Mapped[str] = _site()
    start: Mapped[datetime] = mapped_column(UtcTime)
    end: Mapped[datetime] = mapped_column(UtcTime)
    reason: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(String(254))


class Notice(Base):
    """A message to one receiver. `key` is unique, so nothing is sent twice to one receiver."""

    __tablename__ = "notices"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    key: Mapped[str] = mapped_column(String(200), unique=True)
    kind: Mapped[str] = mapped_column(String(8))
    site: Mapped[str | None] = mapped_column(String(40), ForeignKey("sites.id", ondelete="CASCADE"))
    receiver: Mapped[str] = mapped_column(Text)
    subject: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(String(8), index=True)
    attempts: Mapped[int] = mapped_column(Integer, default=0)
    not_before: Mapped[datetime] = mapped_column(UtcTime)
    created: Mapped[datetime] = mapped_column(UtcTime)
    sent: Mapped[datetime | None] = mapped_column(UtcTime)
    error: Mapped[str] = mapped_column(Text, default="")


class Work(Base):
    """A job in the maintenance log."""

    __tablename__ = "works"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    site: Mapped[str] = _site()
    day: Mapped[date] = mapped_column(Date)
    what: Mapped[str] = mapped_column(Text)
    finding: Mapped[str | None] = mapped_column(String(48))
    """The first of `findings`, or the key of a sign-off or of a tuning step."""
    findings: Mapped[list[str] | None] = mapped_column(Json)
    parts: Mapped[str] = mapped_column(Text, default="", server_default="")
    minutes: Mapped[int | None] = mapped_column(Integer)
    who: Mapped[str] = mapped_column(String(254))
    created: Mapped[datetime] = mapped_column(UtcTime)
    changed: Mapped[datetime | None] = mapped_column(UtcTime)
    changed_by: Mapped[str | None] = mapped_column(String(254))


class StoredPaper(Base):
    """A stored paper: kind, period and contents."""

    __tablename__ = "papers"

    site: Mapped[str] = mapped_column(
        String(40), ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True
    )
    kind: Mapped[str] = mapped_column(String(16), primary_key=True)
    period: Mapped[str] = mapped_column(String(16), primary_key=True)
    made: Mapped[datetime] = mapped_column(UtcTime)
    contents: Mapped[dict[str, Any]] = mapped_column(Json)


class ForecastRow(Base):
    """The weather forecast of one address. owner : hash of the address, which may hold a key.

    text : as fetched, valid until `until`; outlook : of every home. problem : error of the last fetch, or
        empty
    """

    __tablename__ = "forecasts"

    owner: Mapped[str] = mapped_column(String(32), primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    tried: Mapped[datetime] = mapped_column(UtcTime)
    problem: Mapped[str] = mapped_column(Text, default="")
    fetched: Mapped[datetime | None] = mapped_column(UtcTime)
    until: Mapped[datetime | None] = mapped_column(UtcTime)
    text: Mapped[str] = mapped_column(Text, default="")
    outlook: Mapped[dict[str, Any] | None] = mapped_column(Json)
