"""Limit open connections, so that slow or idle clients can't exhaust file descriptors and stop collection."""

from __future__ import annotations

import asyncio
import fcntl
import logging
import resource
import struct
import termios
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

OWN_FILES = 400
"""Files besides connections: databases, sealed months, the broker, logs."""
log = logging.getLogger(__name__)


def limited_protocol(most: int, seconds: float, slowest: int) -> type[asyncio.Protocol]:
    """HTTP protocol class that limits connections and closes those of slow clients.

    most : int, open connections. A new one replaces the one idle for longest, so that idle clients can't
        lock others out
    seconds : float [s], limit for receiving a whole request head
    slowest : int [bytes/s], least rate of a request body and of a response, over `seconds`
    """
    return type("Limited", (_Limited,), {"bounds": _Bounds(most, seconds, slowest * seconds)})


@dataclass(frozen=True)
class _Bounds:
    """Limits of the connections of one server.

    most, seconds : see `limited_protocol`. least : bytes that must pass in `seconds`
    waiting : connections that are idle or still sending a request; longest waiting first
    """

    most: int
    seconds: float
    least: float
    waiting: dict[_Limited, None] = field(default_factory=dict)

    def make_room(self) -> bool:
        """Close the connection that has waited longest. Returns False if all are being served."""
        for found in self.waiting:
            if not found.transport.get_write_buffer_size():  # else the client still reads its response
                del self.waiting[found]
                found.transport.abort()
                return True
        return False


class _Limited(H11Protocol):
    """A connection under the limits of its class."""

    bounds: ClassVar[_Bounds]
    _tick: asyncio.TimerHandle | None = None
    _asks_since: float | None = None
    """When a request was begun that has no whole head yet [s]; from the start on, as each must bring one."""
    _received = 0
    _unsent: int | None = None

    @property
    def _is_answered(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        if len(self.connections) > self.bounds.most and not self.bounds.make_room():
            transport.abort()
            return
        self._asks_since = self.loop.time()
        self._await_request()

    def connection_lost(self, exc: Exception | None) -> None:
        self.bounds.waiting.pop(self, None)
        if self._tick is not None:
            self._tick.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        self._received += len(data)
        if self._is_answered and self._asks_since is None:
            self._asks_since = self.loop.time()
        super().data_received(data)
        if not self._is_answered:
            self._asks_since = None
            self.bounds.waiting.pop(self, None)

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._unsent = None
        self._await_request()

    def _await_request(self) -> None:
        if self._is_answered and not self.transport.is_closing():
            self.bounds.waiting[self] = None
        self._watch()

    def resume_writing(self) -> None:
        self._unsent = None
        super().resume_writing()

    def _watch(self) -> None:
        if self._tick is not None:
            self._tick.cancel()
        self._received = 0
        self._tick = self.loop.call_later(self.bounds.seconds, self._look)

    def _look(self) -> None:
        if self._is_slow():
            self.transport.abort()
        else:
            self._watch()

    def _is_slow(self) -> bool:
        """Whether too few bytes passed since the last check."""
        before, self._unsent = self._unsent, None
        unsent = _unsent(self.transport)
        if unsent and (self._is_answered or self.flow.write_paused):  # writing pauses until it is sent
            self._unsent = unsent
            return before is not None and before - unsent < self.bounds.least
        if self._is_answered:  # idle connections are closed by the keep-alive timeout
            return self._asks_since is not None and self.loop.time() - self._asks_since >= self.bounds.seconds
        waits_for_us = self.flow.read_paused or self.cycle.waiting_for_100_continue
        return self.cycle.more_body and not waits_for_us and self._received < self.bounds.least


def _unsent(transport: asyncio.Transport) -> int:
    """Bytes not yet acknowledged by the peer, including the kernel's queue, which takes megabytes at once:
    our buffer alone would show a slow reader as stopped."""
    queued = 0
    connection = transport.get_extra_info("socket")
    with suppress(OSError, AttributeError):  # a system that does not tell
        (queued,) = struct.unpack("i", fcntl.ioctl(connection.fileno(), termios.TIOCOUTQ, bytes(4)))
    return transport.get_write_buffer_size() + queued


def raise_file_limit(most: int) -> None:
    """Raise the limit of open files to what connections and the service need, as far as the system allows."""
    needed = most + OWN_FILES
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft >= needed or soft == resource.RLIM_INFINITY:
        return
    allowed = needed if hard == resource.RLIM_INFINITY else min(needed, hard)
    resource.setrlimit(resource.RLIMIT_NOFILE, (allowed, hard))
    if allowed < needed:
        log.warning("only %d open files are allowed; %d connections want %d", allowed, most, needed)
