"""Open and end sessions with their cookies, and notify their owner by mail."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import Request, Response

from fieldfare.analysis.errors import InputError
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import cookie_name, device_cookie_name, is_secure
from fieldfare.api.people.access import NOBODY
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.sessions import Origin, device_of
from fieldfare.api.people.sign_in import DEVICE_LASTS_S, LiveSession, Opened
from fieldfare.api.people.throttle import TooManyTries


@dataclass(frozen=True)
class Proof:
    """A submitted second factor: a code, or a passkey response as JSON."""

    code: str = ""
    credential: str = ""

    def __bool__(self) -> bool:
        return bool(self.code or self.credential)


def open_session(request: Request, parts: AppState, email: str, password: str) -> Opened:
    """Sign in with a password; ends the request's earlier session. Raises AccountRefused, TooManyTries."""
    origin = origin_of(request)
    try:
        opened = parts.sign_in.sign_in(email, password, origin.address, _device(request, parts), origin)
    except InputError as error:
        note_refusal(request, parts, error)
        raise
    end_session(request, parts)
    if not opened.pending:
        _came_in(request, parts, opened)
    return opened


def complete_session(request: Request, parts: AppState, secret: str, proof: Proof) -> Opened:
    """Verify the second factor of a sign-in. Raises AccountRefused, TooManyTries."""
    waiting = parts.sign_in.pending(secret)
    if waiting is None:
        raise AccountRefused("too much time has passed; sign in again")
    key = waiting[1]
    origin = origin_of(request)
    try:
        opened = parts.sign_in.complete(
            secret, lambda person: check_proof(parts, person, key, proof), _device(request, parts), origin
        )
    except InputError as error:
        note_refusal(request, parts, error)
        raise
    _came_in(request, parts, opened)
    return opened


def open_for_provider(request: Request, parts: AppState, person: int) -> Opened:
    """Open a session for a person authenticated by the firm's provider."""
    end_session(request, parts)
    opened = Opened(parts.sign_in.open_for_person(person, origin_of(request), "provider"), person, False)
    _came_in(request, parts, opened)
    return opened


def passkey_request(parts: AppState, person: int, key: str) -> str:
    """Options for the browser's passkey dialogue, as JSON; empty for a person without a passkey.

    key : of the session that keeps the challenge
    """
    has_passkey = any(f.kind == "passkey" for f in parts.factors.of_person(person))
    if not has_passkey or not parts.factors.site.has_passkeys:
        return ""
    return parts.factors.request_options(person, parts.sessions.new_challenge(key))


def check_proof(parts: AppState, person: int, key: str, proof: Proof) -> str:
    """Verify a second factor. key : of the session with the passkey challenge. Returns the method. Raises
    Refused."""
    if proof.credential:
        challenge = parts.sessions.take_challenge(key)
        return parts.factors.check_passkey(person, proof.credential, challenge)
    way = parts.factors.check_code(person, proof.code)
    if way == "recovery":
        left = parts.factors.codes_left(person)
        tell(
            parts,
            person,
            "A recovery code was used",
            f"A recovery code of your account was used; {left} are left.",
        )
    return way


def confirm_session(
    request: Request, parts: AppState, session: LiveSession, password: str, proof: Proof
) -> str:
    """Confirm a person's identity with all factors. Returns the session's new secret. Raises AccountRefused,
    TooManyTries."""
    person, origin, device = session.actor.person or 0, origin_of(request), _device(request, parts)
    try:
        parts.sign_in.check_password(session.actor.name, password, origin.address, device)
        if parts.factors.of_person(person):
            if not proof:
                raise AccountRefused("this account has a second factor; give its code too")
            parts.sign_in.check_factor(
                person, lambda p: check_proof(parts, p, session.key, proof), origin.address, device
            )
    except InputError as error:
        note_refusal(request, parts, error)
        raise
    return parts.sessions.confirm(session.key)


def note_refusal(request: Request, parts: AppState, error: InputError) -> None:
    braked = isinstance(error, TooManyTries)
    parts.audit.note_refusal(NOBODY, client_address(request), str(error), braked=braked)


def tell(parts: AppState, person: int, subject: str, body: str) -> None:
    """Notify a person by mail of a change to their account, if mail is set up."""
    row = parts.accounts.get(person)
    parts.notices.account(row.email, subject, body)


def _came_in(request: Request, parts: AppState, opened: Opened) -> None:
    """Record a sign-in, and notify its owner if the device is new."""
    session = parts.sign_in.live_session(opened.secret)
    if session is None:
        return
    origin = origin_of(request)
    parts.audit.note(session.actor, "signed in", address=origin.address)
    if not parts.sign_in.is_known_device(opened.person, _device(request, parts)):
        text = (
            f"Somebody signed in to your account from a {origin.device} at {origin.address} that was not used"
            " before."
        )
        tell(parts, opened.person, "New sign-in to your account", text)


def set_cookie(response: Response, parts: AppState, secret: str) -> None:
    """Set the session cookie: HttpOnly and SameSite."""
    response.set_cookie(
        cookie_name(parts), secret, path="/", secure=is_secure(parts), httponly=True, samesite="lax"
    )


def mark_device(response: Response, parts: AppState, person: int | None) -> None:
    """Set the device cookie, so that failed sign-ins from elsewhere don't lock this browser out."""
    if person is not None and (text := parts.sign_in.device_cookie(person)):
        name = device_cookie_name(parts)
        secure = is_secure(parts)
        response.set_cookie(
            name, text, DEVICE_LASTS_S, path="/", secure=secure, httponly=True, samesite="strict"
        )


def end_session(request: Request, parts: AppState) -> None:
    """End the session that a request came with, if any."""
    if secret := request.cookies.get(cookie_name(parts)):
        parts.sign_in.sign_out(secret)


def forget_in_browser(response: Response, parts: AppState) -> None:
    """Clear the session cookie and cached pages in the browser."""
    response.delete_cookie(
        cookie_name(parts), path="/", secure=is_secure(parts), httponly=True, samesite="lax"
    )
    response.headers["Clear-Site-Data"] = '"cache", "storage"'


def client_address(request: Request) -> str:
    """Client address of a request; uvicorn sets it from a trusted proxy's header."""
    return request.client.host if request.client else ""


def origin_of(request: Request) -> Origin:
    return Origin(client_address(request), device_of(request.headers.get("user-agent", "")))


def _device(request: Request, parts: AppState) -> str:
    return request.cookies.get(device_cookie_name(parts), "")
