"""Next and previous event of a home, as JSON for the trace."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Query, Request
from fastapi.responses import Response

from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.html.site_pages import reader
from fieldfare.api.http.routers import page_router
from fieldfare.dashboards import pages

router = page_router()


@router.get("/sites/{site_id}/figures/event.json")
def event(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    kind: Literal["run", "defrost", "reheat"],
    at: Annotated[int, Query(ge=0, le=2**42)],
    step: Literal["next", "previous"],
) -> Response:
    """The next or previous event relative to a moment [ms]; null if there is none."""
    reader(request, "site.read", record.site.id)
    first, last = parts.service.results.period(record, None, None)
    facts = parts.service.facts_cache.stored(record.site.id, first, last)
    return Response(
        pages.event_json(facts, record.site.zone, kind, at, 1 if step == "next" else -1),
        media_type="application/json",
    )
