"""Render pages and papers in the units and the language chosen by the signed-in reader."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from fieldfare.api.firm.personal_settings import Reading, reading_of
from fieldfare.api.http.app_state import parts_of
from fieldfare.api.http.auth import session_of
from fieldfare.dashboards.text.units import reading_in


class ReaderSettings:
    """Apply the reader's units to pages and papers, and keep their language in `request.state.language`.

    API documents keep the contract's units.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not _is_read(scope["path"]):
            return await self._app(scope, receive, send)
        request = Request(scope)
        chosen = await run_in_threadpool(_chosen, request) if request.cookies else Reading()
        request.state.language = chosen.language
        with reading_in(chosen.units):
            await self._app(scope, receive, send)


def _is_read(path: str) -> bool:
    return "/papers/" in path or not path.startswith(("/api/", "/static/", "/calendar/"))


def _chosen(request: Request) -> Reading:
    visit = session_of(request)
    if visit is None or visit.actor.person is None:
        return Reading()
    return reading_of(parts_of(request).service.database, visit.actor.person)
