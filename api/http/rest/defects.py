"""A suspected defect of one home, as an archive for third parties."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query
from fastapi.responses import FileResponse
from starlette.background import BackgroundTask

from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, check, need
from fieldfare.api.http.rest.alerts import FindingCode
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import FromDay, ToDay
from fieldfare.api.people.access import Actor
from fieldfare.api.records.defect_pack import case_of, zipped

router = rest_router("results")


@router.get(
    "/sites/{site_id}/findings/{code}/pack",
    response_class=FileResponse,
    responses={200: {"content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}}}},
)
def read_defect_pack(
    code: FindingCode,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("defects.read"),
    first: FromDay = None,
    last: ToDay = None,
    contact: Annotated[
        bool, Query(description="With the home's contact data in its site file; default without.")
    ] = False,
) -> FileResponse:
    """Everything about one finding for somebody outside: a paper, raw readings, events, figures with
    intervals, what else could explain it, the site file, checksums, and a script that recomputes a figure.
    Default: the days of the current verdict."""
    if contact:
        check(actor, "contact.read", record.site.id)
    path = zipped(parts.service, case_of(parts.service, record, code, first, last), contact=contact)
    parts.audit.note(actor, "defect pack made", record.site.id, finding=code, contact=contact)
    name = f"{record.site.id}-{code}.zip"
    return FileResponse(
        path, media_type="application/zip", filename=name, background=BackgroundTask(path.unlink)
    )
