"""Assemble the application: routes, middleware, error handlers."""

from __future__ import annotations

from importlib.metadata import version
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response

from fieldfare.api.http import problems
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.auth import is_known
from fieldfare.api.http.html import (
    account,
    advice_pages,
    answer_pages,
    booking_forms,
    check_pages,
    defect_pages,
    event_pages,
    field_forms,
    fleet_pages,
    handbook_pages,
    householder_invitation,
    people_pages,
    provider_pages,
    season_pages,
    settings_pages,
    sign_in_pages,
    site_pages,
    site_settings,
    visit_pages,
)
from fieldfare.api.http.html.message_pages import MessagePages, fault_page
from fieldfare.api.http.html.reader_units import ReaderUnits
from fieldfare.api.http.metrics import metrics_of
from fieldfare.api.http.middleware.guards import (
    BodyLimit,
    EntityTags,
    KnownOrigin,
    SecurityHeaders,
)
from fieldfare.api.http.middleware.head_requests import HeadRequests
from fieldfare.api.http.middleware.request_ids import RequestIds
from fieldfare.api.http.problems import ProblemDetails
from fieldfare.api.http.rest import (
    alerts,
    answers,
    checks,
    defects,
    homes,
    operations,
    people,
    results,
    season,
    sites,
    visits,
    works,
)
from fieldfare.api.http.routers import PREFIX
from fieldfare.dashboards.assets import STATIC


class KeptFiles(StaticFiles):
    """Static files with content hashes in their URLs, so that browsers may cache them for ever."""

    def file_response(self, *args: Any, **kwargs: Any) -> Response:
        response = super().file_response(*args, **kwargs)
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response


# In matching order.
ROUTERS = (
    *(
        module.router
        for module in (
            sites,
            results,
            answers,
            season,
            defects,
            alerts,
            works,
            visits,
            checks,
            people,
            homes,
            operations,
        )
    ),
    operations.outside,
    *(
        module.router
        for module in (
            event_pages,
            fleet_pages,
            site_pages,
            advice_pages,
            season_pages,
            answer_pages,
            defect_pages,
            householder_invitation,
            field_forms,
            visit_pages,
            booking_forms,
            site_settings,
            settings_pages,
            people_pages,
            check_pages,
            handbook_pages,
            sign_in_pages,
            account,
            provider_pages,
        )
    ),
)
SUMMARY = "Installed heat pumps: readings in; performance, faults and the next step out."
_LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})


def create_app(parts: AppState) -> FastAPI:
    """Build the ASGI application. Does not read the environment."""
    app = FastAPI(
        title="fieldfare",
        summary=SUMMARY,
        version=version("fieldfare"),
        openapi_url=f"{PREFIX}/openapi.json",
        docs_url=None,
        redoc_url=None,
        routes=[route for router in ROUTERS for route in router.routes],
    )
    app.state.parts = parts
    problems.install(app)
    app.add_exception_handler(Exception, fault_page)
    app.mount("/static", KeptFiles(directory=STATIC))
    app.openapi = lambda: _described(app)  # type: ignore[method-assign]
    app.add_middleware(ReaderUnits)
    app.add_middleware(MessagePages)
    app.add_middleware(EntityTags)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(BodyLimit, is_known=lambda scope: is_known(Request(scope)))
    app.add_middleware(KnownOrigin, hosts=known_hosts(parts))
    app.add_middleware(SecurityHeaders, secure=parts.settings.address.startswith("https://"))
    app.add_middleware(RequestIds, took=metrics_of(parts).requests)
    app.add_middleware(HeadRequests)
    return app


def known_hosts(parts: AppState) -> frozenset[str] | None:
    """Allowed host names; None if the service listens on other interfaces and no public address is set."""
    settings = parts.settings
    if settings.public_url:
        return _LOOPBACK | {(urlsplit(settings.public_url).hostname or "").lower()}
    return _LOOPBACK if settings.is_loopback else None


def _described(app: FastAPI) -> dict[str, Any]:
    if app.openapi_schema is None:
        schema = get_openapi(title=app.title, version=app.version, summary=app.summary, routes=app.routes)
        parts = schema.setdefault("components", {}).setdefault("schemas", {})
        parts["ProblemDetails"] = ProblemDetails.model_json_schema(
            ref_template="#/components/schemas/{model}"
        )
        app.openapi_schema = schema
    return app.openapi_schema
