"""Sign-in and confirmation with the firm's OpenID Connect provider."""

from __future__ import annotations

from typing import Annotated

from fastapi import Form, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import (
    CSRF_FIELD,
    AppStateHere,
    check_form,
    cookie_name,
    is_secure,
    session_of,
)
from fieldfare.api.http.html.sign_in_pages import signed_in
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.sessions import note_refusal, open_for_provider, set_cookie
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.provider import STARTED_FOR_S, Provider
from fieldfare.dashboards import pages

router = page_router()


@router.post("/sign-in/provider")
def begin(
    request: Request, parts: AppStateHere, csrf: Annotated[str, Form(alias=CSRF_FIELD)] = ""
) -> Response:
    """Redirect to the provider: to sign in, or to confirm a signed-in person."""
    visit = session_of(request)
    if csrf:
        check_form(visit, csrf)
    confirms = (visit.actor.person or 0) if visit is not None and csrf else 0
    try:
        address, signed = _provider(parts).start(confirms)
    except InputError as error:
        return HTMLResponse(pages.sign_in_page(str(error), parts.settings.provider_name), 503)
    # The page's content security policy allows forms to this service only, so this is a link, not a redirect
    # of the form.
    response = HTMLResponse(pages.leave_page(address, parts.settings.provider_name))
    response.headers["Cache-Control"] = "no-store"
    response.set_cookie(
        _cookie(parts),
        signed,
        STARTED_FOR_S,
        path="/",
        secure=is_secure(parts),
        httponly=True,
        samesite="lax",
    )
    return response


@router.get("/sign-in/provider/done")
def done(request: Request, parts: AppStateHere) -> Response:
    """Callback of the provider."""
    answer = {name: value[:4096] for name, value in request.query_params.items()}
    try:
        signed = request.cookies.get(_cookie(parts), "")
        person, confirms = _provider(parts).finish(signed, answer, parts.accounts)
        if confirms:
            response = _confirmed(request, parts, person.id, confirms)
        else:
            response = signed_in(parts, open_for_provider(request, parts, person.id).secret)
    except InputError as error:
        note_refusal(request, parts, error)
        page = pages.sign_in_page(str(error), parts.settings.provider_name)
        response = HTMLResponse(page, 401 if isinstance(error, AccountRefused) else 503)
    response.delete_cookie(_cookie(parts), path="/", secure=is_secure(parts), httponly=True, samesite="lax")
    return response


def _confirmed(request: Request, parts: AppState, person: int, confirms: int) -> Response:
    visit = session_of(request)
    if visit is None or visit.actor.person != confirms or person != confirms:
        raise AccountRefused("the provider knows you as somebody else")
    response = RedirectResponse("/", 303)
    set_cookie(response, parts, parts.sessions.confirm(visit.key))
    return response


def _provider(parts: AppState) -> Provider:
    if parts.provider is None:
        raise HTTPException(404, "no sign-in provider is set up; FIELDFARE_PROVIDER_URL names one")
    return parts.provider


def _cookie(parts: AppState) -> str:
    return f"{cookie_name(parts)}-provider"
