"""Site files, intake of readings, and the list of sites."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Body, Request, Response

from fieldfare.api.core.site_rows import site_row, site_rows
from fieldfare.api.core.sites import admitted
from fieldfare.api.http.auth import (
    AppStateHere,
    SiteId,
    SiteRecordHere,
    need,
)
from fieldfare.api.http.live import newest_readings
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    HowMany,
    Offset,
    Page,
    SiteAdded,
    SiteFileIn,
    SiteOut,
    Stored,
    document,
    page,
)
from fieldfare.api.people.access import Actor
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.records.site_file_rights import file_for
from fieldfare.api.running.intake import take_senml

router = rest_router("sites")


@router.get("/sites")
def list_sites(
    request: Request,
    response: Response,
    parts: AppStateHere,
    actor: Actor = need("site.read"),
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[SiteOut]:
    """List the sites you may see."""
    visible = [site for site in parts.service.sites.ids() if actor.sees(site)]
    rows = site_rows(parts.service, parts.service.sites.some(visible[offset : offset + limit]))
    return page(request, response, rows, len(visible), offset, limit)


@router.post("/sites", status_code=201)
def add_site(body: SiteFileIn, parts: AppStateHere, actor: Actor = need("site.write")) -> SiteAdded:
    """Add a site by its file, or replace the file of a known one."""
    site = admitted(body.file)
    added = parts.service.sites.add([(body.file, site)])[0]
    parts.audit.note(actor, "site added" if added.is_new else "site changed", site.id)
    return SiteAdded(id=site.id, is_new=added.is_new, points=len(site.point))


@router.get("/sites/{site_id}")
def read_site(record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("site.read")) -> SiteOut:
    """Summary of one site."""
    return SiteOut.model_validate(site_row(parts.service, record))


@router.get(
    "/sites/{site_id}/file",
    response_class=Response,
    responses={200: {"content": {"application/toml": {"schema": {"type": "string"}}}}},
)
def read_file(site_id: SiteId, parts: AppStateHere, actor: Actor = need("site.read")) -> Response:
    """The stored site file; without contact data for home links."""
    return document(file_for(actor, site_id, parts.service.sites.file(site_id)), "application/toml")


@router.delete("/sites/{site_id}", status_code=204, response_class=Response)
def remove_site(site_id: SiteId, parts: AppStateHere, actor: Actor = need("site.delete")) -> None:
    """Delete a site and all its data."""
    erase_site(parts.service, site_id)
    parts.audit.note(actor, "site removed", site_id)


@router.post("/sites/{site_id}/readings", status_code=200)
def add_readings(
    site_id: SiteId,
    record: SiteRecordHere,
    parts: AppStateHere,
    pack: Annotated[
        list[dict[str, Any]],
        Body(
            max_length=50_000,
            description="A SenML pack (RFC 8428): `n` is a point's id.",
            openapi_examples={
                "two": {"value": [{"bt": 1767225600, "n": "flow", "v": 38.5}, {"n": "return", "v": 33.0}]}
            },
        ),
    ],
    actor: Actor = need("readings.write"),
) -> Stored:
    """Store a pack of readings: all, or none if a record is invalid. Idempotent."""
    return Stored.model_validate(take_senml(parts.service, record.site, pack))


@router.get("/sites/{site_id}/newest")
def newest(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("readings.read")
) -> dict[str, Any]:
    """The newest reading of every point."""
    return newest_readings(parts.service.store, record.site)
