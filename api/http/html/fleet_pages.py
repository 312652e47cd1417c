"""Pages about several homes: live overview, comparison, bulk decisions, report, saved views."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlsplit

from fastapi import Form, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.decisions import Decision
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import UnknownSite
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere, check
from fieldfare.api.http.finding_actions import colleagues, decide
from fieldfare.api.http.html import page_rows
from fieldfare.api.http.html.form_values import typed_day
from fieldfare.api.http.html.live_fleet import live_rows
from fieldfare.api.http.html.site_pages import (
    NO_STORE,
    Csrf,
    fleet_list,
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.schemas import RowId
from fieldfare.dashboards import pages
from fieldfare.dashboards.figures.two_homes import Home
from fieldfare.dashboards.rows.days import day_rows, rows_of_result

router = page_router()
Text = Annotated[str, Form(max_length=1000)]
Sites = Annotated[list[str], Query(max_length=3000)]


@router.get("/live")
def live(request: Request, parts: AppStateHere, part: Annotated[int, Query(ge=0, le=1)] = 0) -> Response:
    """Live overview: units by operating state; `?part=1` returns the rows only."""
    reader(request, "fleet.read")
    page = pages.live_page(live_rows(parts), visitor(request), page_rows.clock(parts), part=bool(part))
    return HTMLResponse(page, headers=NO_STORE)


@router.get("/compare")
def compare(
    request: Request,
    parts: AppStateHere,
    a: Annotated[str, Query(max_length=40)] = "",
    b: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """Compare two homes."""
    reader(request, "fleet.read")
    cards = sorted(parts.service.sites.cards(), key=lambda c: c.name.casefold())
    homes = [(c.id, c.name) for c in cards]
    pair, problem = None, ""
    if a and b:
        found = [_home(request, parts, site) for site in (a, b)]
        lacking = [h for h in found if isinstance(h, str)]
        problem = " ".join(lacking)
        if not lacking:
            pair = found[0], found[1]
    other = next((site for site, _ in homes if site != (a or homes[0][0])), "") if homes else ""
    chosen = {"a": a or (homes[0][0] if homes else ""), "b": b or other}
    page = pages.compare_page(homes, chosen, pair, problem, visitor(request))  # type: ignore[arg-type]
    return HTMLResponse(page)


def _home(request: Request, parts: AppState, site_id: str) -> Home | str:
    """A home with its rolling year, or the reason why it can't be shown. Raises UnknownSite."""
    record = parts.service.sites.get(site_id)
    reader(request, "site.read", site_id)
    made = attempt(site_id, "work out its results", lambda: page_rows.period_result(parts, record, {}))
    if isinstance(made, Failure):
        return f"{record.site.name}: {made.reason}."
    result, facts, _ = made
    if result is None:
        return f"{record.site.name} has no readings yet."
    rows = day_rows(facts, record.site.zone) if facts is not None else rows_of_result(result)
    return Home(record.site.name, record.site, result, rows)


@router.get("/homes/chosen")
def chosen(
    request: Request,
    parts: AppStateHere,
    site: Sites = [],  # noqa: B006 (FastAPI copies it)
) -> Response:
    """Show the findings of the selected homes for a bulk decision; default: all homes that match the URL's
    filters."""
    actor = reader(request, "alerts.handle")
    now = page_rows.clock(parts)
    entries = pages.chosen_entries(_homes(request, parts, site), site, request.query_params, now)
    return HTMLResponse(
        pages.chosen_page(entries, colleagues(parts, actor), visitor(request), datetime.now(UTC))
    )


@router.post("/homes/chosen")
def decide_many(
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    do: Text = "",
    who: Text = "",
    until: Text = "",
    reason: Text = "",
    site: Annotated[list[str], Form()] = [],  # noqa: B006
    finding: Annotated[list[str], Form()] = [],  # noqa: B006
) -> Response:
    """Decide about each selected finding, by the rules for a single one; reports those that fail."""
    actor = writer(request, "alerts.handle", csrf)
    done, problems = [], []
    decision = Decision(do, who or actor.name, typed_day(until), reason)
    for key in dict.fromkeys(finding):
        site_id, _, code = key.partition("/")
        name = f"{pages.finding_title(code)}, {site_id[:40]}"
        try:
            check(actor, "alerts.handle", site_id)
            record = parts.service.sites.get(site_id)
            name = f"{pages.finding_title(code)}, {record.site.name}"
            decide(parts, record, code, decision, actor)
        except UnknownSite:
            problems.append(f"{name}: there is no such home.")
        except InputError as error:
            problems.append(f"{name}: {error}.")
        else:
            parts.audit.note_access(actor, site_id)
            done.append(name)
    if not finding:
        problems.append("Tick at least one finding.")
    chosen_homes = page_rows.fleet(parts, Chosen(sites=site or [""]))
    entries = pages.chosen_entries(chosen_homes, site or [""], {}, page_rows.clock(parts))
    values = {"who": who, "until": until, "reason": reason}
    page = pages.chosen_page(
        entries,
        colleagues(parts, actor),
        visitor(request),
        datetime.now(UTC),
        done=done,
        problems=problems,
        ticked=finding if problems and not done else None,
        values=values if problems else None,
    )
    return HTMLResponse(page, 422 if problems and not done else 200)


@router.get("/homes/report")
def report(request: Request, parts: AppStateHere, site: Sites = []) -> Response:  # noqa: B006
    """Printable report of the selected homes."""
    reader(request, "fleet.read")
    now = page_rows.clock(parts)
    entries = pages.chosen_entries(_homes(request, parts, site), site, request.query_params, now)
    firm = parts.service.firm.signature
    return HTMLResponse(pages.homes_report(entries, visitor(request), datetime.now(UTC), firm))


@router.post("/views")
def keep_view(
    request: Request, parts: AppStateHere, csrf: Csrf = "", name: Text = "", address: Text = ""
) -> Response:
    """Save the current filters under a name."""
    actor = writer(request, "fleet.read", csrf)
    if actor.person is None:
        raise HTTPException(403, "only people with an account can save views")
    query = dict(parse_qsl(urlsplit(address).query))
    chosen_by = pages.address_of(pages.asked_of(query))
    try:
        parts.saved_views.keep(actor.person, name, chosen_by)
    except InputError as error:
        return HTMLResponse(fleet_list(request, parts, actor, query, (name, str(error))), 422)
    return see_other(chosen_by)


@router.post("/views/{view}/remove")
def remove_view(view: RowId, request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Delete a saved view."""
    actor = writer(request, "fleet.read", csrf)
    if actor.person is not None:
        parts.saved_views.remove(actor.person, view)
    return see_other("/")


def _homes(request: Request, parts: AppState, sites: list[str]) -> Iterator[dict[str, Any]]:
    """The named homes; default: those that match the URL's filters."""
    query = None if sites else pages.asked_of(request.query_params)
    return page_rows.fleet(parts, Chosen(query, sites))
