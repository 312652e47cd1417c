"""systemd units, compose file, proxy and database configuration, parsed by their programs if installed."""

import re
import socket
import ssl
import subprocess
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
import yaml

from fieldfare.api.core.settings import Settings
from tests.services import Server, binary, free_port

DEPLOY = Path(__file__).parents[2] / "deploy"
VARIABLES = {f"FIELDFARE_{name.upper()}" for name in Settings.__dataclass_fields__}


@pytest.mark.parametrize(
    "unit",
    ["fieldfare.service", "fieldfare-collect@.service", "fieldfare-backup.service", "fieldfare-backup.timer"],
)
def test_systemd_finds_nothing_wrong_with_a_unit(unit, tmp_path):
    program = binary("systemd-analyze")
    for name in ("bin/fieldfare", "bin/python"):
        path = tmp_path / "opt" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("#!/bin/sh\n")
        path.chmod(0o755)
    for source in (DEPLOY / "systemd").iterdir():
        text = source.read_text().replace("/opt/fieldfare/bin", str(tmp_path / "opt" / "bin"))
        (tmp_path / source.name).write_text(text)
    name = unit.replace("@.", "@1.")
    if name != unit:
        (tmp_path / name).write_text((tmp_path / unit).read_text())
    done = subprocess.run(
        [program, "verify", "--man=no", str(tmp_path / name)], capture_output=True, text=True, timeout=60
    )
    ours = [
        line
        for line in (done.stdout + done.stderr).splitlines()
        if "fieldfare" in line and "mosquitto.service" not in line
    ]
    assert ours == []


LARGEST_EXPOSURE = 3.2
"""Of systemd's 0 (safe) to 10; what is left is the network, which the service is for, and system calls that
numba and the PDF renderer may need."""


@pytest.mark.parametrize(
    "unit", ["fieldfare.service", "fieldfare-collect@1.service", "fieldfare-backup.service"]
)
def test_a_unit_may_do_little_beside_its_work(unit, tmp_path):
    (tmp_path / unit).write_text((DEPLOY / "systemd" / unit.replace("@1", "@")).read_text())
    done = subprocess.run(
        [binary("systemd-analyze"), "security", "--offline=true", "--no-pager", str(tmp_path / unit)],
        capture_output=True,
        text=True,
        timeout=60,
    )
    found = re.search(r"exposure level for \S+: ([\d.]+)", done.stdout)
    assert found, done.stderr
    assert float(found[1]) <= LARGEST_EXPOSURE


def test_every_variable_that_a_unit_or_the_compose_file_sets_is_one_the_service_reads():
    text = "".join(
        p.read_text()
        for p in DEPLOY.rglob("*")
        if p.is_file() and p.suffix in (".service", ".yaml", ".md", ".conf")
    )
    named = set(re.findall(r"\bFIELDFARE_[A-Z_]+", text)) - {"FIELDFARE_BROKER", "FIELDFARE_DATA"}
    assert named
    assert named <= VARIABLES


def test_the_compose_file_names_files_that_are_here_and_closes_what_should_be_closed():
    compose = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
    assert set(compose["services"]) == {"broker", "readings", "service"}
    for service in compose["services"].values():
        for volume in service.get("volumes", []):
            source = volume.split(":")[0]
            if source.startswith("./") and "certificates" not in source:
                assert (DEPLOY / source).exists()
            elif not source.startswith("."):
                assert source in compose["volumes"]
    assert "ports" not in compose["services"]["readings"]
    assert compose["services"]["broker"]["ports"] == ["8883:8883", "8884:8884"]
    assert compose["services"]["service"]["ports"] == ["127.0.0.1:8080:8080"]
    build = compose["services"]["service"]["build"]
    dockerfile = (DEPLOY / build["context"] / build["dockerfile"]).resolve()
    for line in dockerfile.read_text().splitlines():
        if line.startswith("COPY") and "--from" not in line:
            for source in line.split()[1:-1]:
                assert (DEPLOY.parent / source).exists(), source


class Upstream(BaseHTTPRequestHandler):
    def do_GET(self):
        body = f"{self.headers['Host']} {self.headers['X-Forwarded-Proto']} {self.path}".encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


def test_the_proxy_speaks_tls_before_the_service_and_sends_plain_http_there(tmp_path):
    upstream = ThreadingHTTPServer(("127.0.0.1", 0), Upstream)
    threading.Thread(target=upstream.serve_forever, daemon=True).start()
    tls, plain = free_port(), free_port()
    subprocess.run(
        [
            "sh",
            str(DEPLOY / "mosquitto" / "make-certificates.sh"),
            str(tmp_path / "c"),
            "broker",
            "localhost",
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    text = (DEPLOY / "nginx" / "fieldfare.conf").read_text()
    text = text.replace("listen 80;", f"listen 127.0.0.1:{plain};").replace(
        "listen 443 ", f"listen 127.0.0.1:{tls} "
    )
    text = text.replace("/etc/fieldfare/nginx/fieldfare.crt", f"{tmp_path}/c/broker.crt").replace(
        "/etc/fieldfare/nginx/fieldfare.key", f"{tmp_path}/c/broker.key"
    )
    text = text.replace("/var/log/nginx/fieldfare.log", f"{tmp_path}/access.log")
    text = text.replace("127.0.0.1:8080", f"127.0.0.1:{upstream.server_port}").replace(
        "fieldfare.example", "localhost"
    )
    temp = "".join(
        f"{k}_temp_path {tmp_path}/{k};" for k in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    config = tmp_path / "nginx.conf"
    config.write_text(
        f"daemon off; worker_processes 1; pid {tmp_path}/pid; error_log {tmp_path}/error.log;\n"
        f"events {{}}\nhttp {{ access_log off; {temp}\n{text}\n}}"
    )
    server = Server(
        tls, tmp_path, [binary("nginx"), "-c", str(config), "-p", str(tmp_path)], tmp_path / "log"
    )
    server.start()
    try:
        context = ssl.create_default_context(cafile=str(tmp_path / "c" / "ca.crt"))
        with urlopen(f"https://localhost:{tls}/sites?x=1", timeout=10, context=context) as answer:
            assert answer.read().decode() == "localhost https /sites?x=1"
            assert "max-age" in answer.headers["Strict-Transport-Security"]
        with socket.create_connection(("127.0.0.1", plain)) as s:
            s.sendall(b"GET /a HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
            answer = b"".join(iter(lambda: s.recv(4096), b""))
        assert answer.startswith(b"HTTP/1.1 301")
        assert b"Location: https://localhost/a" in answer
    finally:
        server.stop()
        upstream.shutdown()
        upstream.server_close()


def test_the_time_series_server_starts_with_its_configuration_and_refuses_strangers(tmp_path):
    port, rpc = free_port(), free_port()
    text = (DEPLOY / "influxdb" / "influxdb.conf").read_text()
    text = (
        text.replace("/var/lib/influxdb", str(tmp_path))
        .replace(":8086", f":{port}")
        .replace(":8088", f":{rpc}")
    )
    config = tmp_path / "influxdb.conf"
    config.write_text(text)
    server = Server(port, tmp_path, [binary("influxd"), "-config", str(config)], tmp_path / "log")
    server.start()
    try:

        def ask(statement, **headers):
            from urllib.parse import quote

            request = Request(
                f"http://127.0.0.1:{port}/query?q={quote(statement)}", data=b"", headers=headers
            )
            try:
                with urlopen(request, timeout=10) as answer:
                    return answer.status
            except OSError as error:
                return error.code

        assert ask("CREATE DATABASE fieldfare") in (401, 403)
        assert ask("CREATE USER admin WITH PASSWORD 'a-test' WITH ALL PRIVILEGES") == 200
        import base64

        basic = "Basic " + base64.b64encode(b"admin:a-test").decode()
        assert ask("CREATE DATABASE fieldfare", Authorization=basic) == 200
        assert ask("SHOW DATABASES") == 401
    finally:
        server.stop()
