"""Real servers for tests: a broker and a time-series server on free loopback ports in temporary folders.

Each starter is a context manager that ends the one process it began. Without the binary a test is skipped,
but fails where CI=true, so that a missing install step is seen.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings
from fieldfare.collector.mqtt.collect import Collector
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.store.influx import InfluxStore
from fieldfare.collector.store.protocol import Appended, Store

START_SECONDS = 60.0


def binary(name: str, *folders: Path) -> str:
    """Path of an installed program, looked for in `folders` first; skips the test without it, fails it in
    CI."""
    usual = (os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin", "/usr/local/bin", "/usr/bin")
    found = shutil.which(name, path=os.pathsep.join([*map(str, folders), *usual]))
    if found is None:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"{name} is not installed")
    return str(found)


def free_port() -> int:
    """A loopback port that was free a moment ago."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def wait_for_port(
    port: int, process: subprocess.Popen[bytes] | None = None, seconds: float = START_SECONDS
) -> None:
    """Return when something listens. Raises RuntimeError when the process ends or the time is up."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if process is not None and process.poll() is not None:
            raise RuntimeError(f"the server ended with {process.returncode}")
        with socket.socket() as s:
            s.settimeout(0.2)
            if s.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    raise RuntimeError(f"nothing listens on port {port}")


def end(process: subprocess.Popen[bytes], seconds: float = 10.0) -> None:
    """End one process that we started: asked first, then killed."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(seconds)


@dataclass
class Server:
    """A server process on a port, restartable on the same port and folder."""

    port: int
    folder: Path
    command: Sequence[str]
    log: Path
    env: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command,
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
                cwd=self.folder,
                env={**os.environ, **self.env},
            )
        try:
            wait_for_port(self.port, self.process)
        except RuntimeError as error:
            self.stop()
            raise RuntimeError(f"{error}: {self.log.read_text(errors='replace')[-2000:]}") from None

    def stop(self) -> None:
        if self.process is not None:
            end(self.process)
            self.process = None

    def kill(self) -> None:
        """kill -9, as a power switch would."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(10)
            self.process = None


@contextmanager
def _folder(parent: Path | None) -> Iterator[Path]:
    made = Path(tempfile.mkdtemp(prefix="svc-", dir=parent))
    made.chmod(0o755)
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


BROKER = """
listener {port} 127.0.0.1
allow_anonymous true
persistence true
persistence_location {folder}/
autosave_interval 1
max_inflight_messages 0
max_queued_messages 0
max_queued_bytes 0
message_size_limit 1048576
log_type error
{user}
"""


@contextmanager
def broker(extra: str = "", parent: Path | None = None, port: int | None = None) -> Iterator[Server]:
    """A mosquitto open to anyone on loopback, with a persistent store.

    extra : str, further lines of its configuration
    """
    program = binary("mosquitto")
    port = port or free_port()
    with _folder(parent) as folder:
        user = "user root" if os.geteuid() == 0 else ""
        config = folder / "mosquitto.conf"
        config.write_text(BROKER.format(port=port, folder=folder, user=user) + extra)
        server = Server(port, folder, [program, "-c", str(config)], folder / "broker.log")
        server.start()
        try:
            yield server
        finally:
            server.stop()


INFLUXD = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
  dir = "{folder}/meta"
[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
  index-version = "inmem"
  query-log-enabled = false
  max-series-per-database = 0
[http]
  bind-address = "127.0.0.1:{port}"
  log-enabled = false
  max-row-limit = 0
[monitor]
  store-enabled = false
[continuous_queries]
  enabled = false
[logging]
  level = "error"
"""

# InfluxDB 1.6 has /write and /query; /api/v2/write came with 1.8. One rule rewrites the one path.
PROXY = """
worker_processes 1;
daemon off;
error_log {folder}/error.log error;
pid {folder}/nginx.pid;
events {{ worker_connections 128; }}
http {{
  access_log off;
  client_max_body_size 64m;
  client_body_temp_path {folder}/body;
  proxy_temp_path {folder}/proxy;
  fastcgi_temp_path {folder}/fastcgi;
  uwsgi_temp_path {folder}/uwsgi;
  scgi_temp_path {folder}/scgi;
  server {{
    listen 127.0.0.1:{port};
    proxy_read_timeout 120s;
    location = /api/v2/write {{
      proxy_pass http://127.0.0.1:{upstream}/write?db=$arg_bucket&precision=$arg_precision;
    }}
    location / {{ proxy_pass http://127.0.0.1:{upstream}; }}
  }}
}}
"""


@dataclass
class Influx:
    """A time-series server and, before it, the proxy that gives it the newer write path."""

    server: Server
    proxy: Server

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.proxy.port}"

    def create(self, database: str) -> None:
        """Make a database; there is none before."""
        with urlopen(
            f"http://127.0.0.1:{self.server.port}/query?q=CREATE+DATABASE+{database}", data=b"", timeout=20
        ) as answer:
            answer.read()


@contextmanager
def influx(parent: Path | None = None) -> Iterator[Influx]:
    """InfluxDB 1.6 behind a path-rewriting nginx, so that the real client meets the real engine."""
    influxd, nginx = binary("influxd"), binary("nginx")
    with _folder(parent) as folder:
        port, rpc, front = free_port(), free_port(), free_port()
        config, rules = folder / "influxdb.conf", folder / "nginx.conf"
        config.write_text(INFLUXD.format(port=port, rpc=rpc, folder=folder))
        user = "user root;\n" if os.geteuid() == 0 else ""
        rules.write_text(user + PROXY.format(port=front, upstream=port, folder=folder))
        server = Server(port, folder, [influxd, "-config", str(config)], folder / "influxd.log")
        proxy = Server(front, folder, [nginx, "-c", str(rules), "-p", str(folder)], folder / "nginx.log")
        try:
            server.start()
            proxy.start()
            yield Influx(server, proxy)
        finally:
            proxy.stop()
            server.stop()


POINTS = {
    "hp_elec": 'quantity = "heat_pump_electricity"\nas = "power"\nunit = "W"',
    "energy": 'quantity = "heat_pump_electricity"\nas = "register"\nunit = "kWh"',
    "flow": 'quantity = "flow_temperature"\nunit = "degC"',
    "rate": 'quantity = "flow_rate"\nunit = "l/min"',
    "humidity": 'quantity = "outdoor_humidity"\nunit = "%"',
    "mode": 'quantity = "operating_mode"\n[point.values]\n"7" = "heating"',
    "fault": 'quantity = "fault_code"',
}


def make_site(site: str = "alder-row", points: dict[str, str] | None = None) -> Site:
    """An invented site with a few points; `points` gives others: id -> lines of TOML."""
    body = "".join(f'[[point]]\nid = "{p}"\n{lines}\n' for p, lines in (points or POINTS).items())
    return parse_site(f'[site]\nid = "{site}"\nname = "{site}"\ntimezone = "Europe/London"\n{body}')


@contextmanager
def collecting(
    settings: MqttSettings, sites: Callable[[], Sequence[Site]], store: Store
) -> Iterator[Collector]:
    """A collector at work in a thread; stopped cleanly at the end."""
    collector = Collector(settings, sites, store, time.time)
    stop = threading.Event()
    failed: list[BaseException] = []

    def work() -> None:
        try:
            collector.run(stop)
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield collector
    finally:
        stop.set()
        thread.join(30)
        collector.close()
    if failed:
        raise failed[0]


def wait_until(true: Callable[[], bool], seconds: float = 60.0) -> None:
    """Return when it is true. Raises TimeoutError."""
    until = time.monotonic() + seconds
    while not true():
        if time.monotonic() > until:
            raise TimeoutError
        time.sleep(0.02)


def publish(port: int, topic: str, *payloads: bytes | str, qos: int = 1, retain: bool = False) -> None:
    """Publish with mosquitto_pub, a client that is not ours, one message for each payload."""
    program = binary("mosquitto_pub")
    for payload in payloads:
        data = payload.encode() if isinstance(payload, str) else payload
        subprocess.run(
            [program, "-p", str(port), "-q", str(qos), "-t", topic, "-s", *(["-r"] if retain else [])],
            input=data,
            check=True,
            timeout=20,
        )


class InfluxMakes:
    """Opens stores on one running server, each in a database of its own.

    How far readings have got on their way must make no difference, so there are three makes: `influx` sends
    when it comes to it, `influx_sent` has sent all before anything is asked, `influx_waiting` never sends.
    """

    NAMES = ("influx", "influx_sent", "influx_waiting")

    def __init__(self, server: Influx) -> None:
        self._server = server
        self._count = 0

    def open(self, name: str, folder: Path) -> Store:
        self._count += 1
        database = f"contract{self._count}"
        self._server.create(database)
        store = InfluxStore(
            self._server.url, database, folder / "spool", back_off=(0.05, 0.2), send=name != "influx_waiting"
        )
        return _Sent(store) if name == "influx_sent" else store


class _Sent:
    """A store whose server has everything when `append` returns."""

    def __init__(self, store: InfluxStore) -> None:
        self._store = store

    def append(self, site: str, readings: Readings) -> Appended:
        done = self._store.append(site, readings)
        self._store.flush(30)
        return done

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)


@pytest.fixture(scope="module")
def influx_makes() -> Iterator[InfluxMakes]:
    """For a module whose tests open server-backed stores; imported explicitly."""
    with influx() as server:
        yield InfluxMakes(server)
