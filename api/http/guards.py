"""Around every response: security headers, checks of where a request comes from, entity tags."""

from __future__ import annotations

import hashlib
import re
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.http.problems import problem

LARGEST_BODY, LARGEST_UPLOAD = 8_000_000, 200_000_000
"""Bytes: of any request, and of an export that is dropped into the browser (a year of minutes has some 50 MB)."""
_UPLOAD = re.compile(r"/sites/[a-z0-9-]{2,40}/readings")
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_UNSAFE = frozenset({"POST", "PUT", "PATCH", "DELETE"})


class SecurityHeaders:
    """Adds the headers; HSTS where the service is reached by TLS."""

    def __init__(self, app: ASGIApp, secure: bool) -> None:
        self._app = app
        self._headers = dict(HEADERS)
        if secure:
            self._headers["Strict-Transport-Security"] = "max-age=31536000; includeSubDomains"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self._app(scope, receive, send)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "private, no-cache")
            await send(message)

        await self._app(scope, receive, with_headers)


class KnownOrigin:
    """Refuses a host the service is not known by, and unsafe requests that another site's page sends."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str] | None) -> None:
        """hosts : names that a request's Host may have; None for any (a proxy in front checks it)"""
        self._app, self._hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and (refusal := self._refusal(Headers(scope=scope), scope["method"])):
            return await problem(400 if "host" in refusal else 403, "origin", "Refused", refusal)(
                scope, receive, send
            )
        await self._app(scope, receive, send)

    def _refusal(self, headers: Headers, method: str) -> str:
        host = headers.get("host", "")
        if self._hosts is not None and _name(host) not in self._hosts:
            return "this service is not known by that host name"
        if method not in _UNSAFE:
            return ""
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return "sent by another site's page"
        origin = headers.get("origin")
        if origin and origin != "null" and urlsplit(origin).netloc != host:
            return "sent by another site's page"
        return "sent by a page without an origin" if origin == "null" else ""


class BodyLimit:
    """Refuses a body that is larger than anything the service takes."""

    def __init__(
        self, app: ASGIApp, largest: int = LARGEST_BODY, largest_upload: int = LARGEST_UPLOAD
    ) -> None:
        self._app, self._largest, self._largest_upload = app, largest, largest_upload

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        largest = self._largest_upload if _UPLOAD.fullmatch(scope["path"]) else self._largest
        refusal = problem(413, "too-large", "Too large", f"a request may carry {largest // 1_000_000} MB")
        told = Headers(scope=scope).get("content-length", "0")
        if not told.isdigit() or int(told) > largest:
            return await refusal(scope, receive, send)
        seen, started = 0, False

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > largest:
                raise _TooLarge
            return message

        async def watched(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self._app(scope, counted, watched)
        except _TooLarge:
            if not started:
                await refusal(scope, receive, send)


class _TooLarge(Exception):
    """More came than was announced."""


class EntityTags:
    """Gives what was asked for a tag of its content, and answers 304 where the asker has it already."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD"):
            return await self._app(scope, receive, send)
        start: Message | None = None
        body = bytearray()
        passing = False

        async def held(message: Message) -> None:
            nonlocal start, passing
            if message["type"] == "http.response.start":
                start = message
                passing = not _is_tagged(message)
                if passing:
                    await send(message)
            elif passing:
                await send(message)
            else:
                body.extend(message.get("body", b""))
                if not message.get("more_body") and start is not None:
                    await _answer(scope, start, bytes(body), send)

        await self._app(scope, receive, held)


def _is_tagged(start: Message) -> bool:
    kind = Headers(raw=start["headers"]).get("content-type", "")
    return start["status"] == 200 and kind.split(";")[0] in ("application/json", "text/html")


async def _answer(scope: Scope, start: Message, body: bytes, send: Send) -> None:
    headers = MutableHeaders(raw=list(start["headers"]))
    tag = f'W/"{hashlib.blake2b(body, digest_size=12).hexdigest()}"'
    headers["ETag"] = tag
    asked = Headers(scope=scope).get("if-none-match", "")
    if tag in (part.strip() for part in asked.split(",")):
        del headers["content-length"]
        await send({"type": "http.response.start", "status": 304, "headers": headers.raw})
        await send({"type": "http.response.body", "body": b""})
        return
    await send({**start, "headers": headers.raw})
    await send({"type": "http.response.body", "body": body})


def _name(host: str) -> str:
    return host.rsplit(":", 1)[0].strip("[]").lower() if not host.endswith("]") else host.strip("[]").lower()
