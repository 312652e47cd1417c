"""Pages of the user's account: password, second factors, recovery codes, sessions, and confirmation."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import Form, HTTPException, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState, parts_of
from fieldfare.api.http.auth import (
    AppStateHere,
    ConfirmFirst,
    SignInFirst,
    check_form,
    session_of,
)
from fieldfare.api.http.html.site_pages import NO_STORE, Csrf
from fieldfare.api.http.routers import page_router
from fieldfare.api.http.sessions import (
    Proof,
    client_address,
    confirm_session,
    passkey_request,
    set_cookie,
    tell,
)
from fieldfare.api.people.passwords import check_strength
from fieldfare.api.people.sign_in import LiveSession
from fieldfare.dashboards import pages

router = page_router()
Name = Annotated[str, Form(max_length=80)]
Secret = Annotated[str, Form(max_length=1024)]
Credential = Annotated[str, Form(max_length=20_000)]
Key = Annotated[str, Path(pattern=r"^[0-9a-f]{16}$")]


@router.get("/account")
def account(request: Request, parts: AppStateHere) -> Response:
    """Show the user's sign-in methods and sessions."""
    return HTMLResponse(_account_page(request, parts, _live_session(request), ""))


@router.post("/account/password")
def change_password(
    request: Request, parts: AppStateHere, old: Secret = "", new: Secret = "", csrf: Csrf = ""
) -> Response:
    """Change the password; ends the user's other sessions."""
    live = _live_session(request, csrf)
    person = live.actor.person or 0
    try:
        check_strength(new, live.actor.name)
        parts.sign_in.check_password(live.actor.name, old, client_address(request))
    except InputError as error:
        return HTMLResponse(_account_page(request, parts, live, str(error)), 422)
    parts.accounts.set_password(person, new)
    _changed(request, parts, live, "password changed", "Your password was changed")
    response = RedirectResponse("/account", 303)
    set_cookie(response, parts, parts.sign_in.open_for_person(person, way="password"))
    return response


@router.post("/account/app")
def offer_app(request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Show the secret for an authenticator app; it takes effect once a code is entered."""
    live = _own(request, csrf)
    parts.sessions.keep_offer(live.key, parts.factors.sealed_offer())
    return _offer_page(parts, live, "")


@router.post("/account/app/confirm")
def add_app(
    request: Request, parts: AppStateHere, code: Secret = "", name: Name = "", csrf: Csrf = ""
) -> Response:
    """Add the authenticator app with the offered secret."""
    live = _own(request, csrf)
    try:
        offer = parts.sessions.offer(live.key)
        codes = parts.factors.add_authenticator(live.actor.person or 0, offer, code, name)
    except InputError as error:
        return _offer_page(parts, live, str(error), name)
    parts.sessions.keep_offer(live.key, None)
    _changed(request, parts, live, "second factor added", "A second factor was added")
    return _codes_page(live, codes)


@router.post("/account/passkey")
def offer_passkey(request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Start the creation of a passkey in the browser."""
    live = _own(request, csrf)
    if not parts.factors.site.has_passkeys:
        raise HTTPException(409, "passkeys need an address with a host name, over TLS or of this machine")
    challenge = parts.sessions.new_challenge(live.key)
    options = parts.factors.passkey_options(live.actor.person or 0, live.actor.name, challenge)
    return HTMLResponse(pages.new_passkey_page(_visitor(live), options), headers=NO_STORE)


@router.post("/account/passkey/confirm")
def add_passkey(
    request: Request, parts: AppStateHere, credential: Credential = "", name: Name = "", csrf: Csrf = ""
) -> Response:
    """Add the passkey created by the browser."""
    live = _own(request, csrf)
    try:
        challenge = parts.sessions.take_challenge(live.key)
        codes = parts.factors.add_passkey(live.actor.person or 0, credential, challenge, name)
    except InputError as error:
        return HTMLResponse(_account_page(request, parts, live, str(error)), 422)
    _changed(request, parts, live, "second factor added", "A second factor was added")
    return _codes_page(live, codes)


@router.post("/account/factors/{factor}/remove")
def remove_factor(factor: Key, request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Remove a second factor; ends the user's other sessions."""
    live = _own(request, csrf)
    keep_one = parts.settings.second_factor == "required" and live.actor.sites is None
    try:
        parts.factors.remove(live.actor.person or 0, factor, keep_one=keep_one)
    except InputError as error:
        return HTMLResponse(_account_page(request, parts, live, str(error)), 422)
    _changed(request, parts, live, "second factor removed", "A second factor was removed")
    return RedirectResponse("/account", 303)


@router.post("/account/codes")
def new_codes(request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """Create new recovery codes; revokes the old ones."""
    live = _own(request, csrf)
    try:
        codes = parts.factors.new_codes(live.actor.person or 0)
    except InputError as error:
        return HTMLResponse(_account_page(request, parts, live, str(error)), 422)
    _changed(request, parts, live, "recovery codes made", "New recovery codes were made")
    return _codes_page(live, codes)


@router.post("/account/sessions/{session}/end")
def end_session(session: Key, request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """End one of the user's sessions."""
    live = _own(request, csrf)
    try:
        parts.sessions.end(live.actor.person or 0, session)
    except InputError as error:
        return HTMLResponse(_account_page(request, parts, live, str(error)), 422)
    return RedirectResponse("/account", 303)


@router.post("/account/sessions/end")
def end_other_sessions(request: Request, parts: AppStateHere, csrf: Csrf = "") -> Response:
    """End all of the user's sessions except this one."""
    live = _own(request, csrf)
    parts.sessions.end_others(live.actor.person or 0, live.key)
    return RedirectResponse("/account", 303)


@router.post("/confirm")
def confirm(
    request: Request,
    parts: AppStateHere,
    password: Secret = "",
    code: Secret = "",
    credential: Credential = "",
    where: Annotated[str, Form(max_length=300)] = "",
    kept: Annotated[str, Form(max_length=60_000)] = "[]",
    csrf: Csrf = "",
) -> Response:
    """Confirm the person again, then continue with the request."""
    live, fields = _live_session(request, csrf), _fields(kept)
    if not where.startswith("/") or where.startswith(("//", "/\\")):
        raise HTTPException(422, "where must be a path of this service")
    try:
        secret = confirm_session(request, parts, live, password, Proof(code, credential))
    except InputError as error:
        return HTMLResponse(_confirm_page(parts, live, where, fields, str(error)), 401)
    response = HTMLResponse(pages.go_on_page(_visitor(live), where, fields), headers=NO_STORE)
    set_cookie(response, parts, secret)
    return response


def ask_to_confirm(request: Request, error: Exception) -> Response:
    """Ask the user to confirm their identity before a form is accepted; its fields are kept."""
    parts, live = parts_of(request), session_of(request)
    if live is None or not isinstance(error, ConfirmFirst):
        raise SignInFirst
    return HTMLResponse(_confirm_page(parts, live, request.url.path, list(error.kept), ""), 403)


def _live_session(request: Request, csrf: str | None = None) -> LiveSession:
    """The session of a person. csrf : the form's token. Raises SignInFirst, 403."""
    live = session_of(request)
    if live is None:
        raise SignInFirst
    if live.actor.person is None:
        raise HTTPException(403, "only people have an account")
    if csrf is not None:
        check_form(live, csrf)
    return live


def _own(request: Request, csrf: str) -> LiveSession:
    """Like _live_session, for changes of credentials and sessions. Raises ConfirmFirst without a recent
    confirmation."""
    live = _live_session(request, csrf)
    if not live.actor.is_fresh:
        raise ConfirmFirst
    return live


def _changed(request: Request, parts: AppState, live: LiveSession, action: str, subject: str) -> None:
    """Record a changed credential, notify its owner, and end the other sessions."""
    person = live.actor.person or 0
    parts.sessions.end_others(person, live.key)
    parts.audit.note(live.actor, action, address=client_address(request))
    tell(parts, person, subject, f"{subject}. All other sessions of your account have ended.")


def _account_page(request: Request, parts: AppState, live: LiveSession, problem: str) -> str:
    person = live.actor.person or 0
    return pages.account_page(
        _visitor(live),
        parts.factors.of_person(person),
        parts.factors.codes_left(person),
        parts.sessions.of_person(person, live.key),
        problem=problem,
        must_enrol=live.must_enrol,
        has_password=parts.accounts.get(person).has_password,
        has_passkeys=parts.factors.site.has_passkeys,
    )


def _offer_page(parts: AppState, live: LiveSession, problem: str, name: str = "") -> Response:
    secret, address = parts.factors.offered(parts.sessions.offer(live.key), live.actor.name)
    page = pages.new_app_page(_visitor(live), secret, address, problem, name)
    return HTMLResponse(page, 422 if problem else 200, headers=NO_STORE)


def _codes_page(live: LiveSession, codes: list[str]) -> Response:
    """Show new recovery codes once; redirect to the account page if there are none."""
    if not codes:
        return RedirectResponse("/account", 303)
    return HTMLResponse(pages.codes_page(_visitor(live), codes), headers=NO_STORE)


def _confirm_page(
    parts: AppState, live: LiveSession, where: str, fields: list[tuple[str, str]], problem: str
) -> str:
    person = live.actor.person or 0
    provider = parts.settings.provider_name if parts.settings.provider_url else ""
    if not parts.accounts.get(person).has_password and not provider:
        problem = problem or "this account has no password; ask an installer for a new address to set one"
    return pages.confirm_page(
        _visitor(live),
        where,
        json.dumps(fields),
        problem,
        passkey_request(parts, person, live.key),
        has_factor=bool(parts.factors.of_person(person)),
        provider=provider,
    )


def _fields(text: str) -> list[tuple[str, str]]:
    """Fields of the form held during confirmation. Raises 422."""
    try:
        return [(str(name), str(value)) for name, value in json.loads(text)]
    except (ValueError, TypeError, RecursionError):
        raise HTTPException(422, "the fields that were kept can't be read") from None


def _visitor(live: LiveSession) -> dict[str, object]:
    return {"name": live.actor.name, "role": live.actor.role, "csrf": live.csrf, "by_link": False}
