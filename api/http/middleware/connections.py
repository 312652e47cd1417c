"""Bounds on open connections: slow or idle clients can't take all of the service's files and stop
collection."""

from __future__ import annotations

import asyncio
import logging
import resource
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

FIRST_REQUEST_S = 20.0
"""A connection must bring a whole request head within this time (common practice: 10 to 60 s)."""
OWN_FILES = 400
"""Files besides connections: databases, sealed months, the broker, logs."""
log = logging.getLogger(__name__)


def limited_protocol(most: int) -> type[asyncio.Protocol]:
    """An HTTP protocol that closes connections beyond `most`, and those that bring no request in time.

    most : int, open connections at a time
    """

    class Limited(H11Protocol):
        _deadline: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            if len(self.connections) > most:
                transport.abort()
                return
            self._deadline = self.loop.call_later(FIRST_REQUEST_S, self._close_without_request)

        def connection_lost(self, exc: Exception | None) -> None:
            if self._deadline is not None:
                self._deadline.cancel()
            super().connection_lost(exc)

        def _close_without_request(self) -> None:
            if self.cycle is None and not self.transport.is_closing():
                self.transport.abort()

    return Limited


def raise_file_limit(most: int) -> None:
    """Allow as many open files as connections and the service itself need, as far as the system lets us."""
    wanted = most + OWN_FILES
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft >= wanted or soft == resource.RLIM_INFINITY:
        return
    allowed = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
    resource.setrlimit(resource.RLIMIT_NOFILE, (allowed, hard))
    if allowed < wanted:
        log.warning("only %d open files are allowed; %d connections want %d", allowed, most, wanted)
