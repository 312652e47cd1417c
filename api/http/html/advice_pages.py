"""Pages of advice: what to set at a home."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.api.core.advice import advice
from fieldfare.api.http.auth import AppStateHere, PlantHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.screens import reader, visitor
from fieldfare.dashboards import pages

router = APIRouter()


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
