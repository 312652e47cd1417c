"""Pages of advice: what to set at a home, and a cold snap ahead for the firm."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, File, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.api.core.advice import advice
from fieldfare.api.core.cold_snap import cold_snap
from fieldfare.api.core.forecast import (
    LEAST_PAUSE,
    NoForecast,
    fetch_forecast,
    kept_forecast,
    source_of,
    told_of,
)
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, PlantHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.screens import Csrf, reader, see_other, visitor, writer
from fieldfare.dashboards import pages

router = APIRouter()
MOST_BYTES = 1_000_000
"""Of a forecast; a month by the hour is a twentieth of it."""


@router.get("/sites/{site_id}/advice")
def what_to_set(plant: PlantHere, request: Request, parts: AppStateHere) -> Response:
    """Settings worth changing at one home."""
    actor = reader(request, "what_if.read", plant.site.id)
    row = page_rows.row_of(parts, plant, None)
    document: dict[str, Any] | None = None
    problem = ""
    try:
        document = advice(parts.service, plant, household=actor.role == "householder")
    except (InputError, NotAssessed) as error:
        problem = str(error)
    return HTMLResponse(pages.advice_page(row, document, problem, visitor(request)))


@router.get("/cold-snap")
def ask_cold_snap(request: Request, parts: AppStateHere) -> Response:
    """Every home in the forecast by address, where there is one, and the form for a file."""
    reader(request, "fleet.read")
    return _cold_snap_page(request, parts)


@router.post("/cold-snap")
def show_cold_snap(
    request: Request, parts: AppStateHere, file: Annotated[UploadFile, File()], csrf: Csrf = ""
) -> Response:
    """Every home in the forecast that is sent; nothing is kept."""
    writer(request, "fleet.read", csrf)
    name = (file.filename or "the file")[:80]
    try:
        text = file.file.read(MOST_BYTES + 1)
        if len(text) > MOST_BYTES:
            raise InputError(f"{name}: a forecast is of up to 1 MB")
        document = cold_snap(parts.service, text.decode("utf-8", "replace"), name)
    except InputError as error:
        return HTMLResponse(pages.cold_snap_page(None, str(error), visitor(request)), 422)
    return HTMLResponse(pages.cold_snap_page(document, "", visitor(request)))


@router.post("/cold-snap/fetch")
def fetch(request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Fetch the forecast by address now."""
    writer(request, "jobs.run", csrf)
    kept, now = kept_forecast(parts.service), datetime.now(UTC)
    if kept is None or now - kept.tried >= LEAST_PAUSE:
        try:
            fetch_forecast(parts.service, now)
        except NoForecast:
            return _cold_snap_page(request, parts, 502)
        except InputError as error:
            return _cold_snap_page(request, parts, 422, str(error))
    return see_other("/cold-snap")


def _cold_snap_page(request: Request, parts: AppState, status: int = 200, problem: str = "") -> Response:
    kept, source = kept_forecast(parts.service), ""
    if parts.settings.forecast_url:
        try:
            source = source_of(parts.settings)
        except InputError as error:
            problem = problem or str(error)
    document = told_of(kept) if kept is not None and kept.outlook is not None else None
    failed = kept.problem if kept is not None else ""
    page = pages.cold_snap_page(document, problem, visitor(request), source=source, failed=failed)
    return HTMLResponse(page, status)
