"""Ways in for people: signing in and out, invitations, a home's link; and papers to read on the screen."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import (
    CSRF_FIELD,
    AppStateHere,
    PlantHere,
    actor_of,
    check,
    visit_of,
)
from fieldfare.api.http.html.reader_language import in_readers_language
from fieldfare.api.http.rest.people import (
    end_session,
    forget_in_browser,
    mark_device,
    open_session,
    set_cookie,
)
from fieldfare.api.people.access import Actor
from fieldfare.api.people.sign_in import same
from fieldfare.api.records.papers import paper_for, rendered
from fieldfare.dashboards import pages as looks

router = APIRouter()
Secret = Annotated[str, Form(max_length=1024)]


@router.get("/sites/{site_id}/papers/{kind}/{period}")
def paper(
    kind: Literal["month", "winter", "hand-over", "service", "commissioning"],
    period: str,
    plant: PlantHere,
    request: Request,
    parts: AppStateHere,
) -> Response:
    """A paper to read on the screen."""
    if (refusal := _refusal(request, "papers.read", plant.site.id)) is not None:
        return refusal
    accepts = request.headers.get("accept-language", "")
    return rendered(paper_for(parts.service, plant, kind, period), "html", served=True, accepts=accepts)


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    return in_readers_language(request, lambda: looks.sign_in_page(""))


@router.post("/sign-in")
def sign_in(
    request: Request, parts: AppStateHere, email: Annotated[str, Form(max_length=254)], password: Secret
) -> Response:
    """Sign in by the form."""
    try:
        secret = open_session(request, parts, email, password)
    except InputError as error:
        problem = str(error)
        return in_readers_language(request, lambda: looks.sign_in_page(problem), status=401)
    return _signed_in(parts, secret)


@router.post("/sign-out")
def sign_out(request: Request, parts: AppStateHere, csrf: Annotated[str, Form(alias=CSRF_FIELD)]) -> Response:
    """Sign out by the form."""
    visit = visit_of(request)
    if visit is not None:
        if not same(csrf, visit.csrf):
            raise HTTPException(403, "the form is not of this session")
        end_session(request, parts)
    response = _to("/sign-in")
    forget_in_browser(response, parts)
    return response


@router.get("/welcome/{secret}")
def welcome_page(secret: str, request: Request, parts: AppStateHere) -> Response:
    """Where an invited person sets a password."""
    return in_readers_language(request, lambda: _welcome(parts, secret, ""))


@router.post("/welcome/{secret}")
def welcome(secret: str, request: Request, parts: AppStateHere, password: Secret) -> Response:
    try:
        row = parts.accounts.set_invited_password(secret, password)
    except InputError as error:
        problem = str(error)
        return in_readers_language(request, lambda: _welcome(parts, secret, problem), status=400)
    return _let_in(parts, row.id)


@router.get("/first/{secret}")
def first_page(secret: str, request: Request) -> Response:
    """Where the first user is made; the address was printed when the service started."""
    return in_readers_language(request, lambda: looks.welcome_page("", is_first=True))


@router.post("/first/{secret}")
def first(
    secret: str,
    parts: AppStateHere,
    email: Annotated[str, Form(max_length=254)],
    name: Annotated[str, Form(max_length=120)],
    password: Secret,
) -> Response:
    try:
        row = parts.accounts.make_first_user(secret, email, name, password)
    except InputError as error:
        return HTMLResponse(looks.welcome_page(str(error), is_first=True), 400)
    return _let_in(parts, row.id)


@router.get("/home/{text}")
def by_link(text: str, parts: AppStateHere) -> Response:
    """A home's link: it becomes a session, so that the link itself leaves the address bar."""
    link = parts.links.open(text)
    secret = parts.sign_in.open_for_link(link.id)
    if visit := parts.sign_in.visit(secret):
        parts.audit.note(visit.actor, "came by link", link.site)
    return _signed_in(parts, secret, f"/sites/{link.site}")


def _welcome(parts: AppState, secret: str, problem: str) -> str:
    """The page with whom and which home the invitation is for; only the invited have its secret."""
    person = parts.accounts.invited(secret)
    if person is None:
        ended = "this address is not, or no longer, good; ask for a new one"
        return looks.welcome_page(problem or ended, is_first=False)
    plants = (parts.service.sites.find(site) for site in person.sites)
    homes = [plant.site.site.name for plant in plants if plant is not None]
    return looks.welcome_page(problem, is_first=False, name=person.name, role=person.role, homes=homes)


def _refusal(request: Request, permission: str, site: str) -> Response | None:
    """Nobody is sent to sign in; who may not see a site is told that there is none. None where all is
    well."""
    actor: Actor = actor_of(request)
    if actor.role == "nobody":
        return _to("/sign-in")
    check(actor, permission, site)
    request.app.state.parts.audit.note_access(actor, site)
    return None


def _let_in(parts: Any, person: int) -> Response:
    secret = parts.sign_in.open_for_person(person)
    if visit := parts.sign_in.visit(secret):
        parts.audit.note(visit.actor, "password set")
    return _signed_in(parts, secret)


def _signed_in(parts: Any, secret: str, where: str = "/") -> Response:
    response = _to(where)
    set_cookie(response, parts, secret)
    if visit := parts.sign_in.visit(secret):
        mark_device(response, parts, visit.actor.person)
    return response


def _to(where: str) -> RedirectResponse:
    return RedirectResponse(where, 303)
