"""The maintenance log and papers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import Path, Query, Request, Response

from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, need
from fieldfare.api.http.job_actions import change_job, remove_job
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    EffectOut,
    HowMany,
    Offset,
    Page,
    RowId,
    WorkIn,
    page,
)
from fieldfare.api.people.access import Actor
from fieldfare.api.records.maintenance_log import Job, WorkRow
from fieldfare.api.records.papers import (
    PaperRow,
    paper_for,
    rendered,
    stored_papers,
)

router = rest_router("works and papers")


@router.get("/sites/{site_id}/works")
def list_works(
    request: Request,
    response: Response,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("works.read"),
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[WorkRow]:
    """List the jobs at a site, newest first."""
    rows, total = parts.works.page(record.site.id, offset, limit)
    return page(request, response, rows, total, offset, limit)


@router.post("/sites/{site_id}/works", status_code=201)
def add_work(
    body: WorkIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.write")
) -> WorkRow:
    """Log a job. Closes the findings it names; those still present after a fortnight reopen."""
    row = parts.works.add(record.site.id, _job(body), actor)
    parts.audit.note(actor, "work entered", record.site.id, work=row.id)
    return row


@router.put("/sites/{site_id}/works/{work}")
def change_work(
    work: RowId, body: WorkIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.write")
) -> WorkRow:
    """Correct a job. The audit trail keeps its earlier text."""
    return change_job(parts, record.site.id, work, _job(body), actor)


@router.delete("/sites/{site_id}/works/{work}", status_code=204, response_class=Response)
def remove_work(
    work: RowId, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.write")
) -> None:
    """Delete a job. The audit trail keeps its text; findings that it closed reopen."""
    remove_job(parts, record.site.id, work, actor)


def _job(body: WorkIn) -> Job:
    named = dict.fromkeys([*([body.finding] if body.finding else []), *body.findings])
    return Job(body.day, body.what, tuple(named), body.parts, body.minutes)


@router.get("/sites/{site_id}/works/{work}/effect")
def read_effect(
    work: RowId, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.read")
) -> EffectOut:
    """Effect of a job at comparable weather, with its interval, and whether the findings are gone."""
    return EffectOut.model_validate(parts.works.effect(record, parts.works.get(record.site.id, work)))


@router.get("/sites/{site_id}/papers")
def list_papers(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("papers.read")
) -> list[PaperRow]:
    """List stored papers, newest first."""
    return stored_papers(parts.service, record.site.id)


@router.get(
    "/sites/{site_id}/papers/{kind}/{period}",
    response_class=Response,
    responses={
        200: {
            "content": {
                "application/json": {"schema": {"type": "object"}},
                "text/html": {"schema": {"type": "string"}},
                "application/pdf": {"schema": {"type": "string", "format": "binary"}},
            }
        }
    },
)
def read_paper(
    kind: Literal["month", "winter", "hand-over", "service", "commissioning"],
    period: Annotated[str, Path(pattern=r"^(\d{4}-\d{2}|\d{4}|first)$", examples=["2026-01"])],
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    actor: Actor = need("papers.read"),
    form: Annotated[Literal["json", "html", "pdf"], Query()] = "html",
) -> Any:
    """A paper: month `2026-01`, winter check or service `2026`, hand-over or commissioning `first`."""
    accepts = request.headers.get("accept-language", "")
    return rendered(paper_for(parts.service, record, kind, period), form, accepts=accepts)
