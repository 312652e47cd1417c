"""Visits: the visit list, and bookings."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

from fastapi import Query
from pydantic import BaseModel, Field

from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, need
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    Code,
    Moment,
    Note,
    RowId,
    Shape,
)
from fieldfare.api.people.access import Actor
from fieldfare.api.visits.bookings import (
    LEAST_MINUTES,
    MOST_FINDINGS,
    MOST_MINUTES,
    BookingRequest,
    BookingRow,
)
from fieldfare.api.visits.rows import job_minutes, visit_rows
from fieldfare.dashboards.fleet.visits import visit_list

router = rest_router("visits")


class VisitIn(Shape):
    """A requested visit."""

    start: Moment = Field(examples=["2026-12-01T09:00:00Z"])
    minutes: Annotated[int, Field(ge=LEAST_MINUTES, le=MOST_MINUTES)]
    person: RowId | None = Field(
        None, description="Account number of the visitor; null while nobody is assigned."
    )
    findings: list[Code] = Field([], max_length=MOST_FINDINGS, description="Why.")
    note: Annotated[Note, Field(max_length=1000)] = ""
    even_so: bool = Field(False, description="Book it although the person is elsewhere at that time.")


class VisitOut(BaseModel):
    id: int
    site: str
    start: datetime
    minutes: int
    person: int | None
    who: str
    findings: list[str]
    note: str
    state: str = Field(description="booked or cancelled")


class VisitList(BaseModel):
    """Homes by needed action (drive, setting, call), visits by area in driving order."""

    kinds: list[dict[str, Any]]
    booked: list[VisitOut]


@router.get("/visits")
def list_visits(
    parts: AppStateHere,
    actor: Actor = need("visits.read"),
    days: Annotated[int, Query(ge=1, le=732, description="Booked visits of so many days to come.")] = 31,
) -> VisitList:
    """The visit list: which homes, why, how long, what to bring; with bookings."""
    now = page_rows.clock(parts)
    kinds = visit_list(
        visit_rows(parts), now, parts.service.firm.position, job_minutes(parts.service.database)
    )
    real = datetime.now(UTC)
    booked = parts.bookings.between(real - timedelta(hours=12), real + timedelta(days=days))
    return VisitList(kinds=kinds, booked=[_out(row) for row in booked])


@router.get("/sites/{site_id}/visits")
def visits_of_site(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("visits.read")
) -> list[VisitOut]:
    """List a home's visits, newest first, including cancelled ones."""
    return [_out(row) for row in parts.bookings.of_site(record.site.id)]


@router.post("/sites/{site_id}/visits", status_code=201)
def book_visit(
    body: VisitIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("visits.write")
) -> VisitOut:
    """Book a visit."""
    row = parts.bookings.book(record.site.id, _wish(body), actor, datetime.now(UTC), even_so=body.even_so)
    parts.audit.note(actor, "visit booked", record.site.id, visit=row.id)
    return _out(row)


@router.put("/sites/{site_id}/visits/{visit}")
def change_booked_visit(
    visit: RowId,
    body: VisitIn,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("visits.write"),
) -> VisitOut:
    """Change a visit, or book a cancelled one again."""
    row = parts.bookings.change(
        record.site.id, visit, _wish(body), actor, datetime.now(UTC), even_so=body.even_so
    )
    parts.audit.note(actor, "visit changed", record.site.id, visit=visit)
    return _out(row)


@router.delete("/sites/{site_id}/visits/{visit}")
def cancel_booked_visit(
    visit: RowId, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("visits.write")
) -> VisitOut:
    """Cancel a visit; it stays in the home's list, and calendars are updated."""
    row = parts.bookings.cancel(record.site.id, visit, actor, datetime.now(UTC))
    parts.audit.note(actor, "visit cancelled", record.site.id, visit=visit)
    return _out(row)


def _wish(body: VisitIn) -> BookingRequest:
    return BookingRequest(body.start, body.minutes, body.person, tuple(body.findings), body.note)


def _out(row: BookingRow) -> VisitOut:
    fields = asdict(row)
    return VisitOut(**{name: fields[name] for name in VisitOut.model_fields})
