"""Forms to book, change and cancel visits; invalid input is shown again as typed."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime, time, timedelta
from typing import Annotated, Any

from fastapi import Depends, Form, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import is_code, printable, sentence, today_at
from fieldfare.api.http.html.site_pages import (
    Csrf,
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.html.visit_pages import day_given, number_given, stop_of
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.schemas import RowId
from fieldfare.api.visits.bookings import (
    MOST_FINDINGS,
    MOST_MINUTES,
    BookingRequest,
    BookingRow,
    Clash,
    colleagues,
    moment_of,
)
from fieldfare.api.visits.rows import homes_of
from fieldfare.dashboards import pages
from fieldfare.dashboards.text import words

router = page_router()
Text = Annotated[str, Form(max_length=10_000)]
USUAL_TIME = time(9, 0)


def _form_values(
    day: Text = "",
    at: Text = "",
    minutes: Text = "",
    person: Text = "",
    note: Text = "",
    even_so: Text = "",
    finding: Annotated[list[str], Form()] = [],  # noqa: B006 (FastAPI copies it)
) -> dict[str, Any]:
    """Values of the booking form, as typed."""
    return {
        "day": day,
        "at": at,
        "minutes": minutes,
        "person": person,
        "note": note,
        "even_so": even_so,
        "findings": tuple(finding),
    }


FormValues = Annotated[dict[str, Any], Depends(_form_values)]


@router.get("/sites/{site_id}/visits/new")
def new_visit(record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the booking form, with the home's findings and their expected duration."""
    reader(request, "visits.write", record.site.id)
    stop = stop_of(parts, record.site.id)
    values = {
        "day": "",
        "at": f"{USUAL_TIME:%H:%M}",
        "minutes": str(stop["minutes"]),
        "person": "",
        "note": "",
        "findings": tuple(f["code"] for f in stop["findings"]),
    }
    return _form(request, parts, record, values, {})


@router.post("/sites/{site_id}/visits")
def book(
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    values: FormValues,
    csrf: Csrf = "",
) -> Response:
    """Book a visit."""
    actor = writer(request, "visits.write", csrf, record.site.id)
    return _save(request, parts, record, values, actor, None)


@router.get("/sites/{site_id}/visits/{visit}")
def visit_form(visit: RowId, record: SiteRecordHere, request: Request, parts: AppStateHere) -> Response:
    """Show the form to change or cancel a visit."""
    reader(request, "visits.write", record.site.id)
    row = parts.bookings.get(record.site.id, visit)
    local = row.start.astimezone(record.site.zone)
    values = {
        "day": local.date().isoformat(),
        "at": f"{local:%H:%M}",
        "minutes": str(row.minutes),
        "person": str(row.person or ""),
        "note": row.note,
        "findings": row.findings,
    }
    return _form(request, parts, record, values, {}, row)


@router.post("/sites/{site_id}/visits/{visit}")
def change_visit(
    visit: RowId,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
    values: FormValues,
    csrf: Csrf = "",
) -> Response:
    """Change a visit."""
    actor = writer(request, "visits.write", csrf, record.site.id)
    row = parts.bookings.get(record.site.id, visit)
    return _save(request, parts, record, values, actor, row)


@router.post("/sites/{site_id}/visits/{visit}/cancel")
def cancel_visit(
    visit: RowId, record: SiteRecordHere, request: Request, parts: AppStateHere, csrf: Csrf = ""
) -> Response:
    """Cancel a visit."""
    actor = writer(request, "visits.write", csrf, record.site.id)
    row = parts.bookings.cancel(record.site.id, visit, actor, datetime.now(UTC))
    parts.audit.note(actor, "visit cancelled", record.site.id, visit=visit)
    return see_other(f"/visits/calendar?from={row.start.astimezone(record.site.zone).date().isoformat()}")


def _save(
    request: Request,
    parts: AppState,
    record: SiteRecord,
    values: dict[str, Any],
    actor: Any,
    row: BookingRow | None,
) -> Response:
    """Book or change a visit; invalid input is shown again as typed."""
    wish, problems = _read(record, values)
    site, now = record.site.id, datetime.now(UTC)
    if wish is not None and not values["even_so"] and (other := _also_open(parts, site, wish)):
        problems["clash"] = f"Another visit that nobody has yet is booked for that time, at {other}."
    elif wish is not None:
        try:
            if row is None:
                made = parts.bookings.book(site, wish, actor, now, even_so=bool(values["even_so"]))
            else:
                made = parts.bookings.change(site, row.id, wish, actor, now, even_so=bool(values["even_so"]))
        except Clash as error:
            home = homes_of(parts).get(error.site, {}).get("name", error.site)
            problems["clash"] = f"{error.message(error.person, home)}."
        except InputError as error:
            problems["day"] = sentence(error)
        else:
            parts.audit.note(actor, "visit changed" if row else "visit booked", site, visit=made.id)
            return see_other(f"/visits/calendar?from={values['day'].strip()}")
    return _form(request, parts, record, values, problems, row)


def _also_open(parts: AppState, site: str, wish: BookingRequest) -> str:
    """Another home with an unassigned visit at the same time, if this one is unassigned too; else empty. Two
    visits to one home are one trip."""
    if wish.person is not None:
        return ""
    near, end = timedelta(minutes=MOST_MINUTES), wish.start + timedelta(minutes=wish.minutes)
    for other in parts.bookings.between(wish.start - near, end):
        overlaps = other.start + timedelta(minutes=other.minutes) > wish.start
        if other.site != site and other.person is None and overlaps:
            return str(homes_of(parts).get(other.site, {}).get("name", other.site))
    return ""


def _form(
    request: Request,
    parts: AppState,
    record: SiteRecord,
    values: dict[str, Any],
    problems: dict[str, str],
    row: BookingRow | None = None,
) -> Response:
    stop = stop_of(parts, record.site.id)
    codes = [f["code"] for f in stop["findings"]]
    named = [c for c in (*values["findings"], *(row.findings if row else ())) if is_code(c)]
    stop["codes"] = list(dict.fromkeys([*codes, *named]))
    at = page_rows.row_of(parts, record, None)
    shown = pages.present_visit(asdict(row), record.site.zone, at["name"], today_at(record)) if row else None
    people = colleagues(parts.service.database)
    page = pages.booking_page(at, values, stop, people, problems, visitor(request), shown)
    return HTMLResponse(page, 422 if problems else 200)


def _read(record: SiteRecord, values: dict[str, Any]) -> tuple[BookingRequest | None, dict[str, str]]:
    """The requested visit, or None and the problem of each field."""
    problems: dict[str, str] = {}
    day, at, minutes = day_given(values["day"]), _time(values["at"]), values["minutes"].strip()
    if day is None:
        problems["day"] = "Give the day of the visit."
    elif day < today_at(record):
        problems["day"] = f"{words.day(day)} is over; give a day to come."
    if at is None:
        problems["at"] = "Give the time, such as 09:30."
    if not (minutes.isascii() and minutes.isdecimal() and 5 <= int(minutes) <= MOST_MINUTES):
        problems["minutes"] = f"The length is a whole number of minutes from 5 to {MOST_MINUTES}, such as 90."
    person = number_given(values["person"])
    if values["person"].strip() and person is None:
        problems["person"] = "Choose a person of the firm, or unassigned."
    if problems or day is None or at is None:
        return None, problems
    try:
        start = moment_of(day, at, record.site.zone)
    except InputError as error:
        return None, {"at": sentence(error)}
    codes = tuple(dict.fromkeys(c for c in values["findings"] if is_code(c)))[:MOST_FINDINGS]
    note = printable(values["note"]).strip()
    return BookingRequest(start, int(minutes), person, codes, note), {}


def _time(text: str) -> time | None:
    try:
        return time.fromisoformat(text.strip()).replace(second=0, microsecond=0, tzinfo=None)
    except ValueError:
        return None
