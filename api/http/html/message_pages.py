"""Error pages: browsers get HTML instead of problem details in JSON."""

from __future__ import annotations

import orjson
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fieldfare.api.http.problems import MEDIA_TYPE, fault
from fieldfare.dashboards import pages
from fieldfare.dashboards.text.words import sentence


class MessagePages:
    """Convert problem details to a page, outside the API's paths and for clients that accept HTML."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not _wants_page(scope):
            return await self._app(scope, receive, send)
        start: Message | None = None
        body = bytearray()

        async def held(message: Message) -> None:
            nonlocal start
            if message["type"] == "http.response.start":
                kind = Headers(raw=message["headers"]).get("content-type", "")
                if kind.startswith(MEDIA_TYPE):
                    start = message
                    return
                await send(message)
            elif start is None:
                await send(message)
            else:
                body.extend(message.get("body", b""))
                if not message.get("more_body"):
                    await _page(start, bytes(body))(scope, receive, send)

        await self._app(scope, receive, held)


def fault_page(request: Request, error: Exception) -> Response:
    """Page for an internal error, sent outside all middleware."""
    answer = fault(request, error)
    if not _wants_page(request.scope):
        return answer
    page = _page({"headers": answer.raw_headers, "status": answer.status_code}, bytes(answer.body))
    own = ("content-type", "content-length")
    page.headers.update({name: value for name, value in answer.headers.items() if name not in own})
    return page


def _wants_page(scope: Scope) -> bool:
    path: str = scope["path"]
    if path.startswith("/api/") or path in ("/healthz", "/metrics"):
        return False
    return "text/html" in Headers(scope=scope).get("accept", "")


def _page(start: Message, body: bytes) -> HTMLResponse:
    problem = orjson.loads(body)
    detail = str(problem.get("detail", ""))
    headers = {
        k: v for k, v in Headers(raw=start["headers"]).items() if k in ("retry-after", "www-authenticate")
    }
    return HTMLResponse(
        pages.message_page(str(problem.get("title", "")), sentence(detail) if detail else "", {}),
        start["status"],
        headers=headers,
    )
