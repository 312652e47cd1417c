"""HEAD: the headers of a GET, without its content (RFC 9110, 9.3.2)."""

from __future__ import annotations

from starlette.types import ASGIApp, Message, Receive, Scope, Send


class HeadRequests:
    """Run each HEAD as a GET and drop the content, so that no route needs to handle HEAD.

    Outermost middleware, so that tags and lengths are those of the GET. Streams are told that the client has
    disconnected.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            return await self._app(scope, receive, send)
        answered = False

        async def until_answered() -> Message:
            return {"type": "http.disconnect"} if answered else await receive()

        async def without_content(message: Message) -> None:
            nonlocal answered
            if message["type"] != "http.response.start":
                return
            answered = True
            await send(message)
            await send({"type": "http.response.body", "body": b""})

        await self._app({**scope, "method": "GET"}, until_answered, without_content)
