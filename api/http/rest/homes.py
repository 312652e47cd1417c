"""A householder's rights over the home's data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fastapi import HTTPException, Request, Response
from fastapi.responses import FileResponse
from starlette.background import BackgroundTask

from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, need
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    ConsentIn,
    ConsentOut,
    EraseIn,
    HowMany,
    Offset,
    Page,
    page,
)
from fieldfare.api.people.access import Actor
from fieldfare.api.people.audit import AuditRow
from fieldfare.api.records.data_protection import consents, export_home, give_consent
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.records.retention import KEPT

router = rest_router("the householder's rights")


@router.get("/retention")
def read_retention() -> list[dict[str, Any]]:
    """Retention of each kind of data; null: as long as the home is managed."""
    return [asdict(kept) for kept in KEPT]


@router.get("/sites/{site_id}/consents")
def list_consents(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("home.consent")
) -> list[ConsentOut]:
    """List consents, newest first; the newest of each purpose applies."""
    return [ConsentOut.model_validate(row) for row in consents(parts.service, record.site.id)]


@router.post("/sites/{site_id}/consents", status_code=201)
def add_consent(
    body: ConsentIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("home.consent")
) -> ConsentOut:
    """Record consent or refusal."""
    row = give_consent(parts.service, record.site.id, body.purpose, body.given, actor)
    parts.audit.note(
        actor, "consent given" if body.given else "consent withdrawn", record.site.id, purpose=body.purpose
    )
    return ConsentOut.model_validate(row)


@router.get("/sites/{site_id}/accesses")
def list_accesses(
    request: Request,
    response: Response,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("home.export"),
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[AuditRow]:
    """Audit lines of this home: who viewed or changed it, newest first."""
    rows, total = parts.audit.page(offset, limit, record.site.id)
    return page(request, response, rows, total, offset, limit)


@router.get(
    "/sites/{site_id}/export",
    response_class=FileResponse,
    responses={200: {"content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}}}},
)
def read_export(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("home.export")
) -> FileResponse:
    """Everything about the home in open formats: TOML, CSV, JSON, in one archive."""
    path = export_home(parts.service, record)
    parts.audit.note(actor, "home exported", record.site.id)
    name = f"{record.site.id}.zip"
    return FileResponse(
        path, media_type="application/zip", filename=name, background=BackgroundTask(path.unlink)
    )


@router.post("/sites/{site_id}/erase", status_code=204, response_class=Response)
def erase(
    body: EraseIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("home.erase")
) -> None:
    """Erase the home permanently: readings, facts, alerts, papers, jobs. Backups are overwritten in
    rotation."""
    if body.confirm != record.site.id:
        raise HTTPException(409, "confirm must hold the site's id")
    erase_site(parts.service, record.site.id)
    parts.audit.note(actor, "home erased", record.site.id)
