"""What the service calls by itself: private addresses, redirects, names that lead inside, and answers without
end."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import urllib3

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.channels import (
    Letter,
    NotSent,
    Rejected,
    send,
)
from fieldfare.api.core.outgoing import (
    Outgoing,
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
