"""Map errors to problem details (RFC 9457)."""

from __future__ import annotations

import logging
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, ClassVar

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException

from fieldfare.analysis.errors import (
    FieldfareError,
    InputError,
    NotAssessed,
    SiteError,
)
from fieldfare.analysis.plant.refusals import refusal
from fieldfare.api.alerts.alerts import UnknownAlert
from fieldfare.api.checks.photos import UnknownPhoto
from fieldfare.api.checks.sheets import Signed
from fieldfare.api.core.log_lines import REQUEST_ID
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.sites import UnknownSite
from fieldfare.api.http.auth import ConfirmFirst, EnrolFirst, SignInFirst
from fieldfare.api.http.middleware.security_headers import SECURITY_HEADERS
from fieldfare.api.people.accounts import AccountRefused, UnknownPerson
from fieldfare.api.people.throttle import TooManyTries
from fieldfare.api.records.maintenance_log import UnknownWork
from fieldfare.api.visits.bookings import Clash, UnknownVisit

log = logging.getLogger(__name__)
MEDIA_TYPE = "application/problem+json"


class ProblemDetails(BaseModel):
    """Schema of an error response."""

    model_config: ClassVar[ConfigDict] = ConfigDict(
        json_schema_extra={
            "example": {
                "type": "/problems/no-site",
                "title": "No such site",
                "status": 404,
                "detail": "there is no site 'alder-row' here, or it is not yours to see",
            }
        }
    )

    type: str = Field(description="Names the kind of problem.")
    title: str
    status: int
    detail: str
    problems: list[dict[str, Any]] = Field(
        default=[], description="Where several things are wrong: each of them."
    )


def _documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    schema = {"$ref": "#/components/schemas/ProblemDetails"}
    return {
        status: {"description": HTTPStatus(status).phrase, "content": {MEDIA_TYPE: {"schema": schema}}}
        for status in statuses
    }


PROBLEMS = _documented(400, 401, 403, 404, 409, 413, 422, 429)
"""For the description of every route."""
_STATUS: tuple[tuple[type[Exception], int, str, str], ...] = (
    (UnknownAlert, 404, "no-alert", "No such alert"),
    (UnknownWork, 404, "no-work", "No such work"),
    (UnknownVisit, 404, "no-visit", "No such visit"),
    (Clash, 409, "clash", "Booked already"),
    (UnknownPhoto, 404, "no-photo", "No such photo"),
    (Signed, 409, "signed", "Signed"),
    (UnknownPerson, 404, "no-person", "No such person"),
    (NoReadings, 409, "no-readings", "Nothing was read yet"),
    (AccountRefused, 401, "refused", "Not let in"),
    (NotAssessed, 409, "not-assessed", "Can't be told from these data"),
    (InputError, 422, "bad-input", "Something given is wrong"),
)


def problem(status: int, kind: str, title: str, detail: str, **more: Any) -> Response:
    """One problem as a response. more : problems, headers"""
    body = {"type": f"/problems/{kind}", "title": title, "status": status, "detail": detail}
    if more.get("problems"):
        body["problems"] = more["problems"]
    return JSONResponse(body, status, headers=more.get("headers"), media_type=MEDIA_TYPE)


def _field_error(error: dict[str, Any]) -> str:
    """Problem of a form field or query parameter, for readers."""
    name = str(error["loc"][-1]).replace("_", " ")
    most = (error.get("ctx") or {}).get("max_length")
    if error["type"] == "string_too_long":
        return (
            f"“{name}” is too long: at most {most} characters; go back to shorten it, what you typed is kept"
        )
    return f"“{name}” can't be read here; go back and correct it"


def no_site(site_id: str) -> Response:
    """404 for sites that do not exist or that the actor may not see."""
    detail = f"there is no site {site_id!r} here, or it is not yours to see"
    return problem(404, "no-site", "No such site", detail)


def _unknown_site(request: Request, error: UnknownSite) -> Response:
    return no_site(request.path_params.get("site_id") or error.site_id)


def _sign_in_first(request: Request, error: SignInFirst) -> Response:
    if not request.url.path.startswith("/api/"):
        return RedirectResponse("/sign-in", 303)
    headers = {"WWW-Authenticate": "Bearer"}
    return problem(401, "unauthorized", "Unauthorized", "sign in first", headers=headers)


def _enrol_first(request: Request, error: EnrolFirst) -> Response:
    if not request.url.path.startswith("/api/"):
        return RedirectResponse("/account", 303)
    detail = "the firm asks for a second factor; add one on your account's page"
    return problem(403, "enrol-first", "Second factor needed", detail)


def _confirm_first(request: Request, error: ConfirmFirst) -> Response:
    if not request.url.path.startswith("/api/"):
        from fieldfare.api.http.html.account import ask_to_confirm

        return ask_to_confirm(request, error)
    detail = "show again who you are: POST /api/v1/session/confirm"
    return problem(403, "confirm-first", "Confirm first", detail)


def _bad_site(request: Request, error: SiteError) -> Response:
    each = [{"key": p.key, "line": p.line, "message": p.message} for p in error.problems]
    return problem(422, "bad-site-file", "The site file is refused", str(error), problems=each)


def _braked(request: Request, error: TooManyTries) -> Response:
    wait = str(max(1, round(error.wait.total_seconds())))
    return problem(429, "too-many-tries", "Too many tries", str(error), headers={"Retry-After": wait})


def _refused(request: Request, error: Exception) -> Response:
    status, kind, title = next((s, k, t) for c, s, k, t in _STATUS if isinstance(error, c))
    return problem(status, kind, title, str(error))


def _unusable(request: Request, error: FieldfareError) -> Response:
    log.error("data can't be used at %s %s: %s", request.method, request.url.path, error)
    return problem(503, "data", "Data can't be read", str(error))


def _invalid(request: Request, error: RequestValidationError) -> Response:
    each = [{"where": ".".join(map(str, e["loc"])), "message": refusal(e)} for e in error.errors()]
    detail = f"{each[0]['where']}: {each[0]['message']}" if each else "the request can't be read"
    if each and not request.url.path.startswith("/api/"):
        detail = _field_error(error.errors()[0])
    return problem(422, "bad-request", "The request can't be read", detail, problems=each)


_PLAIN = {
    404: ("Not found", "there is nothing at this address; it may have been mistyped, moved or deleted"),
    405: ("Not possible here", "this address takes no request of this kind"),
}
"""Status -> title, and what is said where the routes gave no words of their own."""


def _http(request: Request, error: HTTPException) -> Response:
    phrase = HTTPStatus(error.status_code).phrase
    kind = phrase.lower().replace(" ", "-").replace("'", "")
    title, said = _PLAIN.get(error.status_code, (phrase, ""))
    detail = said if said and error.detail == phrase else str(error.detail)
    return problem(error.status_code, kind, title, detail, headers=error.headers)


def fault(request: Request, error: Exception) -> Response:
    log.error("internal error at %s %s", request.method, request.url.path, exc_info=error)
    # The last error handler runs outside the middleware, so it adds the headers itself.
    number = REQUEST_ID.get()
    detail = f"the error was written to the service's log{f' as request {number}' if number else ''}"
    headers = {**SECURITY_HEADERS, **({"X-Request-ID": number} if number else {})}
    return problem(500, "internal-error", "Internal error", detail, headers=headers)


_HANDLERS: tuple[tuple[type[Exception], Callable[..., Response]], ...] = (
    (UnknownSite, _unknown_site),
    (SignInFirst, _sign_in_first),
    (EnrolFirst, _enrol_first),
    (ConfirmFirst, _confirm_first),
    (SiteError, _bad_site),
    (TooManyTries, _braked),
    (InputError, _refused),
    (NotAssessed, _refused),
    (FieldfareError, _unusable),
    (RequestValidationError, _invalid),
    (HTTPException, _http),
)


def install(app: FastAPI) -> None:
    """Register handlers for all errors of the routes."""
    for error, handler in _HANDLERS:
        app.add_exception_handler(error, handler)
