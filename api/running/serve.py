"""Run the service: HTTP, scheduler, and the collector if a broker is configured, in one process."""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import FrameType

import uvicorn

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.fault_log import log_to, log_to_stderr
from fieldfare.api.core.local_days import now_ms
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.threads import few_arenas, give_back_memory
from fieldfare.api.http.app import create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.middleware.connections import limited_protocol, raise_file_limit
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.running.collect import mqtt_settings, run_collector

log = logging.getLogger(__name__)
GRACE_S = 5
KEEP_ALIVE_S = 65
"""An idle connection stays open so long: longer than people take from page to page (common practice, as
proxies do), as a request that meets the closing of its connection is a broken answer."""
COLLECTOR_STOP_S = 15.0
COLLECTOR_AGAIN_S = 10.0
SEAL_EVERY_H = 12
GIVE_BACK_EVERY_MIN = 10
LOOK_EVERY_H = 24
FIRST_LOOK_MIN = 5
"""After the start: not while the first people of the morning wait."""


def serve(settings: Settings, announce: Callable[[str], None]) -> None:
    """Serve until SIGINT or SIGTERM. Raises InputError if the address is not available."""
    if settings.demo and not settings.is_loopback:
        raise InputError("the demo is open to everybody, so it is served on this machine alone")
    log_to(settings.data, settings.log_format)
    log_to_stderr(settings.log_format)
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    few_arenas()
    raise_file_limit(settings.most_connections)
    listener = listen(settings)
    settings = replace(settings, port=listener.getsockname()[1])
    with opened(settings) as service:
        parts = AppState(service)
        with _scheduler(parts), _collector(parts):
            announce(f"serving at {settings.address}/; Ctrl-C stops")
            _first_user(parts, announce)
            _run(parts, listener)
    announce("stopped")


def listen(settings: Settings) -> socket.socket:
    """Open the listening socket. Raises InputError."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((settings.host, settings.port))
        # from here on clients wait instead of being refused, so the address can be announced
        listener.listen()
    except OSError as error:
        listener.close()
        raise InputError(f"can't listen on {settings.host}:{settings.port}: {error.strerror}") from None
    return listener


def make_runner(parts: AppState) -> Runner:
    return Runner(parts.service, parts.alerts, parts.notices, parts.leases, stop=parts.stopping)


def _first_user(parts: AppState, announce: Callable[[str], None]) -> None:
    if not parts.settings.demo and (secret := parts.accounts.first_user_secret()):
        announce(
            "nobody may sign in yet; make the first user within 24 hours:"
            f" {parts.settings.address}/first/{secret}"
        )


class _Server(uvicorn.Server):
    """Ends open event streams before waiting for connections to close."""

    def __init__(self, config: uvicorn.Config, stopping: threading.Event) -> None:
        super().__init__(config)
        self._stopping = stopping

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._stopping.set()
        super().handle_exit(sig, frame)


def _run(parts: AppState, listener: socket.socket) -> None:
    settings = parts.settings
    config = uvicorn.Config(
        create_app(parts),
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=GRACE_S,
        timeout_keep_alive=KEEP_ALIVE_S,
        forwarded_allow_ips=settings.proxies,
        http=limited_protocol(settings.most_connections, settings.request_seconds, settings.slowest_bytes),
    )
    try:
        _Server(config, parts.stopping).run(sockets=[listener])
    except KeyboardInterrupt:
        log.debug("stopped by Ctrl-C")
    finally:
        parts.stopping.set()


@contextmanager
def _scheduler(parts: AppState) -> Iterator[None]:
    """Run due jobs every minute; leases ensure that a restart neither loses nor repeats a job."""
    if parts.settings.demo:
        yield
        return
    from apscheduler.schedulers.background import BackgroundScheduler

    runner = make_runner(parts)
    scheduler = BackgroundScheduler(
        timezone="UTC", job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
    )
    now = datetime.now(UTC)
    scheduler.add_job(runner.tick, "interval", minutes=1, next_run_time=now)
    scheduler.add_job(runner.watch, "interval", minutes=5, next_run_time=now)
    scheduler.add_job(parts.notices.deliver, "interval", seconds=20)
    scheduler.add_job(give_back_memory, "interval", minutes=GIVE_BACK_EVERY_MIN)
    scheduler.add_job(seal_older, "interval", hours=SEAL_EVERY_H, args=(parts.service,), next_run_time=now)
    first_look = now + timedelta(minutes=FIRST_LOOK_MIN)
    scheduler.add_job(
        look_for_damage, "interval", hours=LOOK_EVERY_H, args=(parts,), next_run_time=first_look
    )
    scheduler.start()
    try:
        yield
    finally:
        scheduler.shutdown(wait=False)


def look_for_damage(parts: AppState) -> None:
    """Check the databases and the rows of people, jobs and decisions; pages and log name the damage.
    Readings are checked when they are read."""
    from fieldfare.api.records.check import check_databases, check_key, check_rows

    service = parts.service
    found = [*check_databases(parts.settings), *check_key(service), *check_rows(service)]
    parts.damage = [str(damage) for damage in found]
    for line in parts.damage:
        log.error("%s; see `fieldfare check` and `fieldfare repair`", line)


def seal_older(service: Service) -> int:
    """Compact older readings. Return the number of moved readings."""
    return service.store.seal(now_ms())


def _keep_collecting(service: Service, stop: threading.Event) -> None:
    """Collect until stopped; after an internal error restart, as nothing was acknowledged."""
    while not stop.is_set():
        try:
            run_collector(service, stop)
        except Exception:
            log.exception("the collector ended; it starts again in %g s", COLLECTOR_AGAIN_S)
            stop.wait(COLLECTOR_AGAIN_S)


@contextmanager
def _collector(parts: AppState) -> Iterator[None]:
    if not parts.settings.broker_url:
        yield
        return
    mqtt_settings(parts.settings)
    stop = threading.Event()
    thread = threading.Thread(target=_keep_collecting, args=(parts.service, stop), name="collector")
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(COLLECTOR_STOP_S)
