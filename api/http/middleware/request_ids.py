"""Assign request ids, for log lines and responses."""

from __future__ import annotations

import secrets
import time

from prometheus_client import Histogram
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fieldfare.api.core.log_lines import REQUEST_ID

HEADER = "X-Request-ID"


class RequestIds:
    """Assign a request id; ids sent by clients are not logged."""

    def __init__(self, app: ASGIApp, took: Histogram) -> None:
        """took : records response times, by the first digit of the status"""
        self._app, self._took = app, took

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        number, began = secrets.token_hex(8), time.perf_counter()

        async def with_number(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message)[HEADER] = number
                self._took.labels(f"{message['status'] // 100}xx").observe(time.perf_counter() - began)
            await send(message)

        # Each request is a task with its own context, which the last error handler reads.
        REQUEST_ID.set(number)
        await self._app(scope, receive, with_number)
