"""Outgoing calls: private addresses, redirects, names that resolve to them, and endless responses."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import urllib3

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts import channels
from fieldfare.api.alerts.channels import (
    Letter,
    MayHaveArrived,
    NotSent,
    Rejected,
    send,
)
from fieldfare.api.core import outgoing
from fieldfare.api.core.outgoing import (
    Outgoing,
    Overdue,
    RefusedAddress,
    Unreachable,
    check_address,
    is_public,
)
from fieldfare.collector.store.influx_query import InfluxQuery

# Special addresses by IANA's registries (RFC 6890 and its updates): loopback, link-local, private, shared,
# documentation, multicast, unspecified, and the same inside IPv6 (mapped, NAT64 of RFC 6052, 6to4 of RFC
# 3056).
INSIDE = (
    "127.0.0.1",
    "127.8.8.8",
    "10.1.2.3",
    "172.16.0.1",
    "172.31.255.255",
    "192.168.1.1",
    "169.254.169.254",
    "100.64.0.1",
    "0.0.0.0",
    "224.0.0.1",
    "255.255.255.255",
    "192.0.2.1",
    "::1",
    "::",
    "fe80::1%eth0",
    "fc00::1",
    "fd12::1",
    "ff02::1",
    "::ffff:127.0.0.1",
    "::ffff:10.0.0.1",
    "64:ff9b::7f00:1",
    "2002:7f00:1::",
    "localhost",
    "",
    "internal.example",
)
OUTSIDE = ("8.8.8.8", "1.1.1.1", "2606:4700:4700::1111", "::ffff:8.8.8.8", "64:ff9b::808:808")


@pytest.mark.parametrize("address", INSIDE)
def test_an_inside_address_is_not_public(address: str) -> None:
    assert not is_public(address)
    with pytest.raises(RefusedAddress):
        check_address((address, 80), ())


@pytest.mark.parametrize("address", OUTSIDE)
def test_an_outside_address_is_public(address: str) -> None:
    assert is_public(address)
    check_address((address, 443), ())


def test_the_operator_allows_networks_by_name() -> None:
    outgoing = Outgoing.of("10.0.0.0/8, fd12::/16")
    check_address(("10.1.2.3", 80), outgoing._allowed)
    with pytest.raises(RefusedAddress, match="FIELDFARE_INTERNAL_HOSTS"):
        check_address(("192.168.1.1", 80), outgoing._allowed)
    with pytest.raises(InputError, match="FIELDFARE_INTERNAL_HOSTS"):
        Outgoing.of("ten dot something")


class Seen(list[str]):
    port = 0


@contextmanager
def server(location: str = "", status: int = 302) -> Iterator[Seen]:
    """A server on loopback that notes what it is asked, and redirects."""
    seen = Seen()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.rfile.read(int(self.headers.get("Content-Length") or 0))
            seen.append(self.path)
            self.send_response(status if location else 200)
            if location:
                self.send_header("Location", location)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_POST = do_GET

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    made = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    seen.port = made.server_port
    threading.Thread(target=made.serve_forever, daemon=True).start()
    try:
        yield seen
    finally:
        made.shutdown()
        made.server_close()


def test_a_name_that_leads_inside_is_refused_when_it_is_connected_to(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first answer of the name server is public, the second is not: what counts is the connection."""
    with server() as seen:
        inside = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("127.0.0.1", seen.port))]
        monkeypatch.setattr(socket, "getaddrinfo", lambda *a, **k: inside)
        with Outgoing().guarded(), pytest.raises(urllib3.exceptions.HTTPError):
            urllib3.PoolManager(retries=False).request("GET", f"http://rebound.example:{seen.port}/")
        assert seen == []


def test_outside_the_guard_nothing_changes() -> None:
    with server() as seen:
        with Outgoing().guarded():
            pass
        assert urllib3.request("GET", f"http://127.0.0.1:{seen.port}/free").status == 200
        assert seen == ["/free"]


def test_local_and_datagram_sockets_are_under_the_guard(tmp_path: Path) -> None:
    with Outgoing().guarded():
        with socket.socket(socket.AF_UNIX) as local, pytest.raises(RefusedAddress):
            local.connect(str(tmp_path / "socket"))
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as datagram, pytest.raises(RefusedAddress):
            datagram.sendto(b"x", ("127.0.0.1", 9))


def letter(receiver: str) -> Letter:
    return Letter("key", receiver, "subject", "body")


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_a_channel_inside_is_refused(host: str) -> None:
    with server() as seen, pytest.raises(NotSent, match="FIELDFARE_INTERNAL_HOSTS"):
        send(letter(f"json://{host}:{seen.port}/hook"), "", "")
    assert seen == []


def test_a_channel_is_one_address() -> None:
    """Several would leave in threads of their own."""
    with server() as seen:
        with pytest.raises((NotSent, Rejected)):
            send(letter(f"json://127.0.0.1:{seen.port}/a,json://127.0.0.1:{seen.port}/b"), "", "")
        assert seen == []


def test_a_channel_follows_no_redirect() -> None:
    with server() as target, server(f"http://127.0.0.1:{target.port}/inside", 307) as first:
        with pytest.raises(NotSent):
            send(letter(f"json://127.0.0.1:{first.port}/hook"), "", "", Outgoing.of("127.0.0.1"))
        assert (len(first), len(target)) == (1, 0)


def test_the_time_series_server_s_redirects_are_not_followed(tmp_path: Path) -> None:
    from influxdb_client import InfluxDBClient
    from influxdb_client.client.write_api import SYNCHRONOUS
    from influxdb_client.rest import ApiException

    with server() as target, server(f"http://127.0.0.1:{target.port}/inside", 307) as first:
        url = f"http://127.0.0.1:{first.port}"
        list(InfluxQuery(url, "fleet", "", 2.0).ask("SHOW DATABASES"))
        client = InfluxDBClient(url=url, token="-", org="-", retries=False)
        with pytest.raises(ApiException, match="307"):
            client.write_api(write_options=SYNCHRONOUS).write("fleet", record="reading v=1 1")
        assert (len(first), len(target)) == (2, 0)


def test_who_does_not_answer_is_told_in_one_line() -> None:
    with pytest.raises(Unreachable, match="did not answer"):
        Outgoing.of("127.0.0.1").json("GET", "http://127.0.0.1:1/")
    with pytest.raises(Unreachable, match="private address"):
        Outgoing().json("GET", "http://127.0.0.1:1/")
    with server() as seen, pytest.raises(Unreachable, match="not JSON"):
        Outgoing.of("127.0.0.1").json("GET", f"http://127.0.0.1:{seen.port}/")


DRIP_S, TIME_UP_S = 0.02, 0.3
HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n\r\n"
"""Without a length: an answer that is cut off looks whole."""
DRIPS = {
    "the head": b"HTTP/1.1 200 OK\r\nX-Long: ",
    "the body": HEAD + b'{"a": ',
    "a body that is whole when it is cut off": HEAD + b'{"a": 1}',
    "the TLS handshake": b"\x16\x03\x03\x3f\xff",
    "the mail server's greeting": b"220 ",
}


@contextmanager
def dripping(start: bytes, drip: bytes = b" ") -> Iterator[int]:
    """A server that takes every connection, says `start`, and then a byte now and then without end. Gives its
    port."""
    listener, stopped = socket.create_server(("127.0.0.1", 0)), threading.Event()
    listener.settimeout(0.05)

    def speak(connection: socket.socket) -> None:
        with connection, suppress(OSError):
            connection.sendall(start)
            while not stopped.wait(DRIP_S):
                connection.sendall(drip)

    def listen() -> None:
        while not stopped.is_set():
            with suppress(TimeoutError):
                threading.Thread(target=speak, args=(listener.accept()[0],), daemon=True).start()

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    try:
        yield listener.getsockname()[1]
    finally:
        stopped.set()
        thread.join()
        listener.close()


def ask_json(port: int) -> object:
    return Outgoing.of("127.0.0.1").json("GET", f"http://127.0.0.1:{port}/")


def post_json(port: int) -> object:
    form = {"grant_type": "authorization_code"}
    return Outgoing.of("127.0.0.1").json("POST", f"http://127.0.0.1:{port}/", form, ("client", "secret"))


def ask_text(port: int) -> object:
    return Outgoing.of("127.0.0.1").text(f"http://127.0.0.1:{port}/", "text/csv")


def ask_by_tls(port: int) -> object:
    return Outgoing.of("127.0.0.1").json("GET", f"https://127.0.0.1:{port}/")


def notify(port: int) -> object:
    return send(letter(f"json://127.0.0.1:{port}/hook"), "", "", Outgoing.of("127.0.0.1"))


def notify_by_tls(port: int) -> object:
    return send(letter(f"jsons://127.0.0.1:{port}/hook"), "", "", Outgoing.of("127.0.0.1"))


def mail(port: int) -> object:
    return send(letter("kim@home.example"), f"smtp://127.0.0.1:{port}", "us@heating.example")


@pytest.mark.parametrize(
    ("call", "drips", "error"),
    [
        *((call, drips, Overdue) for call in (ask_json, post_json, ask_text) for drips in list(DRIPS)[:3]),
        (ask_by_tls, "the TLS handshake", Overdue),
        *((notify, drips, MayHaveArrived) for drips in list(DRIPS)[:3]),
        (notify_by_tls, "the TLS handshake", MayHaveArrived),
        (mail, "the mail server's greeting", NotSent),
    ],
)
def test_an_answer_that_drips_ends_when_its_time_is_up(
    monkeypatch: pytest.MonkeyPatch, call: Callable[[int], object], drips: str, error: type[Exception]
) -> None:
    """Each byte comes well within the time for one answer; the time for the whole call is what ends it."""
    monkeypatch.setattr(outgoing, "LONGEST_S", TIME_UP_S)
    monkeypatch.setattr(channels, "LONGEST_MAIL_S", TIME_UP_S)
    with dripping(DRIPS[drips]) as port:
        began = time.monotonic()
        with pytest.raises(error):
            call(port)
        assert time.monotonic() - began < outgoing.READ_S / 2


def test_no_connection_is_begun_when_the_time_is_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name with many addresses, each of which answers with silence, has one time for all of them."""
    monkeypatch.setattr(outgoing, "LONGEST_S", 0.05)

    def late(port: int) -> None:
        with Outgoing.of("127.0.0.1").guarded():
            time.sleep(0.1)
            urllib3.PoolManager(retries=False).request("GET", f"http://127.0.0.1:{port}/")

    with server() as seen:
        with pytest.raises(Overdue):
            late(seen.port)
        assert seen == []
