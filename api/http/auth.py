"""Authentication and authorisation of every route."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Path, Request
from fastapi.security import APIKeyCookie, HTTPBearer

from fieldfare.analysis.plant.site_id import SITE_ID
from fieldfare.api.core.sites import SiteRecord, UnknownSite
from fieldfare.api.http.app_state import AppState, parts_of
from fieldfare.api.people.access import (
    CONFIRM_FIRST,
    DEMO_VISITOR,
    NOBODY,
    Actor,
)
from fieldfare.api.people.sign_in import LiveSession, same

log = logging.getLogger(__name__)
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
CSRF_HEADER, CSRF_FIELD = "X-CSRF-Token", "csrf"
SiteId = Annotated[str, Path(pattern=SITE_ID, description="The site's id.", examples=["alder-row"])]
AppStateHere = Annotated[AppState, Depends(parts_of)]
# Only for the OpenAPI description: accepted credentials.
_BEARER = HTTPBearer(auto_error=False, scheme_name="device token", description="A device token.")
_COOKIE = APIKeyCookie(
    name="fieldfare", auto_error=False, scheme_name="session", description="A session's cookie."
)


class SignInFirst(Exception):
    """No session: pages redirect to sign-in, the API answers 401."""


class EnrolFirst(Exception):
    """The firm requires a second factor and this person has none: pages redirect to enrolment, the API
    answers 403."""


class ConfirmFirst(Exception):
    """The person must confirm their identity: pages ask, the API answers 403.

    kept : fields of the submitted form, submitted again afterwards
    """

    def __init__(self, kept: Sequence[tuple[str, str]] = ()) -> None:
        super().__init__()
        self.kept: tuple[tuple[str, str], ...] = tuple(kept)


def cookie_name(parts: AppState) -> str:
    """Behind TLS a `__Host-` cookie, which no other host and no plain connection can set."""
    return "__Host-fieldfare" if is_secure(parts) else "fieldfare"


def device_cookie_name(parts: AppState) -> str:
    return f"{cookie_name(parts)}-device"


def is_secure(parts: AppState) -> bool:
    return parts.settings.address.startswith("https://")


def session_of(request: Request, *, anew: bool = False) -> LiveSession | None:
    """The live session of a request, if any, even if the person must add a second factor first.

    Looked up once per request. anew : look it up again, for long responses that may outlive the session
    """
    parts = parts_of(request)
    if anew or not hasattr(request.state, "session"):
        secret = request.cookies.get(cookie_name(parts))
        request.state.session = parts.sign_in.live_session(secret) if secret else None
    found: LiveSession | None = request.state.session
    return found


def live_session_of(request: Request) -> LiveSession | None:
    """Like session_of. Raises EnrolFirst if the person must add a second factor first."""
    session = session_of(request)
    if session is not None and session.must_enrol:
        raise EnrolFirst
    return session


def actor_of(request: Request) -> Actor:
    """The actor of a request: a device by token, a person by session, a demo visitor, or nobody.

    Raises 401 for an invalid token, 403 where a session's unsafe request lacks its second secret.
    """
    session = None if _bearer(request) else live_session_of(request)
    is_unsafe = request.method not in SAFE
    if session is not None and is_unsafe and not same(request.headers.get(CSRF_HEADER, ""), session.csrf):
        raise HTTPException(403, f"the header {CSRF_HEADER} must hold the session's second secret")
    return _asker(request, session)


def _asker(request: Request, session: LiveSession | None) -> Actor:
    """Like actor_of, without the CSRF check: a form sends the token in a field, which `writer` checks."""
    parts = parts_of(request)
    if secret := _bearer(request):
        actor = parts.tokens.actor(secret)
        if actor is None:
            raise HTTPException(401, "this token is not valid, or no longer", {"WWW-Authenticate": "Bearer"})
        return actor
    if session is not None:
        return session.actor
    return DEMO_VISITOR if parts.settings.demo else NOBODY


def _bearer(request: Request) -> str:
    """The bearer token of a request; a space if the header has none, which matches no token."""
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    return (secret.strip() or " ") if scheme.lower() == "bearer" else ""


def is_known(request: Request) -> bool:
    """Whether a request has a session or a valid token; always true in the demo."""
    parts = parts_of(request)
    if secret := _bearer(request):
        return parts.tokens.actor(secret) is not None
    return session_of(request) is not None or parts.settings.demo


def check_form(session: LiveSession | None, csrf: str) -> None:
    """Raises 403 if a form's token is not that of the session."""
    if session is None or not same(csrf, session.csrf):
        raise HTTPException(403, "this form does not belong to your session; load its page again")


def need(permission: str) -> Any:
    """Dependency factory: returns the actor if it has the permission, for the path's site if any."""

    def allowed_actor(
        request: Request,
        parts: AppStateHere,
        bearer: Annotated[Any, Depends(_BEARER)] = None,
        cookie: Annotated[Any, Depends(_COOKIE)] = None,
    ) -> Actor:
        actor = actor_of(request)
        site = request.path_params.get("site_id")
        check(actor, permission, site)
        if request.method not in SAFE:
            confirm(request, actor, permission)
        if site is not None:
            parts.audit.note_access(actor, site)
        return actor

    allowed_actor.__name__ = f"need_{permission.replace('.', '_')}"
    return Depends(allowed_actor)


def check(actor: Actor, permission: str, site: str | None = None) -> None:
    """Raises 401, 403, or UnknownSite for a site that the actor may not see."""
    if actor.role == "nobody":
        raise HTTPException(401, "sign in first", {"WWW-Authenticate": "Bearer"})
    if not actor.may(permission):
        log.warning("%s was refused %s", _who(actor), permission)
        raise HTTPException(403, f"{actor.role}s may not do this")
    if not actor.may(permission, site):
        log.warning("%s was refused %s of another site", _who(actor), permission)
        raise UnknownSite(site or "")


def _who(actor: Actor) -> str:
    """The actor for logs: id, not e-mail."""
    return f"{actor.role} {actor.person}" if actor.person is not None else f"{actor.role} ({actor.name})"


def confirm(request: Request, actor: Actor, permission: str) -> None:
    """Raise ConfirmFirst if the permission requires a recent confirmation and the session has none."""
    if permission in CONFIRM_FIRST and not actor.is_fresh:
        form = getattr(request, "_form", None)  # Starlette caches what the route has read
        fields = form.multi_items() if form is not None else []
        raise ConfirmFirst([(k, v) for k, v in fields if isinstance(v, str) and k != CSRF_FIELD])


def record_of(site_id: SiteId, request: Request, parts: AppStateHere) -> SiteRecord:
    """The path's site. Raises SignInFirst for anonymous requests; UnknownSite if it does not exist or the
    actor may not see it, so that others can't find out which sites exist."""
    actor = _asker(request, live_session_of(request))
    if actor.role == "nobody":
        raise SignInFirst
    if actor.sites is not None and site_id not in actor.sites:
        raise UnknownSite(site_id)
    return parts.service.sites.get(site_id)


SiteRecordHere = Annotated[SiteRecord, Depends(record_of)]
