"""One MQTT connection, driven by its caller: no thread of its own, reads only on request."""

from __future__ import annotations

import logging
import select
import socket
import ssl
import time
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.collector.mqtt.settings import MqttSettings

log = logging.getLogger("fieldfare.collect")

_UNSUPPORTED_VERSION = 132
_NOT_AUTHORISED = (134, 135)
_RETAINED_ONCE = 1  # retain handling of MQTT 5: only when the subscription is new
_ANSWER_S = 10.0
_READ = 1 << 16
_CLOSES_BEFORE_OLDER = 2  # a broker that only knows 3.1.1 may hang up instead of answering


class LinkDown(FieldfareError):
    """The broker is unreachable, refused the connection, or closed it."""


class Packet(NamedTuple):
    """A delivered message with the data for its acknowledgement."""

    topic: str
    payload: bytes
    mid: int
    qos: int
    dup: bool
    retained: bool


class _Buffered:
    """Buffered socket: reads and writes in large pieces where the client library asks for single bytes."""

    def __init__(self, sock: Any) -> None:
        self._sock = sock
        self._got = memoryview(b"")
        self.out = bytearray()
        self.corked = False
        self.dry = False

    def recv(self, size: int) -> bytes:
        got = self._got
        if not got:
            try:
                got = memoryview(self._sock.recv(_READ))
            except (BlockingIOError, ssl.SSLWantReadError):
                self.dry = True
                raise
        self._got = got[size:]
        return bytes(got[:size])

    def send(self, data: bytes) -> int:
        self.out += data
        if not self.corked:
            self.flush()
        return len(data)

    def flush(self) -> None:
        """Write pending data, as far as the other side takes it."""
        while self.out:
            try:
                sent = self._sock.send(self.out)
            except (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError):
                return
            del self.out[:sent]

    def pending(self) -> int:
        return len(self._got) + (self._sock.pending() if isinstance(self._sock, ssl.SSLSocket) else 0)

    def fileno(self) -> int:
        return int(self._sock.fileno())

    def close(self) -> None:
        self._sock.close()

    def setblocking(self, flag: bool) -> None:
        self._sock.setblocking(flag)

    def settimeout(self, seconds: float | None) -> None:
        self._sock.settimeout(seconds)

    def do_handshake(self) -> None:
        if isinstance(self._sock, ssl.SSLSocket):
            self._sock.do_handshake()


class _SocketContext:
    """In the place of an SSLContext, which the client library calls to wrap its socket: adds the buffer.

    tls : wraps the connection itself; None for a plain one
    """

    check_hostname = True  # `tls` has done so; the library need not

    def __init__(self, tls: ssl.SSLContext | None) -> None:
        self._tls = tls
        self.buffered: _Buffered | None = None

    def wrap_socket(
        self, sock: socket.socket, server_hostname: str | None = None, do_handshake_on_connect: bool = False
    ) -> _Buffered:
        inner = (
            sock
            if self._tls is None
            else self._tls.wrap_socket(
                sock, server_hostname=server_hostname, do_handshake_on_connect=do_handshake_on_connect
            )
        )
        self.buffered = _Buffered(inner)
        return self.buffered


class Link:
    """The broker session, over as many connections as it needs.

    take : called with each delivered Packet while `pump` runs
    filters : subscriptions confirmed on this connection. older : those that the session may still have
    """

    def __init__(self, settings: MqttSettings, take: Callable[[Packet], None]) -> None:
        self._settings, self._take = settings, take
        self._address = settings.address
        self._client: paho.Client | None = None
        self._sockets = _SocketContext(None)
        self._protocol = settings.protocol
        self._closed_early = 0
        self._answer: ReasonCode | None = None
        self._asked: dict[int, tuple[bool, list[str]]] = {}
        self.filters: set[str] = set()
        self.older: set[str] = set()
        self.session_present: bool = False
        self.refused_filters: dict[str, str] = {}

    @property
    def connected(self) -> bool:
        return self._client is not None and self._client.socket() is not None and self._answer is not None

    @property
    def version(self) -> str:
        """Protocol version of the last connection."""
        return "5" if self._protocol == 5 else "3.1.1"

    def connect(self) -> None:
        """Open a connection and resume the session. Raises LinkDown."""
        self._drop()
        client = self._client = self._made()
        self._answer = None
        try:
            host, port, _ = self._address
            if self._protocol == 5:
                client.connect(
                    host,
                    port,
                    self._settings.keepalive_seconds,
                    clean_start=False,
                    properties=self._properties(),
                )
            else:
                client.connect(host, port, self._settings.keepalive_seconds)
        except (OSError, ValueError) as error:
            self._drop()
            raise LinkDown(f"broker {self._settings.url}: {error}") from error
        until = time.monotonic() + _ANSWER_S
        while self._answer is None and time.monotonic() < until:
            if not self._turn(0.1, budget=1):
                break
        self._judge(client)

    def _judge(self, client: paho.Client) -> None:
        """Check the broker's answer to CONNECT."""
        answer = self._answer
        if answer is None:
            self._closed_early += 1
            if self._protocol == 5 and self._closed_early >= _CLOSES_BEFORE_OLDER:
                self._protocol = 4
            self._drop()
            raise LinkDown(f"broker {self._settings.url}: no answer to CONNECT")
        if answer.is_failure:
            self._drop()
            if answer.value == _UNSUPPORTED_VERSION and self._protocol == 5:
                log.warning("the broker does not speak MQTT 5; going on with 3.1.1")
                self._protocol = 4
            elif answer.value in _NOT_AUTHORISED:
                log.error("the broker refuses our user, password or certificate: %s", answer)
            raise LinkDown(f"broker {self._settings.url}: {answer}")
        self._closed_early = 0
        # A killed broker may keep the session but lose its subscriptions, so subscribe on each
        # connection.
        self.older = self.older | self.filters if self.session_present else set()
        self.filters, self.refused_filters = set(), {}

    def _made(self) -> paho.Client:
        s = self._settings
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=s.client_id,
            clean_session=None if self._protocol == 5 else False,
            protocol=paho.MQTTv5 if self._protocol == 5 else paho.MQTTv311,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        if s.user:
            client.username_pw_set(s.user, s.password)
        self._sockets = _SocketContext(self._tls() if self._address.tls else None)
        client.tls_set_context(self._sockets)  # type: ignore[arg-type]  # uses `wrap_socket` alone
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_answer
        client.on_unsubscribe = self._on_answer
        client.on_message = self._on_message
        return client

    def _tls(self) -> ssl.SSLContext:
        s = self._settings
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)  # verifies certificate and host name
        try:
            if s.client_cert:
                context.load_cert_chain(s.client_cert, s.client_key or None)
            if s.ca_file:
                context.load_verify_locations(s.ca_file)
            else:
                context.load_default_certs()
        except (OSError, ValueError) as error:
            raise InputError(f"the broker's certificate files can't be read: {error}") from error
        return context

    def _properties(self) -> Properties:
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = self._settings.session_seconds
        properties.ReceiveMaximum = min(65_535, self._settings.max_in_flight)
        return properties

    def _on_connect(self, _c: Any, _u: Any, flags: Any, reason: ReasonCode, _p: Any) -> None:
        self.session_present = bool(flags.session_present)
        self._answer = reason

    def _on_message(self, _c: Any, _u: Any, message: paho.MQTTMessage) -> None:
        m = message
        self._take(Packet(m.topic, bytes(m.payload), m.mid, m.qos, bool(m.dup), bool(m.retain)))

    def _on_answer(self, _c: Any, _u: Any, mid: int, reasons: list[ReasonCode], _p: Any) -> None:
        adding, filters = self._asked.pop(mid, (False, []))
        for name, reason in zip(filters, reasons if reasons else [None] * len(filters), strict=False):
            if reason is not None and reason.is_failure:
                self.refused_filters[name] = str(reason)
                log.error("the broker refuses %s to us: %s", name, reason)
            elif adding:
                self.filters.add(name)
            else:
                self.filters.discard(name)
                self.older.discard(name)

    def ask_for(self, filters: Iterable[str]) -> None:
        """Subscribe to these filters and unsubscribe from others that an earlier connection left."""
        client = self._client
        if client is None:
            return
        group = self._settings.shared_group
        names = {f"$share/{group}/{f}" if group else f for f in filters}
        waiting_in = {f for adding, names in self._asked.values() for f in names if adding}
        waiting_out = {f for adding, names in self._asked.values() for f in names if not adding}
        for name in sorted(names - self.filters - waiting_in - self.refused_filters.keys()):
            if self._protocol == 5:
                options = SubscribeOptions(qos=1, retainHandling=_RETAINED_ONCE)
                _, mid = client.subscribe(name, options=options)
            else:
                _, mid = client.subscribe(name, 1)
            if mid is not None:
                self._asked[mid] = (True, [name])
        for name in sorted((self.filters | self.older) - names - waiting_out):
            _, mid = client.unsubscribe(name)
            if mid is not None:
                self._asked[mid] = (False, [name])

    def pump(self, timeout: float, budget: int) -> None:
        """Wait for the broker at most `timeout` [s], then read at most `budget` messages.

        With a budget of 0 only write pending data. Raises LinkDown when the connection is lost.
        """
        if not self._turn(timeout, budget):
            self._drop()
            raise LinkDown(f"broker {self._settings.url}: the connection was lost")

    def _turn(self, timeout: float, budget: int) -> bool:
        client, sock = self._client, self._sockets.buffered
        if client is None or client.socket() is None or sock is None:
            return False
        writing = [sock] if sock.out or client.want_write() else []
        reading = [sock] if budget > 0 else []
        if not sock.pending() or not reading:
            try:
                ready, writable, _ = select.select(reading, writing, [], timeout)
            except (OSError, ValueError):
                return False
            if writable:
                try:
                    sock.flush()
                except OSError:
                    return False
            if not ready:
                return self._is_alive(client)
        left = budget
        sock.dry = False
        while left > 0 and not sock.dry:
            if client.loop_read() or client.socket() is None:
                return False
            left -= 1
        return self._is_alive(client)

    def _is_alive(self, client: paho.Client) -> bool:
        return not client.loop_misc() and client.socket() is not None

    def acknowledge(self, mids: Iterable[tuple[int, int]]) -> None:
        """Acknowledge messages of this connection: (packet id, QoS). Raises LinkDown."""
        client, sock = self._client, self._sockets.buffered
        if client is None or sock is None or client.socket() is None:
            raise LinkDown("the connection was lost before the acknowledgement")
        sock.corked = True
        try:
            for mid, qos in mids:
                client.ack(mid, qos)
        finally:
            sock.corked = False
        try:
            sock.flush()
        except OSError as error:
            self._drop()
            raise LinkDown(f"the connection was lost: {error}") from error

    def close(self, seconds: float = 5.0) -> None:
        """Write pending data and disconnect; the session stays at the broker."""
        client, sock = self._client, self._sockets.buffered
        if client is not None and sock is not None and client.socket() is not None:
            until = time.monotonic() + seconds
            while sock.out and time.monotonic() < until and self._turn(0.1, 0):
                pass
            client.disconnect()
            while sock.out and client.socket() is not None and time.monotonic() < until:
                if not self._turn(0.1, 0):
                    break
        self._drop()

    def _drop(self) -> None:
        self._client = None
        self._asked.clear()
        if self._sockets.buffered is not None:
            self._sockets.buffered.close()
            self._sockets.buffered = None
