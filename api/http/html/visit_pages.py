"""Pages of visits: list, calendar, printable day, iCalendar feed."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated, Any

from fastapi import HTTPException, Path, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.visits.route import drive_order
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import typed_day
from fieldfare.api.http.html.site_pages import reader, visitor
from fieldfare.api.http.routers import page_router
from fieldfare.api.visits.bookings import colleagues
from fieldfare.api.visits.feed import calendar, visits_of
from fieldfare.api.visits.rows import (
    homes_of,
    job_minutes,
    present_visits,
    visit_rows,
)
from fieldfare.dashboards import pages
from fieldfare.dashboards.fleet.visits import contact_words, visit_list

router = page_router()
SHOWN_AHEAD = timedelta(days=14)
DAY = timedelta(days=1)


@router.get("/visits")
def visits(request: Request, parts: AppStateHere) -> Response:
    """Show homes that need a visit, a setting or a call; by area, with what to bring."""
    reader(request, "visits.read")
    now = page_rows.clock(parts)
    booked = present_visits(parts, now - DAY / 2, now + SHOWN_AHEAD)
    page = pages.visits_page(
        visit_rows(parts),
        visitor(request),
        dict(request.query_params),
        now,
        start=parts.service.firm.position,
        jobs=job_minutes(parts.service.database),
        booked=booked,
    )
    return HTMLResponse(page)


@router.get("/visits/calendar")
def week(request: Request, parts: AppStateHere) -> Response:
    """Show a week of visits; `?from=` any day of it, `?person=` of one person."""
    reader(request, "visits.read")
    today = _firm_today(parts)
    chosen = day_given(request.query_params.get("from", "")) or today
    first = chosen - timedelta(days=chosen.weekday())
    person = number_given(request.query_params.get("person", ""))
    start = datetime.combine(first, time(), UTC)
    found = present_visits(parts, start - DAY, start + 8 * DAY, person)
    days = [
        (day, [v for v in found if v["day"] == day.isoformat()])
        for day in (first + n * DAY for n in range(7))
    ]
    people = colleagues(parts.service.database)
    return HTMLResponse(pages.calendar_page(days, people, person, visitor(request), today))


@router.get("/visits/day/{day}")
def day_sheet(day: date, request: Request, parts: AppStateHere) -> Response:
    """Show a day's visits for printing; `?person=` of one person."""
    reader(request, "visits.read")
    _in_range(day)
    person = number_given(request.query_params.get("person", ""))
    start = datetime.combine(day, time(), UTC)
    found = [
        v for v in present_visits(parts, start - DAY, start + 2 * DAY, person) if v["day"] == day.isoformat()
    ]
    stops = {v["site"]: stop_of(parts, v["site"]) for v in found}
    numbered = [stops[v["site"]] | {"visit": v, "number": n} for n, v in enumerate(found, start=1)]
    firm, who = parts.service.firm, colleagues(parts.service.database).get(person or 0, "Everybody")
    page = pages.day_page(
        day,
        numbered,
        who,
        visitor(request),
        firm.signature,
        firm.position,
        _shorter(numbered, firm.position),
        person,
    )
    return HTMLResponse(page)


@router.get("/calendar/{secret}.ics")
def feed(secret: Annotated[str, Path(max_length=100)], parts: AppStateHere) -> Response:
    """A person's visits as iCalendar. The address is the only credential, so an unknown one gets a plain
    404."""
    opened = parts.feeds.open(secret)
    if opened is None:
        raise HTTPException(404, "there is no such calendar, or its address was renewed")
    row, name = opened
    found = visits_of(parts.service.database, row.person, datetime.now(UTC))
    body = calendar(found, homes_of(parts), name, parts.settings.address, with_contact=row.with_contact)
    headers = {
        "Cache-Control": "private, no-store",
        "Referrer-Policy": "no-referrer",
        "X-Robots-Tag": "noindex",
        "Content-Disposition": 'inline; filename="visits.ics"',
    }
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)


def stop_of(parts: AppState, site: str) -> dict[str, Any]:
    """A home as an entry of the visit list; without findings if none needs a visit."""
    found = list(visit_rows(parts, site))
    for kind in visit_list(found, page_rows.clock(parts), None, job_minutes(parts.service.database)):
        return dict(kind["areas"][0]["stops"][0])
    row = found[0]
    return {
        "id": row["id"],
        "name": row["name"],
        "verdict": "in_order",
        "findings": [],
        "bring": [],
        "cautions": [],
        "minutes": 30,
        "contact": contact_words(row["contact"], row["position"]),
        "position": row["position"],
    }


def _shorter(stops: list[dict[str, Any]], start: tuple[float, float] | None) -> list[str]:
    """Names in the order of the shortest drive; empty if the day already has that order or positions are
    missing."""
    positions = [s["position"] for s in stops]
    one_person = len({s["visit"]["person"] for s in stops}) == 1
    if len(stops) < 3 or not one_person or any(p is None for p in positions):
        return []
    order = drive_order(positions, start)
    same = list(range(len(stops)))
    return [] if order in (same, same[::-1]) else [stops[i]["name"] for i in order]


def _firm_today(parts: AppState) -> date:
    """Today, in the time zone of most homes."""
    zones = [card.zone for card in parts.service.sites.cards()]
    now = datetime.now(UTC)
    return now.astimezone(max(zones, key=zones.count)).date() if zones else now.date()


def _in_range(day: date) -> None:
    if not date(2000, 1, 1) <= day <= date(2199, 12, 31):
        raise InputError(f"{day} is no day that visits are booked for")


def day_given(text: str) -> date | None:
    """Parse a bookable day; None for any other text."""
    day = typed_day(text)
    return day if day is not None and date(2000, 1, 1) <= day <= date(2199, 12, 1) else None


def number_given(text: str) -> int | None:
    """Parse the id of an account; None for any other text."""
    text = text.strip()
    return (
        int(text)
        if text.isascii() and text.isdecimal() and 0 < int(text[:10]) < 2**31 and len(text) <= 10
        else None
    )
