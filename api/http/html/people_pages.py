"""Pages of people: accounts, roles, homes, invitations, removal."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from difflib import get_close_matches
from typing import Annotated, Any

from fastapi import Form, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import AppStateHere
from fieldfare.api.http.html.form_values import own_address, sentence
from fieldfare.api.http.html.site_pages import (
    NO_STORE,
    Csrf,
    reader,
    see_other,
    visitor,
    writer,
)
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.schemas import RowId
from fieldfare.api.people.accounts import INVITED_FOR, PersonRow
from fieldfare.api.people.invitations import take_in, welcome_address
from fieldfare.dashboards import pages

router = page_router()
Text = Annotated[str, Form(max_length=300)]


@router.get("/people")
def people(request: Request, parts: AppStateHere) -> Response:
    """List all accounts."""
    reader(request, "people.read")
    notice = "Removed." if "removed" in request.query_params else ""
    return _list(request, parts, {}, notice=notice)


@router.post("/people")
def invite(
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    name: Text = "",
    email: Text = "",
    role: Text = "",
    home: Text = "",
) -> Response:
    """Invite a person; their page shows the one-time address once."""
    actor = writer(request, "people.write", csrf)
    values = {"name": name, "email": email, "role": role, "home": home}
    try:
        sites = [_home(parts, home)] if role == "householder" else []
        row = take_in(parts.accounts, parts.audit, actor, email, name, role, sites)
    except InputError as error:
        return _list(request, parts, values, problem=sentence(error))
    return _person(request, parts, row, link=_link(request, parts, row.id))


@router.get("/people/{person}")
def person(person: RowId, request: Request, parts: AppStateHere) -> Response:
    """Show one person."""
    reader(request, "people.read")
    notice = "Saved." if "saved" in request.query_params else ""
    return _person(request, parts, parts.accounts.get(person), notice=notice)


@router.post("/people/{person}")
def change(
    person: RowId,
    request: Request,
    parts: AppStateHere,
    csrf: Csrf = "",
    do: Text = "save",
    name: Text = "",
    role: Text = "",
    home: Text = "",
) -> Response:
    """Change name, role or homes; stop, reinstate, re-invite or remove."""
    actor = writer(request, "people.write", csrf)
    row = parts.accounts.get(person)
    values = {"name": name or row.name, "role": role or row.role, "home": home}
    try:
        if do == "remove":
            parts.accounts.remove(person)
            parts.audit.note(actor, "person removed", person=person)
            return see_other("/people?removed=1")
        if do == "invite":
            parts.audit.note(actor, "person invited", person=person)
            return _person(request, parts, row, link=_link(request, parts, person))
        changed = parts.accounts.change(person, **_changes_of(parts, row, do, values))
    except InputError as error:
        return _person(request, parts, parts.accounts.get(person), values=values, problem=sentence(error))
    parts.audit.note(
        actor,
        "person changed",
        person=person,
        role=changed.role,
        active=changed.active,
        homes=list(changed.sites),
    )
    return see_other(f"/people/{person}?saved=1")


def _changes_of(parts: AppState, row: PersonRow, do: str, values: dict[str, str]) -> dict[str, Any]:
    """Apply the change of a button. Raises InputError."""
    if do == "stop":
        return {"active": False}
    if do == "let-in":
        return {"active": True}
    if do == "give":
        return {"sites": [*row.sites, _home(parts, values["home"])]}
    if do.startswith("take-"):
        return {"sites": [s for s in row.sites if s != do.removeprefix("take-")]}
    if do != "save":
        raise InputError("choose what to do with the buttons of the page")
    return {"name": values["name"], "role": values["role"]}


def _home(parts: AppState, text: str) -> str:
    """Find a site by name or id. Raises InputError."""
    wanted_home = " ".join(text.split()).lower()
    if not wanted_home:
        raise InputError("name the home of the householder")
    cards = parts.service.sites.cards()
    found = [c.id for c in cards if wanted_home in (c.id, c.name.lower())]
    if not found:
        near = get_close_matches(wanted_home, [c.name.lower() for c in cards], n=1)
        meant = next((c.name for c in cards if c.name.lower() in near), "")
        hint = f"did you mean {meant}?" if meant else "choose one of the list"
        raise InputError(f"there is no home {text.strip()[:60]!r}; {hint}")
    if len(found) > 1:
        raise InputError(
            f"several homes are called {text.strip()[:60]!r}; "
            f"give one by its short name: {', '.join(found[:5])}"
        )
    return found[0]


def _link(request: Request, parts: AppState, person: int) -> str:
    return welcome_address(parts.accounts, person, own_address(request, parts))


def _list(
    request: Request, parts: AppState, values_sent: dict[str, str], *, problem: str = "", notice: str = ""
) -> Response:
    homes = _homes(parts)
    rows = [asdict(row) for row in parts.accounts.all()]
    values = {"name": "", "email": "", "role": "householder", "home": "", **values_sent}
    page = pages.people_page(rows, homes, values, visitor(request), problem=problem, notice=notice)
    return HTMLResponse(page, 422 if problem else 200)


def _person(
    request: Request,
    parts: AppState,
    row: PersonRow,
    *,
    values: dict[str, str] | None = None,
    problem: str = "",
    notice: str = "",
    link: str = "",
) -> Response:
    shown = values or {"name": row.name, "role": row.role, "home": ""}
    ends = (datetime.now(UTC) + INVITED_FOR).date().isoformat() if link else ""
    at = visitor(request)
    page = pages.person_page(
        asdict(row),
        _homes(parts),
        shown,
        at,
        problem=problem,
        notice=notice,
        link=link,
        ends=ends,
        is_self=at["name"] == row.email,
    )
    headers = NO_STORE if link else None
    return HTMLResponse(page, 422 if problem else 200, headers=headers)


def _homes(parts: AppState) -> dict[str, str]:
    return {card.id: card.name for card in parts.service.sites.cards()}
