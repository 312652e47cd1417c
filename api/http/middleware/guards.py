"""Middleware: security headers, origin checks, body limits, entity tags."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fieldfare.analysis.plant.site_id import SITE_ID_CHARACTERS
from fieldfare.api.http.middleware.security_headers import SECURITY_HEADERS
from fieldfare.api.http.owners import HEADER as OWNER_HEADER
from fieldfare.api.http.problems import problem

LARGEST_BODY, LARGEST_UPLOAD = 8_000_000, 200_000_000
"""Bytes: of any request, and of an export that is dropped into the browser (a year of minutes has some 50
MB)."""
LARGEST_WITH_PHOTOS = 70_000_000
"""Bytes of a plain form with photos as a phone takes them; scripts make them smaller before they are sent."""
LARGEST_OF_NOBODY = 64_000
"""Bytes of a request before anybody has signed in: a form of a few fields."""
_UPLOAD = re.compile(f"/sites/{SITE_ID_CHARACTERS}/readings")
_PHOTOS = re.compile(rf"/sites/{SITE_ID_CHARACTERS}/(checks/[a-z]+/[0-9a-z]+|works|works/\d+)")
_UNSAFE = frozenset({"POST", "PUT", "PATCH", "DELETE"})


class SecurityHeaders:
    """Add security headers; HSTS if the service is reached by TLS."""

    def __init__(self, app: ASGIApp, secure: bool) -> None:
        self._app = app
        self._headers = dict(SECURITY_HEADERS)
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
                if owner := scope.get("state", {}).get("owner"):
                    headers[OWNER_HEADER] = owner
            await send(message)

        await self._app(scope, receive, with_headers)


class KnownOrigin:
    """Refuse unknown host names, and unsafe cross-site requests."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str] | None) -> None:
        """hosts : allowed values of Host; None for any (checked by a proxy)"""
        self._app, self._hosts = app, hosts
        self._hosts_hint = f"now {', '.join(sorted(hosts))}" if hosts is not None else ""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and (refusal := self._refusal(Headers(scope=scope), scope["method"])):
            return await problem(400 if "host" in refusal else 403, "origin", "Refused", refusal)(
                scope, receive, send
            )
        await self._app(scope, receive, send)

    def _refusal(self, headers: Headers, method: str) -> str:
        host = headers.get("host", "")
        if self._hosts is not None and _name(host) not in self._hosts:
            return (
                "this service is not known by that host name; FIELDFARE_PUBLIC_URL sets the name"
                f" ({self._hosts_hint})"
            )
        if method not in _UNSAFE:
            return ""
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return "sent by another site's page"
        origin = headers.get("origin")
        if origin and origin != "null" and urlsplit(origin).netloc != host:
            return "sent by another site's page"
        return "sent by a page without an origin" if origin == "null" else ""


class BodyLimit:
    """Refuse bodies over the service's limit, which is lower for anonymous requests."""

    def __init__(
        self,
        app: ASGIApp,
        is_known: Callable[[Scope], bool],
        largest: int = LARGEST_BODY,
        largest_upload: int = LARGEST_UPLOAD,
    ) -> None:
        """is_known : whether a request has a session or a device token"""
        self._app, self._is_known = app, is_known
        self._largest, self._largest_upload = largest, largest_upload

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        largest = self._largest_upload if _UPLOAD.fullmatch(scope["path"]) else self._largest
        if _PHOTOS.fullmatch(scope["path"]):
            largest = max(largest, LARGEST_WITH_PHOTOS)
        headers = Headers(scope=scope)
        length, chunked = headers.get("content-length", "0"), "transfer-encoding" in headers
        if chunked and "content-length" in headers:  # RFC 9112, 6.3: another server may use the other length
            twice = problem(400, "two-lengths", "Two lengths", "a request tells its length in one way")
            twice.headers["Connection"] = "close"
            return await twice(scope, receive, send)
        big = chunked or not length.isdigit() or int(length) > LARGEST_OF_NOBODY
        if big and not await run_in_threadpool(self._is_known, scope):
            largest = LARGEST_OF_NOBODY
        size = f"{largest // 1_000_000} MB" if largest >= 1_000_000 else f"{largest // 1000} kB"
        refusal = problem(413, "too-large", "Too large", f"a request may carry {size} here")
        if not length.isdigit() or int(length) > largest:
            return await refusal(scope, receive, send)
        received, started = 0, False

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > largest:
                raise _TooLarge(413, f"a request may carry {size} here")
            return message

        async def watched(message: Message) -> None:
            nonlocal started
            started = True
            if message["type"] == "http.response.start" and received > largest:
                MutableHeaders(scope=message)["Connection"] = "close"  # what is sent may have no end
            await send(message)

        try:
            await self._app(scope, counted, watched)
        except _TooLarge:
            if not started:
                await refusal(scope, receive, watched)


class _TooLarge(HTTPException):
    """The body exceeded its announced length. An HTTP error, so that no body parser reports it as
    malformed."""


class EntityTags:
    """Add entity tags to responses, and answer 304 for matching requests."""

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
    known_tags = Headers(scope=scope).get("if-none-match", "")
    if tag in (part.strip() for part in known_tags.split(",")):
        del headers["content-length"]
        await send({"type": "http.response.start", "status": 304, "headers": headers.raw})
        await send({"type": "http.response.body", "body": b""})
        return
    await send({**start, "headers": headers.raw})
    await send({"type": "http.response.body", "body": body})


def _name(host: str) -> str:
    return host.rsplit(":", 1)[0].strip("[]").lower() if not host.endswith("]") else host.strip("[]").lower()
