"""Pages of advice: what to set at a home, and a cold snap ahead for the firm."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.api.core.advice import advice
from fieldfare.api.core.cold_snap import cold_snap
from fieldfare.api.core.tuning import tuning
from fieldfare.api.http.auth import AppStateHere, PlantHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.screens import Csrf, reader, visitor, writer
from fieldfare.dashboards import pages

router = APIRouter()
MOST_BYTES = 1_000_000
"""Of a forecast; a month by the hour is a twentieth of it."""


@router.get("/sites/{site_id}/advice")
def what_to_set(plant: PlantHere, request: Request, parts: AppStateHere) -> Response:
    """Settings worth changing at one home."""
    actor = reader(request, "what_if.read", plant.site.id)
    row, home = page_rows.row_of(parts, plant, None), actor.role == "householder"
    document: dict[str, Any] | None = None
    step: dict[str, Any] | None = None
    problem = ""
    try:
        document = advice(parts.service, plant, household=home)
        step = tuning(parts.service, plant, household=True)["next"] if home else None
    except (InputError, NotAssessed) as error:
        problem = str(error)
    return HTMLResponse(pages.advice_page(row, document, problem, visitor(request), step))


@router.get("/cold-snap")
def ask_cold_snap(request: Request) -> Response:
    """The form for a forecast."""
    reader(request, "fleet.read")
    return HTMLResponse(pages.cold_snap_page(None, "", visitor(request)))


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
