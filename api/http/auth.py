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
# For the description alone: which secrets the routes accept.
_BEARER = HTTPBearer(auto_error=False, scheme_name="device token", description="A device token.")
_COOKIE = APIKeyCookie(
    name="fieldfare", auto_error=False, scheme_name="session", description="A session's cookie."
)


class SignInFirst(Exception):
    """No session: pages redirect to sign-in, the API answers 401."""


class EnrolFirst(Exception):
    """The firm asks for a second factor and this person has none: a page leads to it, the API answers 403."""


class ConfirmFirst(Exception):
    """The person must show again who they are: a page asks, the API answers 403.

    kept : fields of the form that was sent, to be sent again afterwards
    """

    def __init__(self, kept: Sequence[tuple[str, str]] = ()) -> None:
        super().__init__()
        self.kept: tuple[tuple[str, str], ...] = tuple(kept)


def cookie_name(parts: AppState) -> str:
    """Behind TLS a cookie that no other host and no plain connection can set."""
    return "__Host-fieldfare" if is_secure(parts) else "fieldfare"


def device_cookie_name(parts: AppState) -> str:
    return f"{cookie_name(parts)}-device"


def is_secure(parts: AppState) -> bool:
    return parts.settings.address.startswith("https://")


def session_of(request: Request, *, anew: bool = False) -> LiveSession | None:
    """The live session of a request, if it has one, also of a person who must add a second factor first.

    It is looked up once a request. anew : once more, where a long answer may outlive its session
    """
    parts = parts_of(request)
    if anew or not hasattr(request.state, "session"):
        secret = request.cookies.get(cookie_name(parts))
        request.state.session = parts.sign_in.live_session(secret) if secret else None
    found: LiveSession | None = request.state.session
    return found


def live_session_of(request: Request) -> LiveSession | None:
    """As session_of. Raises EnrolFirst where the person must add a second factor first."""
    session = session_of(request)
    if session is not None and session.must_enrol:
        raise EnrolFirst
    return session


def actor_of(request: Request) -> Actor:
    """The actor: a device by its token, a person by a session, a demo's visitor, or nobody.

    Raises 401 for a token that is not good, 403 where a session's unsafe request lacks its second secret.
    """
    session = None if _bearer(request) else live_session_of(request)
    is_unsafe = request.method not in SAFE
    if session is not None and is_unsafe and not same(request.headers.get(CSRF_HEADER, ""), session.csrf):
        raise HTTPException(403, f"the header {CSRF_HEADER} must hold the session's second secret")
    return _asker(request, session)


def _asker(request: Request, session: LiveSession | None) -> Actor:
    """As actor_of, without a look at the second secret: a form brings it in a field, which `writer`
    checks."""
    parts = parts_of(request)
    if secret := _bearer(request):
        actor = parts.tokens.actor(secret)
        if actor is None:
            raise HTTPException(401, "this token is not, or no longer, good", {"WWW-Authenticate": "Bearer"})
        return actor
    if session is not None:
        return session.actor
    return DEMO_VISITOR if parts.settings.demo else NOBODY


def _bearer(request: Request) -> str:
    """The secret of a bearer token; a space where the header names none, which no token has."""
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    return (secret.strip() or " ") if scheme.lower() == "bearer" else ""


def is_known(request: Request) -> bool:
    """Whether somebody has signed in or brings a good token; a demo knows everybody."""
    parts = parts_of(request)
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return parts.tokens.actor(secret.strip()) is not None
    return session_of(request) is not None or parts.settings.demo


def need(permission: str) -> Any:
    """A dependency that gives the actor where it has the permission, on the path's site where there is
    one."""

    def door(
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

    door.__name__ = f"need_{permission.replace('.', '_')}"
    return Depends(door)


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
    """The actor for the log: by number, not by e-mail."""
    return f"{actor.role} {actor.person}" if actor.person is not None else f"{actor.role} ({actor.name})"


def confirm(request: Request, actor: Actor, permission: str) -> None:
    """Raise ConfirmFirst if the permission requires a recent confirmation and the session has none."""
    if permission in CONFIRM_FIRST and not actor.is_fresh:
        form = getattr(request, "_form", None)  # as Starlette keeps what the route has read
        fields = form.multi_items() if form is not None else []
        raise ConfirmFirst([(k, v) for k, v in fields if isinstance(v, str) and k != CSRF_FIELD])


def record_of(site_id: SiteId, request: Request, parts: AppStateHere) -> SiteRecord:
    """The path's site. Raises SignInFirst for nobody, UnknownSite where there is none or the actor may not
    see it: which sites exist is not shown to others."""
    actor = _asker(request, live_session_of(request))
    if actor.role == "nobody":
        raise SignInFirst
    if actor.sites is not None and site_id not in actor.sites:
        raise UnknownSite(site_id)
    return parts.service.sites.get(site_id)


SiteRecordHere = Annotated[SiteRecord, Depends(record_of)]
