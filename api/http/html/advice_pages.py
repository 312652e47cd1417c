"""Pages of advice: settings of a home, what-if savings, and the firm's cold-snap outlook."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from math import nan
from typing import Annotated, Any

from fastapi import File, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.api.core.advice import advice
from fieldfare.api.core.cold_snap import cold_snap
from fieldfare.api.core.forecast import (
    LEAST_PAUSE,
    NoForecast,
    fetch_forecast,
    forecast_document,
    kept_forecast,
    source_of,
)
from fieldfare.api.core.tuning import tuning
from fieldfare.api.core.what_if import what_if
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.reader_language import in_readers_language
from fieldfare.api.http.html.site_pages import Csrf, reader, see_other, visitor, writer
from fieldfare.api.http.routers import page_router
from fieldfare.dashboards import pages

router = page_router()
OptionalFile = Annotated[UploadFile | None, File()]
MOST_BYTES = 1_000_000
"""Of a forecast; a month by the hour is a twentieth of it."""


@router.get("/sites/{site_id}/advice")
def what_to_set(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Recommended settings of a home."""
    actor = reader(request, "what_if.read", record.site.id)
    row, home = page_rows.row_of(parts, record, None), actor.role == "householder"
    document: dict[str, Any] | None = None
    step: dict[str, Any] | None = None
    problem = ""
    try:
        document = advice(parts.service, record, household=home)
        step = tuning(parts.service, record, household=True)["next"] if home else None
    except (InputError, NotAssessed) as error:
        problem = str(error)
    return HTMLResponse(pages.advice_page(row, document, problem, visitor(request), step))


@router.get("/sites/{site_id}/what-if")
def ask(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """What-if savings of a home."""
    reader(request, "what_if.read", record.site.id)
    query, answers, problem = dict(request.query_params), None, ""
    questions, out_of_range = _questions(query)
    try:
        if questions and not out_of_range:
            answers = what_if(parts.service, record, questions)["answers"]
    except (InputError, NotAssessed) as error:
        problem = str(error)
    row = page_rows.row_of(parts, record, parts.service.results.newest(record.site.id))
    page = partial(pages.what_if_page, row, query, answers, problem, visitor(request), out_of_range)
    return in_readers_language(request, page, site=record.site)


_RANGES = {
    "rooms_warmer_k": (-3.0, 3.0),
    "lower_curve_k": (0.5, 15.0),
    "hot_water_c": (35.0, 65.0),
    "hot_water_hour": (0.0, 23.0),
    "band_price": (0.0, 10.0),
    "band_from": (0.0, 23.0),
    "band_to": (0.0, 24.0),
}


def _questions(query: dict[str, str]) -> tuple[dict[str, Any], dict[str, tuple[float, float]]]:
    """The form's questions, and field -> (lowest, highest) for values outside their range."""
    found: dict[str, float] = {}
    wrong = {}
    for name, (low, high) in _RANGES.items():
        if text := query.get(name, "").strip():
            try:
                found[name] = float(text.replace(",", "."))
            except ValueError:
                found[name] = nan
            if not low <= found[name] <= high:
                wrong[name] = (low, high)
                del found[name]
    questions: dict[str, Any] = {
        k: found[k] for k in ("rooms_warmer_k", "lower_curve_k", "hot_water_c") if k in found
    }
    if "hot_water_hour" in found:
        questions["hot_water_hour"] = int(found["hot_water_hour"])
    if query.get("mend"):
        questions["mend"] = query["mend"][:60]
    if "band_price" in found:
        questions["band"] = (
            found["band_price"],
            int(found.get("band_from", 0)),
            int(found.get("band_to", 5)),
        )
    return questions, wrong


@router.get("/cold-snap")
def ask_cold_snap(request: Request, parts: AppStateHere) -> Response:
    """Every home's outlook in the configured forecast, if any, and an upload form."""
    reader(request, "fleet.read")
    return _cold_snap_page(request, parts)


@router.post("/cold-snap")
def show_cold_snap(
    request: Request, parts: AppStateHere, csrf: Csrf = "", file: OptionalFile = None
) -> Response:
    """Every home's outlook in an uploaded forecast; stores nothing."""
    writer(request, "fleet.read", csrf)
    name = ((file and file.filename) or "")[:80]
    try:
        if file is None or not name:
            raise InputError("choose the file of the forecast")
        text = file.file.read(MOST_BYTES + 1)
        if len(text) > MOST_BYTES:
            raise InputError(f"{name}: is larger than 1 MB; a forecast needs far less")
        document = cold_snap(parts.service, text.decode("utf-8", "replace"), name)
    except InputError as error:
        return HTMLResponse(pages.cold_snap_page(None, str(error), visitor(request)), 422)
    return HTMLResponse(pages.cold_snap_page(document, "", visitor(request)))


@router.post("/cold-snap/fetch")
def fetch(request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Fetch the configured forecast now."""
    writer(request, "jobs.run", csrf)
    forecast, now = kept_forecast(parts.service), datetime.now(UTC)
    if forecast is None or now - forecast.tried >= LEAST_PAUSE:
        try:
            fetch_forecast(parts.service, now)
        except NoForecast:
            return _cold_snap_page(request, parts, 502)
        except InputError as error:
            return _cold_snap_page(request, parts, 422, str(error))
    return see_other("/cold-snap")


def _cold_snap_page(request: Request, parts: AppState, status: int = 200, problem: str = "") -> Response:
    forecast, source = kept_forecast(parts.service), ""
    if parts.settings.forecast_url:
        try:
            source = source_of(parts.settings)
        except InputError as error:
            problem = problem or str(error)
    document = forecast_document(forecast) if forecast is not None and forecast.outlook is not None else None
    failed = forecast.problem if forecast is not None else ""
    page = pages.cold_snap_page(document, problem, visitor(request), source=source, failed=failed)
    return HTMLResponse(page, status)
