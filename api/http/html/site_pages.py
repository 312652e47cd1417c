"""Pages of the fleet and of one site."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Annotated, Any

from fastapi import File, Form, HTTPException, Query, Request, UploadFile
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from fieldfare.analysis.errors import (
    InputError,
    Problem,
    SiteError,
)
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.site import Site
from fieldfare.api.core.fleet_rows import fleet_feedback
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.local_days import day_of
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.sites import SiteRecord, admitted
from fieldfare.api.http.app_state import AppState, parts_of
from fieldfare.api.http.auth import (
    CSRF_FIELD,
    AppStateHere,
    SignInFirst,
    SiteRecordHere,
    actor_of,
    check,
    check_form,
    confirm,
    live_session_of,
)
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.household import household, visits_to_come
from fieldfare.api.http.html.reader_language import in_readers_language
from fieldfare.api.http.html.uploads import (
    may_agree_anew,
    upload_reader,
    with_points,
)
from fieldfare.api.http.owners import owner_word
from fieldfare.api.http.routers import page_router
from fieldfare.api.people.access import (
    DEMO_VISITOR,
    NOBODY,
    OF_THE_FIRM,
    Actor,
)
from fieldfare.api.records.file_imports import FileImport, FileImports
from fieldfare.api.records.papers import winter_paper
from fieldfare.collector.csv.column_mapping import MappingProposal, points_toml, propose
from fieldfare.collector.csv.source import head_of
from fieldfare.collector.csv.time_forms import TIME_FORMATS
from fieldfare.dashboards import assets, pages
from fieldfare.dashboards.fleet.visits import contact_words

router = page_router()
FOR_EVER = {"Cache-Control": "public, max-age=31536000, immutable"}
NO_STORE = {"Cache-Control": "no-store"}
"""For pages with a secret on them, and those that are old at once."""
Csrf = Annotated[str, Form(alias=CSRF_FIELD)]
LONGEST_USES_DAYS = 100
LONGEST_RUN = timedelta(days=40)
"""A unit may run for weeks in frost without a stop; runs that began this long before are still looked for."""


def visitor(request: Request) -> dict[str, Any]:
    """The reader, as pages know it."""
    session = live_session_of(request)
    actor = session.actor if session else actor_of(request)
    csrf = session.csrf if session else ""
    parts = parts_of(request)
    request.state.owner = owner_word(parts.owner_key, actor.name, actor.role)
    return {
        "name": actor.name,
        "role": actor.role,
        "demo_clock": parts.service.fleet.now() if parts.settings.demo else None,
        "csrf": csrf,
        "by_link": actor.by_link,
        "owner": request.state.owner,
    }


def reader(request: Request, permission: str, site: str | None = None) -> Actor:
    """The reader, if authorised. Raises SignInFirst, 403, UnknownSite."""
    return _allowed(parts_of(request), actor_of(request), permission, site)


def writer(request: Request, permission: str, csrf: str, site: str | None = None) -> Actor:
    """The sender of a form, if authorised and with a valid CSRF token. Raises SignInFirst, 403,
    UnknownSite."""
    parts, session = parts_of(request), live_session_of(request)
    if session is not None:
        check_form(session, csrf)
    actor = session.actor if session else DEMO_VISITOR if parts.settings.demo else NOBODY
    _allowed(parts, actor, permission, site)
    confirm(request, actor, permission)
    return actor


def _allowed(parts: AppState, actor: Actor, permission: str, site: str | None) -> Actor:
    if actor.role == "nobody":
        raise SignInFirst
    check(actor, permission, site)
    if site is not None:
        parts.audit.note_access(actor, site)
    return actor


@router.get("/")
def front(request: Request, parts: AppStateHere) -> Response:
    """Start page: the list of homes for the firm's people, the home for a householder, otherwise sign-in."""
    actor = actor_of(request)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{min(actor.sites)}/home" if actor.sites else "/sign-in")
    if actor.may("site.write") and not parts.service.sites.ids():
        return see_other("/first-run")
    return HTMLResponse(fleet_list(request, parts, actor, _query(request)))


def fleet_list(
    request: Request,
    parts: AppState,
    actor: Actor,
    query: dict[str, str],
    wrong_view: tuple[str, str] = ("", ""),
) -> str:
    """Show the list of homes. wrong_view : a view's name that can't be saved, and why"""
    views = None if actor.person is None else [vars(v) for v in parts.saved_views.of(actor.person)]
    asked = pages.asked_of(query)
    rows, total, counts = page_rows.fleet_part(parts, asked)
    meant = "" if total else pages.did_you_mean(asked, parts.service.fleet.search_texts(asked))
    now = page_rows.clock(parts)
    return pages.fleet_list_page(
        rows, total, counts, visitor(request), query, now, views, wrong_view, parts.damage, meant
    )


@router.get("/winter")
def winter_list(request: Request, parts: AppStateHere) -> Response:
    """Show the winter list of the firm's homes."""
    reader(request, "fleet.read")
    return HTMLResponse(pages.winter_list_page(page_rows.before_winter(parts), visitor(request)))


@router.get("/learning")
def design_feedback(request: Request, parts: AppStateHere) -> Response:
    """Show design feedback from the firm's systems."""
    reader(request, "fleet.read")
    names = {card.id: card.name for card in parts.service.sites.cards()}
    return HTMLResponse(pages.design_feedback_page(fleet_feedback(parts.service), visitor(request), names))


@router.get("/sites/{site_id}")
def site(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show one site, for diagnosis."""
    actor = reader(request, "site.read", record.site.id)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{record.site.id}/home")
    query, problem, typed = _query(request), "", {}
    try:
        found = page_rows.period_result(parts, record, query)
    except InputError as error:
        problem, typed = str(error), {k: query.pop(k) for k in ("from", "to") if k in query}
        found = page_rows.period_result(parts, record, query)
    row = page_rows.site_row_with_readings(parts, record, found.result, actor)
    row |= {"visits": visits_to_come(parts, record), "period_problem": problem, "period_typed": typed}
    if actor.may("contact.read", record.site.id):
        row["contact"] = contact_words(record.site.contact, record.site.position)
    works = page_rows.works_of(parts, record, effects=True)
    drawn, now = page_rows.drawn(parts, record, query, found), page_rows.clock(parts)
    page = pages.site_page(row, found.facts, works, visitor(request), query, now, drawn)
    return HTMLResponse(page, 422 if problem else 200)


@router.get("/sites/{site_id}/figures/uses.json")
def uses(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    start: Annotated[int, Query(ge=0, le=2**42)],
    end: Annotated[int, Query(ge=0, le=2**42)],
) -> Response:
    """Operating state of each minute in a window, as JSON."""
    reader(request, "site.read", record.site.id)
    first, last = day_of(start, record.site.zone), day_of(end, record.site.zone)
    if not 0 <= (last - first).days <= LONGEST_USES_DAYS:
        raise InputError(f"ask for at most {LONGEST_USES_DAYS} days at once")
    facts = parts.service.facts_cache.stored(record.site.id, first - LONGEST_RUN, last)
    return Response(pages.uses_json(facts, start, end), media_type="application/json")


@router.get("/sites/{site_id}/figures/{name}.json")
def figure(name: str, record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """A figure as plotly JSON, for zooming."""
    reader(request, "site.read", record.site.id)
    result, facts = _figure_of(name, record, parts, _query(request))
    if name in pages.EXPECTATIONS:
        equipped = parts.service.facts_cache.with_borrowed_weather(record.site)
        return Response(pages.expectation_json(name, equipped, facts), media_type="application/json")
    return Response(pages.figure_json(name, record.site, result, facts), media_type="application/json")


def _figure_of(
    name: str, record: SiteRecord, parts: AppState, query: dict[str, str]
) -> tuple[dict[str, Any], Facts]:
    """Input of a figure: result and facts of the requested days."""
    if name not in pages.FIGURES and name not in pages.EXPECTATIONS:
        raise HTTPException(404, f"there is no figure {name[:40]!r}")
    result, facts, _ = page_rows.period_result(parts, record, query)
    if result is None or facts is None:
        raise NoReadings(record.site.id)
    return result, facts


@router.get("/sites/{site_id}/figures/{name}/numbers")
def numbers(
    name: str,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    part: Annotated[int, Query(ge=0, le=1)] = 0,
) -> Response:
    """Show the table behind a figure. part : the table alone, for an open page"""
    actor = reader(request, "site.read", record.site.id)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{record.site.id}/home")
    site, query = record.site, _query(request)
    result, facts = _figure_of(name, record, parts, query)
    if name in pages.EXPECTATIONS:
        site = parts.service.facts_cache.with_borrowed_weather(site)
    page = pages.numbers_page(name, site, result, facts, visitor(request), query, part=bool(part))
    return HTMLResponse(page)


@router.get("/sites/{site_id}/figures")
def figures(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    of: Annotated[str, Query(max_length=300)] = "",
    part: Annotated[int, Query(ge=0, le=1)] = 0,
) -> Response:
    """Show some or all figures of a home. of : comma-separated names. part : the figures alone"""
    actor = reader(request, "site.read", record.site.id)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{record.site.id}/home")
    names = [name for name in pages.FIGURES if name != "trace" and (not of or name in of.split(","))]
    query = _query(request)
    if not names:
        raise HTTPException(404, f"there is no figure {of[:40]!r}")
    result, facts = _figure_of(names[0], record, parts, query)
    page = pages.figures_page(names, record.site, result, facts, visitor(request), query, part=bool(part))
    return HTMLResponse(page)


@router.get("/sites/{site_id}/expectations")
def expectations(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show measured against expected values, for every model."""
    actor = reader(request, "site.read", record.site.id)
    if actor.role not in OF_THE_FIRM:
        return see_other(f"/sites/{record.site.id}/home")
    query = _query(request)
    result, facts, _ = page_rows.period_result(parts, record, query)
    if result is None or facts is None:
        raise NoReadings(record.site.id)
    row = {"id": record.site.id, "name": record.site.name}
    equipped = parts.service.facts_cache.with_borrowed_weather(record.site)
    return HTMLResponse(pages.expectations_page(row, equipped, facts, visitor(request), query))


@router.get("/sites/{site_id}/home")
def home(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the household's page."""
    actor = reader(request, "site.read", record.site.id)
    query = _query(request)
    contents = page_rows.month_contents(parts, record, query.get("month", ""))
    row = page_rows.row_of(parts, record, parts.service.results.newest(record.site.id))
    works = page_rows.works_of(parts, record, effects=False)
    firm, now = parts.service.firm.signature, page_rows.clock(parts)

    def page() -> str:
        about = household(parts, record, actor)
        return pages.home_page(row, contents, works, visitor(request), query, now, firm, about)

    return in_readers_language(request, page, site=record.site)


@router.get("/sites/{site_id}/winter")
def winter(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show a home's winter check."""
    reader(request, "papers.read", record.site.id)
    query = _query(request)
    season = query.get("season", "")
    year = int(season) if season.isdecimal() else None
    contents = winter_paper(parts.service, record, year, looked_at=True).contents
    row = page_rows.row_of(parts, record, contents["result"])
    row["rolling"] = rolling_result(parts.service, record, contents["result"])
    return HTMLResponse(pages.winter_page(row, contents, visitor(request), query, page_rows.clock(parts)))


@router.get("/first-run")
def first_run(request: Request, parts: AppStateHere) -> Response:
    """Show the start of a new home."""
    reader(request, "site.write")
    waiting = list(page_rows.fleet(parts, Chosen(waiting=True)))
    return HTMLResponse(pages.first_run_page(waiting, visitor(request), bool(parts.service.sites.ids())))


@router.get("/first-run/site")
def site_form(request: Request) -> Response:
    """Show the form of a new home's site file."""
    reader(request, "site.write")
    return HTMLResponse(pages.site_form_page({}, [], "", visitor(request)))


@router.post("/first-run/site")
async def take_site(request: Request, parts: AppStateHere) -> Response:
    """Add a site by form or uploaded file; problems are shown beside their keys."""
    form = await request.form(max_files=1, max_fields=120)
    actor = writer(request, "site.write", str(form.get(CSRF_FIELD, "")))
    values = {k: v for k, v in form.items() if isinstance(v, str)}
    upload, text = form.get("file"), ""
    if upload is not None and not isinstance(upload, str):
        text = (await upload.read()).decode("utf-8-sig", errors="replace")
    try:
        made = text or pages.site_toml(values)
        checked = admitted(made)
    except SiteError as error:
        return HTMLResponse(pages.site_form_page(values, error.problems, text, visitor(request)), 422)
    if parts.service.sites.find(checked.id) is not None and not text:
        taken = Problem("site.id", f"there is already a home with the id {checked.id!r}; choose another id")
        return HTMLResponse(pages.site_form_page(values, [taken], "", visitor(request)), 422)
    added = parts.service.sites.add([(made, checked)])[0]
    parts.audit.note(actor, "site added" if added.is_new else "site changed", checked.id)
    return see_other(f"/sites/{checked.id}/readings")


@router.get("/sites/{site_id}/readings")
def readings(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the upload of a CSV export."""
    reader(request, "site.write", record.site.id)
    row = page_rows.row_of(parts, record, None)
    return HTMLResponse(pages.readings_page(row, None, [], visitor(request), imports=_imports(parts, record)))


def _imports(parts: AppState, record: SiteRecord) -> list[FileImport]:
    return FileImports(parts.service, record.site.id).listed()


@router.post("/sites/{site_id}/readings/anyway")
def take_anyway(record: SiteRecordHere, request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Import the held file that looked like another home's."""
    actor = writer(request, "site.write", csrf, record.site.id)
    uploads = upload_reader(parts)
    path = uploads.waiting(record.site.id)
    try:
        if path is None:
            raise InputError("the file is no longer here; upload it again")
        uploads.start(record.site.id, path, actor, anyway=True)
    except InputError as error:
        return _refused_file(record, request, parts, error)
    return see_other(f"/sites/{record.site.id}/progress")


@router.post("/sites/{site_id}/readings/undo")
def undo_readings(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    number: Annotated[int, Form(ge=0, le=2**31 - 1)] = 0,
) -> Response:
    """Undo the newest file. number : the newest file when the page was rendered"""
    actor = writer(request, "site.write", csrf, record.site.id)
    try:
        upload_reader(parts).undo(record.site.id, number, actor)
    except InputError as error:
        return _refused_file(record, request, parts, error)
    return see_other(f"/sites/{record.site.id}/progress")


def _refused_file(record: SiteRecord, request: Request, parts: AppState, error: InputError) -> Response:
    row, imports = page_rows.row_of(parts, record, None), _imports(parts, record)
    problems = [Problem("", str(error))]
    return HTMLResponse(pages.readings_page(row, None, problems, visitor(request), imports=imports), 422)


@router.post("/sites/{site_id}/readings")
def take_readings(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Upload a CSV: propose its columns if the site has no points yet, else import it in the background."""
    actor = writer(request, "site.write", csrf, record.site.id)
    row, uploads = page_rows.row_of(parts, record, None), upload_reader(parts)
    try:
        if file is None or not file.filename:
            raise InputError("choose the file with the readings")
        path = uploads.keep(record.site.id, file.filename, file.file)
        if record.site.point and not may_agree_anew(parts, record.site):
            uploads.start(record.site.id, path, actor)
            return see_other(f"/sites/{record.site.id}/progress")
        proposal = _proposal(path, file.filename, record.site)
    except InputError as error:
        problems = [Problem("", str(error))]
        return HTMLResponse(pages.readings_page(row, None, problems, visitor(request)), 422)
    return HTMLResponse(pages.readings_page(row, proposal, [], visitor(request), TIME_FORMATS))


def _proposal(path: Path, name: str, site: Site) -> MappingProposal:
    """Propose a column mapping for an upload. name : the file's original name. Raises InputError"""
    try:
        return propose(*head_of(path), site.timezone)
    except InputError as error:
        raise InputError(f"{name}: {error}") from None


@router.post("/sites/{site_id}/points")
async def take_points(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Save the confirmed columns to the site file, and import the stored export."""
    form = await request.form(max_fields=1000)
    actor = writer(request, "site.write", str(form.get(CSRF_FIELD, "")), record.site.id)
    values = {k: v for k, v in form.items() if isinstance(v, str)}
    uploads = upload_reader(parts)
    path = uploads.waiting(record.site.id)
    try:
        with_points(parts, record.site, points_toml(values))
        if path is not None:
            uploads.start(record.site.id, path, actor)
    except SiteError as error:
        row = page_rows.row_of(parts, record, None)
        proposal = propose(*head_of(path), record.site.timezone) if path is not None else None
        return HTMLResponse(
            pages.readings_page(row, proposal, error.problems, visitor(request), TIME_FORMATS), 422
        )
    parts.audit.note(actor, "points added", record.site.id)
    return see_other(
        f"/sites/{record.site.id}/progress" if path is not None else f"/sites/{record.site.id}/readings"
    )


@router.get("/sites/{site_id}/progress")
def progress(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show how far the import of an uploaded file is."""
    reader(request, "site.write", record.site.id)
    row = page_rows.row_of(parts, record, None)
    return HTMLResponse(pages.progress_page(row, upload_reader(parts).of(record.site.id), visitor(request)))


@router.get("/static/plotly.js")
def plotly(request: Request) -> Response:
    """The plotly script of the installed package."""
    if "gzip" in request.headers.get("accept-encoding", ""):
        headers = {**FOR_EVER, "Content-Encoding": "gzip", "Vary": "Accept-Encoding"}
        return Response(assets.packed_plotly(), media_type="text/javascript", headers=headers)
    return FileResponse(assets.PLOTLY, media_type="text/javascript", headers=FOR_EVER)


def _query(request: Request) -> dict[str, str]:
    return dict(request.query_params)


def see_other(where: str) -> RedirectResponse:
    return RedirectResponse(where, 303)
