"""Pages of manual checks: the sheet, the homes to keep offline, the firm's own items."""

from __future__ import annotations

import secrets
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Annotated, Any

from fastapi import Form, HTTPException, Request
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.reports.checklists import KINDS, TITLES, Kind
from fieldfare.api.checks.contents import check_contents
from fieldfare.api.checks.lists import (
    EXAMPLE,
    keep_own,
    lists_trouble,
    own_items,
    own_text,
)
from fieldfare.api.checks.photos import LARGEST_BYTES
from fieldfare.api.checks.sheets import FieldChange, SheetKey, unfinished
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.rolling_period import rolling_result, under_standing_verdict
from fieldfare.api.core.sites import Card, SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import CSRF_FIELD, AppStateHere, SiteRecordHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import printable
from fieldfare.api.http.html.site_pages import (
    NO_STORE,
    Csrf,
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.photo_actions import refused, remove_photo
from fieldfare.api.http.routers import page_router
from fieldfare.api.people.access import Actor
from fieldfare.api.records.papers import winter_paper
from fieldfare.api.visits.bookings import FURTHEST, BookingRow
from fieldfare.dashboards import assets, pages
from fieldfare.dashboards.checks.lists import open_points

router = page_router()
HOMES_SHOWN = 60
COMING = timedelta(hours=36)
"""Homes with a visit so soon come first: today's and tomorrow's."""
ENTRIES_AT_ONCE = 400


@router.get("/sw.js")
def worker() -> Response:
    """The service worker, which caches a few pages on the device. Public: contains no personal data."""
    headers = {"Cache-Control": "no-cache"}
    return FileResponse(assets.STATIC / "worker.js", media_type="text/javascript", headers=headers)


@router.get("/field/session.json")
def field_session(request: Request) -> Response:
    """Owner of the entries that may be sent now, and the CSRF token for sending them."""
    who = visitor(request)
    if who["role"] not in ("installer", "engineer"):
        return JSONResponse({"owner": "", "csrf": "", "name": ""}, 401, headers=NO_STORE)
    document = {"owner": who["owner"], "csrf": who["csrf"], "name": who["name"]}
    return JSONResponse(document, headers=NO_STORE)


@router.get("/field")
def field(request: Request, parts: AppStateHere, q: str = "", kind: str = "winter") -> Response:
    """Homes with sheets to fill in; selected ones are cached on the device."""
    actor = reader(request, "works.write")
    chosen: Kind = next((k for k in KINDS if k == kind), "winter")
    progress, now, search = parts.sheets.progress(), datetime.now(UTC), q.strip().lower()
    booked = {s: v for s, v in parts.bookings.next_of_each(now).items() if v.start < now + COMING}
    homes: list[dict[str, Any]] = []
    for card in parts.service.sites.cards():
        if search in card.name.lower() or search in card.id:
            at = _period(parts, chosen, card.id, now)
            done, signed = progress.get((card.id, chosen, at), (0, False))
            row = {"id": card.id, "name": card.name, "period": at, "done": done, "signed": signed}
            homes.append(row | _visit_soon(booked.get(card.id), card, now, actor))
    homes.sort(key=lambda h: (h["start"], h["signed"], h["name"].lower()))
    page = pages.field_page(homes[:HOMES_SHOWN], len(homes), q, chosen, visitor(request))
    return HTMLResponse(page)


@router.get("/sites/{site_id}/checks/{kind}")
def current_sheet(kind: Kind, record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Redirect to the sheet of this winter, this year, or the commissioning."""
    reader(request, "works.write", record.site.id)
    return see_other(f"/sites/{record.site.id}/checks/{kind}/{_current(parts, record, kind).period}")


@router.get("/sites/{site_id}/checks/{kind}/{period}")
def sheet(kind: Kind, period: str, record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """A sheet to fill in. Works without scripts; with scripts also offline."""
    reader(request, "works.write", record.site.id)
    return _sheet_page(request, parts, record, SheetKey(kind, period))


@router.post("/sites/{site_id}/checks/{kind}/{period}")
async def save(
    kind: Kind, period: str, record: SiteRecordHere, request: Request, parts: AppStateHere
) -> Response:
    """Save a sheet sent without scripts: all fields and photos."""
    key = SheetKey(kind, period)
    async with request.form(max_files=60, max_fields=ENTRIES_AT_ONCE) as form:
        actor = writer(request, "works.write", str(form.get(CSRF_FIELD, "")), record.site.id)
        photos = [
            (name[2:], upload.filename, await upload.read(LARGEST_BYTES + 1))
            for name, upload in form.multi_items()
            if name.startswith("p.") and isinstance(upload, UploadFile) and upload.filename
        ]
        return await run_in_threadpool(_saved, request, parts, record, key, form, photos, actor)


@router.post("/sites/{site_id}/checks/{kind}/{period}/sign")
def sign(
    kind: Kind,
    period: str,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    what: Annotated[str, Form(max_length=1500)] = "",
    left: Annotated[str, Form(max_length=400)] = "",
    by_hand: Annotated[str, Form(max_length=8000)] = "",
) -> Response:
    """Sign a sheet: every item answered, a text, and the points named that stay open.

    left : keys of open points in the readings; by_hand : of manual checks
    """
    actor = writer(request, "works.write", csrf, record.site.id)
    key = SheetKey(kind, period)
    if parts.sheets.is_signed(record.site.id, key):
        raise HTTPException(409, "the sheet is signed already; open it again to change it")
    items = parts.sheets.read(record, key)["items"]
    problems = [(f"item-{item}", text) for item, text in unfinished(items)]
    if not what.strip():
        problems.append(("signing", "Say what was checked and found."))
    points, hands = _points(parts, record, key), open_points(items)
    # The open points may have changed since the page was shown.
    agreed = left == " ".join(code for code, _ in points)
    agreed_hands = by_hand == " ".join(p["key"] for p in hands)
    if not (agreed and agreed_hands):
        problems.append(("signing", "Tick that you sign with the open points that are named."))
    if problems:
        ticked = {"left": agreed, "by_hand": agreed_hands}
        return _sheet_page(request, parts, record, key, problems=problems, what=what, ticked=ticked)
    today = page_rows.clock(parts).astimezone(record.site.zone).date()
    names = [title.lower().rstrip("?") for _, title in points] + [p["says"] for p in hands]
    text = printable(what)
    work = parts.works.sign_check(record.site.id, today, kind, period, text, names, actor)
    try:
        parts.sheets.sign(record, key, work.id)
    except InputError:  # another user removed an answer at the same time
        parts.works.remove(record.site.id, work.id, actor)
        raise
    parts.audit.note(actor, f"{kind} check signed", record.site.id, work=work.id)
    return see_other(f"/sites/{record.site.id}/checks/{kind}/{period}#signed")


@router.post("/sites/{site_id}/checks/{kind}/{period}/reopen")
def reopen(
    kind: Kind, period: str, record: SiteRecordHere, request: Request, parts: AppStateHere, csrf: Csrf = ""
) -> Response:
    """Remove a signature; keeps the entries, and records it in the audit trail."""
    actor = writer(request, "works.write", csrf, record.site.id)
    work = parts.sheets.read(record, SheetKey(kind, period))["work"]
    if work is not None:
        row = parts.works.remove(record.site.id, work, actor)
        parts.audit.note(actor, f"{kind} check opened again", record.site.id, work=work, before=row.what)
    return see_other(f"/sites/{record.site.id}/checks/{kind}/{period}")


@router.post("/sites/{site_id}/photos/{photo}/remove")
def remove(
    photo: str, record: SiteRecordHere, request: Request, parts: AppStateHere, csrf: Csrf = ""
) -> Response:
    """Remove a photo of a job, or of a sheet that is not signed."""
    actor = writer(request, "works.write", csrf, record.site.id)
    row = parts.photos.get(record.site.id, photo)
    remove_photo(parts, record.site.id, photo, actor)
    if row.work is not None:
        return see_other(f"/sites/{record.site.id}/works/{row.work}")
    kind, period = parts.sheets.key_of(row.sheet)
    return see_other(f"/sites/{record.site.id}/checks/{kind}/{period}#item-{row.item}")


@router.get("/checks/lists")
def lists(request: Request, parts: AppStateHere) -> Response:
    """Show the form of the firm's own items."""
    reader(request, "site.write")
    text, problems = own_text(parts.settings), lists_trouble(parts.settings)
    return HTMLResponse(
        pages.lists_page(text, EXAMPLE, own_items(parts.settings), problems, "", visitor(request))
    )


@router.post("/checks/lists")
def keep_lists(
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    text: Annotated[str, Form(max_length=100_000)] = "",
) -> Response:
    """Save the firm's items, or show their problems, one line each."""
    actor = writer(request, "site.write", csrf)
    text = text.replace("\r\n", "\n")
    try:
        items = keep_own(parts.settings, text)
    except SiteError as error:
        problems = [str(problem) for problem in error.problems]
        page = pages.lists_page(text, EXAMPLE, own_items(parts.settings), problems, "", visitor(request))
        return HTMLResponse(page, 422)
    parts.audit.note(actor, "list of checks changed", items=len(items))
    said = f"Kept: {len(items)} of your own." if items else "Kept: no items of your own."
    return HTMLResponse(pages.lists_page(text, EXAMPLE, items, [], said, visitor(request)))


def _period(parts: AppState, kind: Kind, site: str, now: datetime) -> str:
    """Period of the current sheet of a kind. A winter check's year is that of the home's last reading."""
    if kind == "commissioning":
        return "first"
    span = parts.service.store.span(site) if kind == "winter" else None
    return str(datetime.fromtimestamp(span[1] / 1000, UTC).year if span else now.year)


def _visit_soon(row: BookingRow | None, card: Card, now: datetime, actor: Actor) -> dict[str, Any]:
    """The home's next visit, for the list of homes on site.

    start : of the home's next visit, or a far-off day. visit : as text. is_mine : whether it is the
    reader's visit
    """
    if row is None:
        return {"start": now + FURTHEST, "visit": None, "is_mine": False}
    shown = pages.present_visit(asdict(row), card.zone, card.name, now.astimezone(card.zone).date())
    return {
        "start": row.start,
        "visit": shown,
        "is_mine": row.person is not None and row.person == actor.person,
    }


def _current(parts: AppState, record: SiteRecord, kind: Kind) -> SheetKey:
    if kind == "commissioning":
        return SheetKey(kind, "first")
    if kind == "winter":
        try:
            return SheetKey(kind, str(parts.service.results.span(record)[1].year))
        except NoReadings:
            pass
    return SheetKey(kind, str(page_rows.clock(parts).astimezone(record.site.zone).year))


def _result(parts: AppState, record: SiteRecord, key: SheetKey) -> dict[str, Any] | None:
    """Result and days shown beside the sheet's items; None without readings."""
    try:
        if key.kind == "winter":
            return winter_paper(parts.service, record, int(key.period)).contents
        result = rolling_result(parts.service, record, None)
        return {"result": under_standing_verdict(parts.service, record, result)} if result else None
    except (NoReadings, InputError):
        return None


def _points(parts: AppState, record: SiteRecord, key: SheetKey) -> list[tuple[str, str]]:
    """Open points found in the readings, which a signed winter check lists."""
    contents = _result(parts, record, key) if key.kind == "winter" else None
    return pages.points_left(record.site, contents) if contents else []


def _saved(
    request: Request,
    parts: AppState,
    record: SiteRecord,
    key: SheetKey,
    form: FormData,
    photos: list[tuple[str, str, bytes]],
    actor: Actor,
) -> Response:
    changes = []
    for name, value in form.items():
        if name.startswith("f.") and isinstance(value, str):
            item, _, field = name[2:].partition(".")
            was = str(form.get(f"w.{item}.{field}", "")).replace("\r\n", "\n")
            value = value.replace("\r\n", "\n")
            if value != was:
                changes.append(FieldChange(secrets.token_hex(16), item, field, value, was, datetime.now(UTC)))
    changes += _marked_done(form, changes)
    outcomes = parts.sheets.apply(record, key, changes, actor)
    by_id = {c.id: c for c in changes}
    conflicts = {
        (by_id[o.id].item, by_id[o.id].field): (by_id[o.id].value, o) for o in outcomes if o.told != "kept"
    }
    problems = []
    for item, name, data in photos:
        add = partial(_add_photo, parts, record, key, item, actor)
        problems += refused([(name, data)], add)
    if conflicts or problems:
        return _sheet_page(request, parts, record, key, conflicts=conflicts, photo_problems=problems)
    return see_other(f"/sites/{record.site.id}/checks/{key.kind}/{key.period}#saved")


def _marked_done(form: FormData, changes: list[FieldChange]) -> list[FieldChange]:
    """Mark items with a value and no chosen result as done."""
    entered = dict.fromkeys(c.item for c in changes if c.field.startswith("found.") and c.value.strip())
    return [
        FieldChange(secrets.token_hex(16), item, "state", "done", "", datetime.now(UTC))
        for item in entered
        if not form.get(f"f.{item}.state") and not form.get(f"w.{item}.state")
    ]


def _add_photo(
    parts: AppState, record: SiteRecord, key: SheetKey, item: str, actor: Actor, photo: str, sent: bytes
) -> object:
    return parts.sheets.add_photo(record, key, item, photo, sent, datetime.now(UTC), actor)


def _sheet_page(
    request: Request, parts: AppState, record: SiteRecord, key: SheetKey, **context: Any
) -> Response:
    """Render the sheet. context : problems of signing and its text `what`; conflicts, photo_problems of
    saving."""
    contents = _result(parts, record, key)
    row = page_rows.row_of(parts, record, contents["result"] if contents else None)
    check = check_contents(parts.service, record, key, pictures=False)
    wrong = any(context.get(name) for name in ("problems", "conflicts", "photo_problems"))
    page = pages.check_page(
        row,
        check,
        contents,
        visitor(request),
        page_rows.clock(parts),
        TITLES[key.kind],
        lists_trouble(parts.settings),
        **context,
    )
    return HTMLResponse(page, 422 if wrong else 200)
