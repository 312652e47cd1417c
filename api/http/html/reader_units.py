"""Render pages and papers in the units chosen by the signed-in reader."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from fieldfare.api.firm.personal_settings import USUAL_UNITS, units_of
from fieldfare.api.http.app_state import parts_of
from fieldfare.api.http.auth import session_of
from fieldfare.dashboards.text.units import reading_in


class ReaderUnits:
    """Apply the reader's units to pages and papers. API documents keep the contract's units."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not _is_read(scope["path"]):
            return await self._app(scope, receive, send)
        request = Request(scope)
        units = await run_in_threadpool(_units, request) if request.cookies else USUAL_UNITS
        with reading_in(units):
            await self._app(scope, receive, send)


def _is_read(path: str) -> bool:
    return "/papers/" in path or not path.startswith(("/api/", "/static/", "/calendar/"))


def _units(request: Request) -> Mapping[str, str]:
    visit = session_of(request)
    if visit is None or visit.actor.person is None:
        return USUAL_UNITS
    return units_of(parts_of(request).service.database, visit.actor.person)
