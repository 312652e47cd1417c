"""Guard of all outgoing requests: notice channels, sign-in provider, forecast.

Loopback, link-local and private addresses are refused unless the operator allows them. The check is made on
the address that a socket connects to, so a name that changes its address and a redirect can't get round it.
Each call has a deadline, after which its sockets are shut down whichever library opened them. So a server
that answers slowly, in the TLS handshake, headers or body, can't hold a call open.
The operator names the time-series server, the broker and the mail server; their clients follow no redirects.
Source: OWASP, Server-Side Request Forgery Prevention Cheat Sheet.
"""

from __future__ import annotations

import base64
import os
import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import cache
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Any

from fieldfare.analysis.errors import InputError

Network = IPv4Network | IPv6Network
CONNECT_S, READ_S = 5.0, 10.0
LONGEST_S = 30.0
"""For a whole call, however slowly its answer drips."""
LARGEST_ANSWER = 1_000_000
"""Bytes; a provider's documents have some kB."""
_PIECE = 65_536
_LEAVING = frozenset({"socket.connect", "socket.sendto", "socket.sendmsg"})
_NAT64 = ip_network("64:ff9b::/96")
_call: ContextVar[_Call | None] = ContextVar("outgoing", default=None)


class Unreachable(Exception):
    """A called server failed or answered wrongly; the message can be shown to users."""


class RefusedAddress(OSError):
    """The guard refused this address."""


class Overdue(Unreachable):
    """The call exceeded its deadline."""


class Outgoing:
    """Guarded calls. allowed : private networks that are allowed"""

    def __init__(self, allowed: tuple[Network, ...] = ()) -> None:
        self._allowed = allowed

    @classmethod
    def of(cls, internal_hosts: str) -> Outgoing:
        """Guarded calls that may also reach these internal addresses.

        internal_hosts : addresses and networks, separated by commas. Raises InputError.
        """
        try:
            parts = [part.strip() for part in internal_hosts.split(",") if part.strip()]
            return cls(tuple(ip_network(part, strict=False) for part in parts))
        except ValueError as error:
            raise InputError(f"FIELDFARE_INTERNAL_HOSTS: {error}") from None

    @contextmanager
    def guarded(self) -> Iterator[None]:
        """Context manager: this thread connects only to allowed addresses, and its connections end after
        LONGEST_S. Raises Overdue if they did."""
        seconds = LONGEST_S
        call = _Call(self._allowed)
        try:
            with _watched(call, seconds):
                yield
        except Exception as error:
            if call.is_over:
                raise Overdue(f"it did not finish within {seconds:g} s") from error
            raise
        if call.is_over:  # the answer may have been cut off silently
            raise Overdue(f"it did not finish within {seconds:g} s")

    def json(
        self,
        method: str,
        url: str,
        form: dict[str, str] | None = None,
        auth: tuple[str, str] | None = None,
    ) -> dict[str, Any]:
        """Fetch one JSON object, limited in time and size, without redirects. Raises Unreachable."""
        import orjson

        headers = {"Accept": "application/json"}
        if auth is not None:
            headers["Authorization"] = f"Basic {base64.b64encode(':'.join(auth).encode()).decode()}"
        try:
            found = orjson.loads(self._document(method, url, headers, form))
        except orjson.JSONDecodeError:
            raise Unreachable("its answer is not JSON") from None
        if not isinstance(found, dict):
            raise Unreachable("its answer is not a JSON object")
        return found

    def text(self, url: str, accept: str) -> str:
        """Fetch one UTF-8 document, limited in time and size, without redirects. Raises Unreachable."""
        try:
            return self._document("GET", url, {"Accept": accept}).decode("utf-8-sig")
        except UnicodeDecodeError:
            raise Unreachable("its answer is not text in UTF-8") from None

    def _document(
        self, method: str, url: str, headers: dict[str, str], form: dict[str, str] | None = None
    ) -> bytes:
        import urllib3

        headers = {**headers, "Accept-Encoding": "identity", "User-Agent": "fieldfare"}
        limits = urllib3.Timeout(connect=CONNECT_S, read=READ_S)
        more: dict[str, Any] = {"fields": form, "encode_multipart": False} if form is not None else {}
        body = bytearray()
        try:
            with self.guarded(), urllib3.PoolManager(retries=False, timeout=limits) as pool:
                answer = pool.request(
                    method, url, headers=headers, redirect=False, preload_content=False, **more
                )
                if answer.status != 200:
                    raise Unreachable(f"it answered {answer.status}")
                while piece := answer.read1(_PIECE, decode_content=False):  # returns what has arrived
                    body += piece
                    if len(body) > LARGEST_ANSWER:
                        largest = f"{LARGEST_ANSWER / 1e6:g} MB"
                        raise Unreachable(f"its answer is larger than {largest}, which is too large")
        except (urllib3.exceptions.HTTPError, OSError, ValueError) as error:
            refusal = next((str(e) for e in _chain(error) if isinstance(e, RefusedAddress)), "")
            raise Unreachable(refusal or f"it did not answer ({type(error).__name__})") from None
        return bytes(body)


@contextmanager
def bounded(seconds: float) -> Iterator[None]:
    """Context manager: this thread's connections, to any address, are closed after `seconds`."""
    with _watched(_Call(None), seconds):
        yield


class _Call:
    """One call's connections. allowed : private networks that are allowed; None for any address"""

    def __init__(self, allowed: tuple[Network, ...] | None) -> None:
        self.allowed, self.is_over = allowed, False
        self._open: list[socket.socket] = []
        self._lock = threading.Lock()

    def check(self, connection: socket.socket, address: object) -> None:
        """Raises RefusedAddress."""
        if self.allowed is not None:
            if connection.family not in (socket.AF_INET, socket.AF_INET6):
                raise RefusedAddress("a local socket is no internet address")
            check_address(address, self.allowed)

    def keep(self, connection: socket.socket) -> None:
        """Raises TimeoutError after the deadline."""
        with self._lock:
            if self.is_over:
                raise TimeoutError("the time for this call is up")
            # A duplicate of the socket: TLS takes over the original.
            self._open.append(socket.socket(fileno=os.dup(connection.fileno())))

    def end(self) -> None:
        """Deadline: shut down the connections, which wakes their readers."""
        with self._lock:
            self.is_over = True
            for connection in self._open:
                with suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        with self._lock:
            for connection in self._open:
                connection.close()
            self._open.clear()


@contextmanager
def _watched(call: _Call, seconds: float) -> Iterator[None]:
    _install_hook()
    timer = threading.Timer(seconds, call.end)
    timer.daemon = True
    timer.start()
    token = _call.set(call)
    try:
        yield
    finally:
        _call.reset(token)
        timer.cancel()
        call.close()


def is_public(address: str) -> bool:
    """True for a public address; False for private, special and invalid ones."""
    try:
        found = _inner(ip_address(address.split("%")[0]))
    except ValueError:
        return False
    return found.is_global and not found.is_multicast


def check_address(address: object, allowed: tuple[Network, ...]) -> None:
    """Refuse an address that is neither public nor allowed.

    address : as a socket connects to it. Raises RefusedAddress.
    """
    host = str(address[0]) if isinstance(address, tuple) and address else ""
    if is_public(host):
        return
    try:
        found = _inner(ip_address(host.split("%")[0]))
    except ValueError:
        raise RefusedAddress(f"{host or 'a local socket'} is no internet address") from None
    if not any(found in network for network in allowed):
        raise RefusedAddress(f"{host} is a private address; FIELDFARE_INTERNAL_HOSTS allows it")


def _inner(address: IPv4Address | IPv6Address) -> IPv4Address | IPv6Address:
    """The IPv4 address embedded in an IPv6 address, if any."""
    if not isinstance(address, IPv6Address):
        return address
    if address in _NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour or address


def _chain(error: BaseException) -> Iterator[BaseException]:
    found: BaseException | None = error
    while found is not None:
        yield found
        found = found.__cause__ or found.__context__


@cache
def _install_hook() -> None:
    """Audit hook, which can't be removed; outside a guarded block it allows everything."""
    sys.addaudithook(_on_event)


def _on_event(event: str, args: tuple[Any, ...]) -> None:
    if event not in _LEAVING or (call := _call.get()) is None:
        return
    connection, address = args[:2]
    if address is not None:  # else it is already connected
        call.check(connection, address)
    if event == "socket.connect":
        call.keep(connection)
