"""One guard for what the service calls by itself: notice channels, the sign-in provider, a forecast.

Loopback, link-local and private addresses are refused unless the operator allows them. The check is made on
the address that a socket connects to, so a name that changes its address and a redirect can't get round it.
The time-series server, the broker and the mail server are named by the operator and are not asked to redirect
(their clients follow none).
Source: OWASP, Server-Side Request Forgery Prevention Cheat Sheet.
"""

from __future__ import annotations

import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Any

from fieldfare.analysis.errors import InputError

Network = IPv4Network | IPv6Network
CONNECT_S, READ_S = 5.0, 10.0
LONGEST_S = 30.0
"""For a whole document, however slowly it drips."""
LARGEST_ANSWER = 1_000_000
"""Bytes; a provider's documents have some kB."""
_PIECE = 65_536
_NAT64 = ip_network("64:ff9b::/96")
_guard: ContextVar[tuple[Network, ...] | None] = ContextVar("outgoing", default=None)


class Unreachable(Exception):
    """What was called did not answer as it should; the message is for people."""


class RefusedAddress(OSError):
    """The guard let nothing out to this address."""


class Outgoing:
    """Calls under the guard. allowed : networks that are private, and allowed all the same"""

    def __init__(self, allowed: tuple[Network, ...] = ()) -> None:
        self._allowed = allowed

    @classmethod
    def of(cls, internal_hosts: str) -> Outgoing:
        """internal_hosts : addresses and networks, separated by commas. Raises InputError."""
        try:
            parts = [part.strip() for part in internal_hosts.split(",") if part.strip()]
            return cls(tuple(ip_network(part, strict=False) for part in parts))
        except ValueError as error:
            raise InputError(f"FIELDFARE_INTERNAL_HOSTS: {error}") from None

    @contextmanager
    def guarded(self) -> Iterator[None]:
        """Within this block this thread connects to no address that is not allowed."""
        _install_hook()
        token = _guard.set(self._allowed)
        try:
            yield
        finally:
            _guard.reset(token)

    def json(
        self,
        method: str,
        url: str,
        form: dict[str, str] | None = None,
        auth: tuple[str, str] | None = None,
    ) -> dict[str, Any]:
        """Ask for one JSON object: bounded in time and size, without redirects. Raises Unreachable."""
        import httpx
        import orjson

        body = bytearray()
        limits = httpx.Timeout(READ_S, connect=CONNECT_S)
        headers = {"Accept": "application/json", "Accept-Encoding": "identity"}
        try:
            with (
                self.guarded(),
                httpx.Client(timeout=limits, trust_env=False) as client,
                client.stream(method, url, data=form, auth=auth, headers=headers) as answer,
            ):
                if answer.status_code != 200:
                    raise Unreachable(f"it answered {answer.status_code}")
                for piece in answer.iter_raw():
                    body += piece
                    if len(body) > LARGEST_ANSWER:
                        raise Unreachable("its answer is too large")
            found = orjson.loads(bytes(body))
        except RefusedAddress as error:
            raise Unreachable(str(error)) from None
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
            told = next((str(e) for e in _chain(error) if isinstance(e, RefusedAddress)), "")
            raise Unreachable(told or f"it did not answer ({type(error).__name__})") from None
        except orjson.JSONDecodeError:
            raise Unreachable("its answer is not JSON") from None
        if not isinstance(found, dict):
            raise Unreachable("its answer is not a JSON object")
        return found

    def text(self, url: str, accept: str) -> str:
        """Ask for one document in UTF-8: bounded in time and size, without redirects. Raises Unreachable."""
        import urllib3

        headers = {"Accept": accept, "Accept-Encoding": "identity", "User-Agent": "fieldfare"}
        limits = urllib3.Timeout(connect=CONNECT_S, read=READ_S)
        body, begun = bytearray(), time.monotonic()
        try:
            with self.guarded(), urllib3.PoolManager(retries=False, timeout=limits) as pool:
                answer = pool.request("GET", url, headers=headers, redirect=False, preload_content=False)
                if answer.status != 200:
                    raise Unreachable(f"it answered {answer.status}")
                while piece := answer.read1(_PIECE, decode_content=False):  # what has come, not a whole piece
                    body += piece
                    if len(body) > LARGEST_ANSWER:
                        raise Unreachable(f"its answer is larger than {LARGEST_ANSWER / 1e6:g} MB")
                    if time.monotonic() - begun > LONGEST_S:
                        raise Unreachable(f"it did not finish within {LONGEST_S:g} s")
            return bytes(body).decode("utf-8-sig")
        except UnicodeDecodeError:
            raise Unreachable("its answer is not text in UTF-8") from None
        except (urllib3.exceptions.HTTPError, OSError, ValueError) as error:
            told = next((str(e) for e in _chain(error) if isinstance(e, RefusedAddress)), "")
            raise Unreachable(told or f"it did not answer ({type(error).__name__})") from None


def is_public(address: str) -> bool:
    """True for an address on the internet; False for a private or special one and for what is no address."""
    try:
        found = _inner(ip_address(address.split("%")[0]))
    except ValueError:
        return False
    return found.is_global and not found.is_multicast


def check_address(address: object, allowed: tuple[Network, ...]) -> None:
    """address : as a socket connects to it. Raises RefusedAddress."""
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
    """The IPv4 address that an IPv6 address carries, if any."""
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
    """An audit hook can't be removed; outside a guarded block it lets everything pass."""
    sys.addaudithook(_on_event)


def _on_event(event: str, args: tuple[Any, ...]) -> None:
    if event in ("socket.connect", "socket.sendto") and (allowed := _guard.get()) is not None:
        if args[0].family not in (socket.AF_INET, socket.AF_INET6):
            raise RefusedAddress("a local socket is no internet address")
        check_address(args[1], allowed)
