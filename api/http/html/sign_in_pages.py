"""Pages for signing in and out, invitations, home links, and papers on screen."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal

from fastapi import Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import (
    CSRF_FIELD,
    AppStateHere,
    SiteRecordHere,
    check_form,
    cookie_name,
    session_of,
)
from fieldfare.api.http.html.reader_language import in_readers_language, wishes
from fieldfare.api.http.html.site_pages import reader
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.sessions import (
    Proof,
    complete_session,
    end_session,
    forget_in_browser,
    mark_device,
    open_session,
    origin_of,
    passkey_request,
    set_cookie,
)
from fieldfare.api.records.papers import paper_for, rendered
from fieldfare.dashboards import pages as looks

router = page_router()
Secret = Annotated[str, Form(max_length=1024)]
Email = Annotated[str, Form(max_length=254)]


@router.get("/sites/{site_id}/papers/{kind}/{period}")
def paper(
    kind: Literal["month", "winter", "hand-over", "service", "commissioning"],
    period: str,
    record: SiteRecordHere,
    request: Request,
    parts: AppStateHere,
) -> Response:
    """Show a paper on screen."""
    reader(request, "papers.read", record.site.id)
    paper = paper_for(parts.service, record, kind, period)
    return rendered(paper, "html", served=True, accepts=wishes(request))


@router.get("/sign-in")
def sign_in_page(request: Request, parts: AppStateHere) -> Response:
    """Show the sign-in form."""
    return in_readers_language(request, lambda: _sign_in_page(parts, ""))


@router.post("/sign-in")
def sign_in(request: Request, parts: AppStateHere, email: Email = "", password: Secret = "") -> Response:
    """Handle the sign-in form."""
    if not (email.strip() and password):
        page = partial(_sign_in_page, parts, looks.GIVE_BOTH, email)
        return in_readers_language(request, page, status=422)
    try:
        opened = open_session(request, parts, email, password)
    except InputError as error:
        page = partial(_sign_in_page, parts, str(error), email)
        return in_readers_language(request, page, status=401)
    if not opened.pending:
        return signed_in(parts, opened.secret)
    response = _to("/sign-in/second")
    set_cookie(response, parts, opened.secret)
    return response


@router.get("/sign-in/second")
def second_step_page(request: Request, parts: AppStateHere) -> Response:
    """Show the form for the second factor: a code or a passkey."""
    waiting = parts.sign_in.pending(request.cookies.get(cookie_name(parts), ""))
    return HTMLResponse(_second_page(parts, *waiting, "")) if waiting else _to("/sign-in")


@router.post("/sign-in/second")
def second_step(
    request: Request,
    parts: AppStateHere,
    code: Secret = "",
    credential: Annotated[str, Form(max_length=20_000)] = "",
) -> Response:
    """Complete a sign-in with the second factor."""
    secret = request.cookies.get(cookie_name(parts), "")
    try:
        opened = complete_session(request, parts, secret, Proof(code, credential))
    except InputError as error:
        waiting = parts.sign_in.pending(secret)
        page = _second_page(parts, *waiting, str(error)) if waiting else _sign_in_page(parts, str(error))
        return HTMLResponse(page, 401)
    return signed_in(parts, opened.secret)


@router.post("/sign-out")
def sign_out(request: Request, parts: AppStateHere, csrf: Annotated[str, Form(alias=CSRF_FIELD)]) -> Response:
    """Handle the sign-out form."""
    live = session_of(request)
    if live is not None:
        check_form(live, csrf)
        end_session(request, parts)
    response = _to("/sign-in")
    forget_in_browser(response, parts)
    return response


@router.get("/welcome/{secret}")
def welcome_page(secret: str, request: Request, parts: AppStateHere) -> Response:
    """Show the form where an invited person sets a password."""
    if parts.accounts.invited(secret) is None:
        return _ended(request)
    return in_readers_language(request, lambda: _welcome(parts, secret, ""))


def _ended(request: Request) -> Response:
    """Page for a used or expired invitation."""
    return in_readers_language(request, looks.ended_invitation_page, status=410)


@router.post("/welcome/{secret}")
def welcome(secret: str, request: Request, parts: AppStateHere, password: Secret = "") -> Response:
    """Set an invited person's password, and sign them in."""
    try:
        row = parts.accounts.set_invited_password(secret, password)
    except InputError as error:
        if parts.accounts.invited(secret) is None:
            return _ended(request)
        problem = str(error)
        return in_readers_language(request, lambda: _welcome(parts, secret, problem), status=400)
    return _let_in(request, parts, row.id)


@router.get("/first/{secret}")
def first_page(secret: str, request: Request) -> Response:
    """Show the form for the first user; its address was printed at start."""
    return in_readers_language(request, lambda: looks.welcome_page("", is_first=True))


@router.post("/first/{secret}")
def first(
    secret: str,
    request: Request,
    parts: AppStateHere,
    email: Email = "",
    name: Annotated[str, Form(max_length=120)] = "",
    password: Secret = "",
) -> Response:
    """Register the first user, and sign them in."""
    try:
        row = parts.accounts.make_first_user(secret, email, name, password)
    except InputError as error:
        page = partial(looks.welcome_page, str(error), is_first=True, typed={"name": name, "email": email})
        return in_readers_language(request, page, status=400)
    return _let_in(request, parts, row.id)


@router.get("/home/{text}")
def by_link(text: str, parts: AppStateHere) -> Response:
    """Exchange a home link for a session, so that the link does not stay in the address bar."""
    link = parts.links.open(text)
    secret = parts.sign_in.open_for_link(link.id)
    if live := parts.sign_in.live_session(secret):
        parts.audit.note(live.actor, "came by link", link.site)
    return signed_in(parts, secret, f"/sites/{link.site}")


def _welcome(parts: AppState, secret: str, problem: str) -> str:
    """Render the invitation page: names the invited person and their home. Only they have its secret."""
    person = parts.accounts.invited(secret)
    if person is None:  # used in the meantime
        return looks.ended_invitation_page()
    records = (parts.service.sites.find(site) for site in person.sites)
    homes = [record.site.name for record in records if record is not None]
    return looks.welcome_page(problem, is_first=False, name=person.name, role=person.role, homes=homes)


def _sign_in_page(parts: AppState, error: str, email: str = "") -> str:
    provider = parts.settings.provider_name if parts.settings.provider_url else ""
    return looks.sign_in_page(error, provider, email)


def _second_page(parts: AppState, person: int, key: str, error: str) -> str:
    has_app = any(f.kind == "totp" for f in parts.factors.of_person(person))
    return looks.second_step_page(error, passkey_request(parts, person, key), has_app=has_app)


def _let_in(request: Request, parts: AppState, person: int) -> Response:
    """Open a session after setting a password. A person with a second factor signs in with it instead."""
    if parts.factors.of_person(person):
        return _to("/sign-in")
    secret = parts.sign_in.open_for_person(person, origin_of(request))
    if live := parts.sign_in.live_session(secret):
        parts.audit.note(live.actor, "password set")
    return signed_in(parts, secret)


def signed_in(parts: AppState, secret: str, where: str = "/") -> Response:
    """Response that sets a new session's cookies."""
    response = _to(where)
    set_cookie(response, parts, secret)
    if live := parts.sign_in.live_session(secret):
        mark_device(response, parts, live.actor.person)
    return response


def _to(where: str) -> RedirectResponse:
    return RedirectResponse(where, 303)
