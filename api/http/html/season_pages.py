"""Pages of a home's first season: commissioned against today, the tuning diary;
and the firm's design table."""

from __future__ import annotations

import math
from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.reports.checklists import number_of
from fieldfare.api.core.commissioned import commissioned
from fieldfare.api.core.fleet_rows import fleet_feedback
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.core.tuning import log_step, tuning
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import typed_day
from fieldfare.api.http.html.site_pages import Csrf, reader, see_other, visitor, writer
from fieldfare.api.http.routers import page_router
from fieldfare.api.people.access import OF_THE_FIRM
from fieldfare.api.records.tuning_log import checked_step
from fieldfare.dashboards import pages

router = page_router()
Short = Annotated[str, Form(max_length=40)]
Values = Annotated[list[str], Form()]


@router.get("/learning/design.csv")
def design_table(request: Request, parts: AppStateHere) -> Response:
    """Measured over designed values by type and age of home, as CSV for a design calculation."""
    from fieldfare.api.core.design_csv import design_csv

    reader(request, "fleet.read")
    headers = {"Content-Disposition": 'attachment; filename="design-feedback.csv"'}
    body = design_csv(fleet_feedback(parts.service)["by_building"])
    return Response(body, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/sites/{site_id}/commissioned")
def show_commissioned(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Compare the commissioning values with today's."""
    actor = reader(request, "works.read", record.site.id)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{record.site.id}/home")
    document: dict[str, Any] | None = None
    problem = ""
    try:
        document = commissioned(parts.service, record)
    except (InputError, NotAssessed) as error:
        problem = str(error)
    row = page_rows.row_of(parts, record, None)
    return HTMLResponse(pages.commissioned_page(row, document, problem, visitor(request)))


@router.get("/sites/{site_id}/tuning")
def show_tuning(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the season's tuning diary; a household's step is on its page of settings."""
    actor = reader(request, "works.read", record.site.id)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{record.site.id}/advice")
    return _diary(request, parts, record)


@router.post("/sites/{site_id}/tuning")
def log_tuning(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    code: Short = "",
    day: Short = "",
    before: Values = [],  # noqa: B006 (FastAPI copies it)
    after: Values = [],  # noqa: B006
) -> Response:
    """Log a tuning step."""
    actor = writer(request, "works.write", csrf, record.site.id)
    try:
        made = typed_day(day)
        if made is None:
            raise InputError(f"{day[:20]!r} is not a day; write one such as 2026-01-31")
        step = checked_step(made, code, _numbers(before), _numbers(after))
        row = log_step(parts.works, record.site, step, actor)
    except InputError as error:
        typed = {f"before{n}": v for n, v in enumerate(before)} | {
            f"after{n}": v for n, v in enumerate(after)
        }
        return _diary(request, parts, record, typed | {"day": day}, str(error))
    parts.audit.note(actor, "tuning step logged", record.site.id, work=row.id)
    return see_other(f"/sites/{record.site.id}/tuning")


def _diary(
    request: Request,
    parts: AppState,
    record: SiteRecord,
    typed: dict[str, str] | None = None,
    refused: str = "",
) -> Response:
    document: dict[str, Any] | None = None
    problem = ""
    try:
        document = tuning(parts.service, record)
    except (InputError, NotAssessed) as error:
        problem = str(error)
    row = page_rows.row_of(parts, record, None)
    today = page_rows.clock(parts).astimezone(record.site.zone).date().isoformat()
    page = pages.tuning_page(row, document, problem, visitor(request), today, typed, refused)
    return HTMLResponse(page, 422 if refused else 200)


def _numbers(texts: list[str]) -> list[float]:
    values = [number_of(text) for text in texts[:4]]
    if any(value is None or not math.isfinite(value) for value in values):
        raise InputError("give each value as a number such as 46.5")
    return [value for value in values if value is not None]
