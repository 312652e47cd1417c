"""Page of a suspected defect, with the download of its pack."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.site_pages import reader, visitor
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.schemas import Code
from fieldfare.api.records.defect_pack import case_of
from fieldfare.dashboards import pages

router = page_router()


@router.get("/sites/{site_id}/findings/{code}/pack")
def defect(code: Code, record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the evidence for one finding in the requested days, with the download of its pack."""
    reader(request, "defects.read", record.site.id)
    query = {name: request.query_params.get(name, "") for name in ("from", "to")}
    row, contents, problem = page_rows.row_of(parts, record, None), None, ""
    try:
        days = page_rows.days_of(query)
        contents = case_of(parts.service, record, code, *days).contents
    except InputError as error:
        problem = str(error)
    page = pages.defect_page(row, code, contents, query, problem, visitor(request))
    return HTMLResponse(page, 200 if contents is not None else 422)
