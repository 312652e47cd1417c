"""The service behind the shipped proxy, with the environment from the README."""

from __future__ import annotations

import os
import re
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from fieldfare.api.core.settings import Settings
from tests.services import Server, binary, free_port

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
EMAIL, PASSWORD = "boss@heating.example", "four odd words together"


def documented_environment() -> dict[str, str]:
    """The variables of the README's first start, the broker's left out."""
    text = (DEPLOY / "README.md").read_text()
    found = dict(re.findall(r'^(FIELDFARE_[A-Z_]+)="?([^"\n]*)"?$', text, flags=re.M))
    return {k: v.replace("fieldfare.example", "localhost") for k, v in found.items() if "BROKER" not in k}


def start_service(folder: Path, port: int, **more: str) -> Server:
    environment = {**os.environ, **documented_environment(), **more, "PYTHONPATH": str(ROOT)}
    command = [
        "env",
        *(f"{k}={v}" for k, v in environment.items() if k.startswith(("FIELDFARE", "PYTHONPATH"))),
        sys.executable,
        "-u",
        "-c",
        "from fieldfare.api.cli import main; main()",
        "--data",
        str(folder / "data"),
        "serve",
        "--port",
        str(port),
    ]
    server = Server(port, folder, command, folder / "service.log")
    server.start()
    return server


def proxy_config(folder: Path, tls: int, plain: int, upstream: int) -> Path:
    """The shipped proxy file with this test's ports and files."""
    make = [
        "sh",
        str(DEPLOY / "mosquitto" / "make-certificates.sh"),
        str(folder / "c"),
        "broker",
        "localhost",
    ]
    subprocess.run(make, check=True, capture_output=True, timeout=60)
    text = (DEPLOY / "nginx" / "fieldfare.conf").read_text()
    for old, new in (
        ("listen 80;", f"listen 127.0.0.1:{plain};"),
        ("listen 443 ", f"listen 127.0.0.1:{tls} "),
        ("/etc/fieldfare/nginx/fieldfare.crt", f"{folder}/c/broker.crt"),
        ("/etc/fieldfare/nginx/fieldfare.key", f"{folder}/c/broker.key"),
        ("/var/log/nginx/fieldfare.log", f"{folder}/access.log"),
        ("127.0.0.1:8080", f"127.0.0.1:{upstream}"),
        ("fieldfare.example", "localhost"),
    ):
        assert old in text
        text = text.replace(old, new)
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    temp = "".join(f"{kind}_temp_path {folder}/{kind};" for kind in kinds)
    config = folder / "nginx.conf"
    config.write_text(
        f"daemon off; worker_processes 1; pid {folder}/pid; error_log {folder}/error.log;\n"
        f"events {{}}\nhttp {{ {temp}\n{text}\n}}"
    )
    return config


@dataclass
class Deployed:
    folder: Path
    base: str
    client: httpx.Client

    @property
    def first(self) -> str:
        """The path of the address for the first user, as the service prints it."""
        log = (self.folder / "service.log").read_text()
        found = re.search(r"https://localhost(/first/\S+)", log)
        assert found, log
        return found[1]


@pytest.fixture(scope="module")
def deployed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Deployed]:
    folder = tmp_path_factory.mktemp("deployed")
    port, tls, plain = free_port(), free_port(), free_port()
    config = proxy_config(folder, tls, plain, port)
    service = start_service(folder, port)
    proxy = Server(tls, folder, [binary("nginx"), "-c", str(config), "-p", str(folder)], folder / "log")
    proxy.start()
    base = f"https://localhost:{tls}"
    try:
        trust = ssl.create_default_context(cafile=str(folder / "c" / "ca.crt"))
        with httpx.Client(base_url=base, verify=trust, timeout=30.0) as client:
            yield Deployed(folder, base, client)
    finally:
        proxy.stop()
        service.stop()


def test_what_is_documented_answers(deployed: Deployed) -> None:
    assert deployed.client.get("/healthz").json()["status"] == "ok"
    page = deployed.client.get("/sign-in")
    assert page.status_code == 200
    assert page.headers["Strict-Transport-Security"].startswith("max-age=31536000")


def test_the_first_user_gets_in_with_a_secure_cookie_and_their_own_address_in_the_trail(
    deployed: Deployed,
) -> None:
    made = deployed.client.post(deployed.first, data={"email": EMAIL, "name": "Boss", "password": PASSWORD})
    assert made.status_code == 303
    cookies = [v for k, v in made.headers.multi_items() if k.lower() == "set-cookie"]
    assert any(c.startswith("__Host-fieldfare=") and "Secure" in c for c in cookies)
    rows = deployed.client.get("/api/v1/audit").json()["items"]
    assert {row["address"] for row in rows if row["address"]} <= {"127.0.0.1"}
    people = deployed.client.get("/api/v1/people").json()
    session = deployed.client.get("/api/v1/session").json()
    answer = deployed.client.post(
        f"/api/v1/people/{people[0]['id']}/invitation", headers={"X-CSRF-Token": session["csrf"]}
    )
    assert answer.json()["address"].startswith("https://localhost/welcome/")


def test_addresses_that_let_somebody_in_are_not_in_the_proxys_log(deployed: Deployed) -> None:
    secret = "a-secret-that-nobody-should-read"
    for kind in ("home", "welcome", "first"):
        deployed.client.get(f"/{kind}/{secret}")
    until = time.monotonic() + 5.0
    while time.monotonic() < until and "/first/..." not in (deployed.folder / "access.log").read_text():
        time.sleep(0.05)
    log = (deployed.folder / "access.log").read_text()
    assert "/home/..." in log
    assert secret not in log


def test_another_name_is_refused_with_what_would_be_right(tmp_path: Path) -> None:
    port = free_port()
    server = start_service(tmp_path, port)
    try:
        answer = httpx.get(
            f"http://127.0.0.1:{port}/sign-in", headers={"Host": "elsewhere.example"}, timeout=30.0
        )
        assert answer.status_code == 400
        assert "FIELDFARE_PUBLIC_URL" in answer.text
    finally:
        server.stop()


def test_idle_connections_leave_the_service_answering(tmp_path: Path) -> None:
    """More connections than it takes, none of which asks for anything."""
    port, most = free_port(), 60
    server = start_service(tmp_path, port, FIELDFARE_MOST_CONNECTIONS=str(most))
    idle: list[socket.socket] = []
    try:
        for _ in range(3 * most):
            idle.append(socket.create_connection(("127.0.0.1", port), timeout=5.0))
        time.sleep(0.5)
        closed = sum(_is_closed(s) for s in idle)
        assert closed >= 2 * most
        for s in idle[: most // 2]:
            s.close()
        time.sleep(0.2)
        assert httpx.get(f"http://127.0.0.1:{port}/healthz", timeout=30.0).status_code == 200
        assert (tmp_path / "service.log").stat().st_size < 20_000
    finally:
        for s in idle:
            s.close()
        server.stop()
    assert Settings().request_seconds <= 60.0


HEAD = "Host: localhost\r\nContent-Type: application/json\r\n"
SLOW = {
    "a head": (f"GET /healthz HTTP/1.1\r\n{HEAD}", b"X: y\r\n"),
    "a second head": (f"GET /healthz HTTP/1.1\r\n{HEAD}\r\nGET /healthz HTTP/1.1\r\n{HEAD}", b"X: y\r\n"),
    "a body": (f"POST /api/v1/session HTTP/1.1\r\n{HEAD}Content-Length: 9000\r\n\r\n", b" "),
    "a body in chunks": (
        f"POST /api/v1/session HTTP/1.1\r\n{HEAD}Transfer-Encoding: chunked\r\n\r\n",
        b"1\r\n \r\n",
    ),
    "a refused body": (f"POST /api/v1/session HTTP/1.1\r\n{HEAD}Content-Length: 9000000\r\n\r\n", b" "),
}


@pytest.fixture(scope="module")
def impatient(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """A service that gives clients a second. Gives its port."""
    port, folder = free_port(), tmp_path_factory.mktemp("impatient")
    server = start_service(folder, port, FIELDFARE_REQUEST_SECONDS="1")
    try:
        yield port
    finally:
        server.stop()


def test_slow_clients_are_closed_and_the_service_goes_on_answering(impatient: int) -> None:
    """Every kind of slow client at once, each with its bytes well apart."""
    lines = {name: socket.create_connection(("127.0.0.1", impatient), timeout=5.0) for name in SLOW}
    try:
        for name, line in lines.items():
            line.sendall(SLOW[name][0].encode())
        until, open_ = time.monotonic() + 40.0, dict(lines)
        while open_ and time.monotonic() < until:
            time.sleep(0.3)
            open_ = {name: line for name, line in open_.items() if _still_takes(line, SLOW[name][1])}
            assert httpx.get(f"http://127.0.0.1:{impatient}/healthz", timeout=30.0).status_code == 200
        assert list(open_) == []
    finally:
        for line in lines.values():
            line.close()


@pytest.mark.parametrize(
    "lengths", ["Content-Length: 4\r\nTransfer-Encoding: chunked", "Content-Length: 4\r\nContent-Length: 5"]
)
def test_a_request_of_two_lengths_is_refused(impatient: int, lengths: str) -> None:
    """RFC 9112, 6.3: what follows may be smuggled past whoever reads the other length."""
    smuggled = "GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n"
    with socket.create_connection(("127.0.0.1", impatient), timeout=5.0) as line:
        line.sendall(f"POST /api/v1/session HTTP/1.1\r\n{HEAD}{lengths}\r\n\r\n0\r\n\r\n{smuggled}".encode())
        answer = b""
        with suppress(TimeoutError, ConnectionError):
            while piece := line.recv(65_536):
                answer += piece
    assert answer.startswith(b"HTTP/1.1 4")
    assert answer.count(b"HTTP/1.1 ") == 1


def test_a_body_without_end_is_cut_off_with_its_refusal(impatient: int) -> None:
    """Within its time a quick sender else brings gigabytes that nobody asked for."""
    chunk, sent = b"4000\r\n" + b" " * 0x4000 + b"\r\n", 0
    with socket.create_connection(("127.0.0.1", impatient), timeout=5.0) as line:
        line.sendall(f"POST /api/v1/session HTTP/1.1\r\n{HEAD}Transfer-Encoding: chunked\r\n\r\n".encode())
        with suppress(ConnectionError):
            while sent < 2000 * len(chunk):
                line.sendall(chunk)
                sent += len(chunk)
    assert sent < 2000 * len(chunk)
    assert httpx.get(f"http://127.0.0.1:{impatient}/healthz", timeout=30.0).status_code == 200


def test_a_client_that_does_not_read_is_closed_and_one_that_reads_slowly_is_not(impatient: int) -> None:
    def ask(paths: int) -> socket.socket:
        line = socket.socket()
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        line.settimeout(30.0)
        line.connect(("127.0.0.1", impatient))
        line.sendall((f"GET /static/plotly.js HTTP/1.1\r\n{HEAD}\r\n" * paths).encode())
        return line

    idle, slow = ask(3), ask(1)
    try:
        until, read, rounds = time.monotonic() + 5.0, 0, 0
        while time.monotonic() < until:
            read += len(slow.recv(4096))
            rounds += 1
            time.sleep(0.2)
        assert read > rounds * 1000  # served for five times the time in which something must be read
        assert _ends(idle)
    finally:
        idle.close()
        slow.close()


def _still_takes(connection: socket.socket, piece: bytes) -> bool:
    """Whether a connection takes another piece."""
    try:
        connection.sendall(piece)
        connection.settimeout(0.01)
        return connection.recv(65_536) != b""
    except TimeoutError:
        return True
    except OSError:
        return False


def _ends(connection: socket.socket) -> bool:
    """Whether what is left to read ends before the answers are whole."""
    connection.settimeout(10.0)
    try:
        while connection.recv(65_536):
            pass
    except ConnectionError:
        return True
    except TimeoutError:
        return False
    return True


def _is_closed(connection: socket.socket) -> bool:
    connection.settimeout(0.01)
    try:
        return connection.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_the_proxy_bounds_guesses_at_every_door(deployed: Deployed) -> None:
    """By the page and by the API, one count; last in this file, as it uses the count up."""
    person = {"email": "nobody@heating.example", "password": "not the right words"}
    answers = [deployed.client.post("/api/v1/session", json=person).status_code for _ in range(16)]
    assert 503 in answers or 429 in answers
    assert deployed.client.post("/sign-in", data=person).status_code == answers[-1]
    assert deployed.client.get("/healthz").status_code == 200
