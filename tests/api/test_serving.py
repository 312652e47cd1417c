"""The service as a process: it answers, prints the first address, and stops cleanly; and the demo."""

from __future__ import annotations

import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import httpx
import numpy as np
import pytest

from fieldfare.api.cli.entry import run
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from tests.api.conftest import add_site
from tests.api.sites import readings

ROOT = Path(__file__).parents[2]


def start(log: Path, *argv: str) -> subprocess.Popen[bytes]:
    with log.open("ab") as out:
        return subprocess.Popen(
            [sys.executable, "-u", "-c", "from fieldfare.api.cli import main; main()", *argv],
            stdout=out,
            stderr=out,
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )


def said(log: Path, word: str, seconds: float = 60.0) -> str:
    """The line of the log that holds a word, when it comes."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for line in log.read_text(errors="replace").splitlines() if log.exists() else []:
            if word in line:
                return line
        time.sleep(0.05)
    raise AssertionError(log.read_text(errors="replace"))


def test_it_serves_shows_the_way_in_and_stops_on_ctrl_c(tmp_path: Path) -> None:
    data, log = tmp_path / "data", tmp_path / "log"
    with opened(Settings(data=data)) as service:
        add_site(service, "alder-row")
        service.store.append("alder-row", readings(2))
    process = start(log, "--data", str(data), "serve", "--port", "0")
    try:
        base = said(log, "serving at").split()[2].rstrip("/;")
        first = said(log, "first user").rpartition(" ")[2]
        with httpx.Client(base_url=base) as client:
            assert client.get("/healthz").json() == {"status": "ok"}
            assert client.get("/api/v1/sites").status_code == 401
            form = {"email": "boss@heating.example", "name": "Boss", "password": "four odd words together"}
            assert client.post(first, data=form).status_code == 303
            assert client.post(first, data=form).status_code == 400
            assert client.get("/api/v1/sites").json()["total"] == 1
            with client.stream("GET", "/api/v1/sites/alder-row/live?seconds=600") as stream:
                assert next(stream.iter_lines()).startswith("retry")
                process.send_signal(signal.SIGINT)
                process.wait(30)
    finally:
        process.kill()
    assert process.returncode == 0
    assert said(log, "stopped", 1.0)
    assert "Traceback" not in log.read_text(errors="replace")


def test_a_port_that_is_taken_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        assert run(["--data", str(tmp_path / "data"), "serve", "--port", port]) == 2
    assert "Address already in use" in capsys.readouterr().err


@pytest.fixture
def two_systems(monkeypatch: pytest.MonkeyPatch) -> Callable[..., object]:
    """Two of the demo's systems, a fortnight long."""
    from fieldfare.collector.simulated import fleet

    made = fleet.demo_fleet

    def few(today):
        return [replace(s, start=today - timedelta(days=14), days=14) for s in made(today)[2:4]]

    monkeypatch.setattr(fleet, "demo_fleet", few)
    return few


@pytest.mark.usefixtures("two_systems")
def test_the_demo_makes_and_analyses_its_fleet_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = str(tmp_path / "demo")
    assert run(["--data", data, "demo", "--once"]) == 0
    assert "making" in capsys.readouterr().out
    with opened(Settings(data=Path(data))) as service:
        ids = service.sites.ids()
        assert len(ids) == 2
        assert all(service.results.newest(site) is not None for site in ids)
    assert run(["--data", data, "demo", "--once"]) == 0
    assert "making" not in capsys.readouterr().out


def test_the_demo_leaves_a_folder_of_other_data_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letter.txt").write_text("keep me", encoding="utf-8")
    assert run(["--data", str(tmp_path), "demo", "--once"]) == 2
    assert "holds data that are not a demo's" in capsys.readouterr().err
    assert (tmp_path / "letter.txt").read_text(encoding="utf-8") == "keep me"


def test_what_was_collected_long_ago_is_sealed(tmp_path: Path) -> None:
    from fieldfare.analysis.readings import Samples
    from fieldfare.api.core.service import opened
    from fieldfare.api.core.settings import Settings
    from fieldfare.api.running.serve import seal_older

    with opened(Settings(data=tmp_path)) as service:
        times = np.arange(1_767_225_600_000, 1_767_225_600_000 + 600_000, 60_000)
        service.store.append("alder-row", {"flow": Samples(times, np.full(10, 40.0))})
        assert seal_older(service) == 10
        assert seal_older(service) == 0
        assert len(service.store.read("alder-row")["flow"].time) == 10


def test_collecting_begins_again_after_a_fault_of_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    from threading import Event

    from fieldfare.api.running import serve

    stop, calls = Event(), []

    def failing(*_: object) -> None:
        calls.append(1)
        if len(calls) == 3:
            stop.set()
            return
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(serve, "run_collector", failing)
    monkeypatch.setattr(serve, "COLLECTOR_AGAIN_S", 0.01)
    serve._keep_collecting(None, stop)  # type: ignore[arg-type]
    assert len(calls) == 3


HOLES = """
from pathlib import Path
from fieldfare.api.core.threads import few_arenas, give_back_memory

def held_mb():
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmRSS:", 1)[1].split(maxsplit=1)[0]) / 1024

few_arenas()
kept = [bytes(8000) for _ in range(20_000)]
kept = kept[::10]
before = held_mb()
give_back_memory()
print(before - held_mb(), len(kept))
"""


@pytest.mark.skipif(not hasattr(ctypes.CDLL(None), "malloc_trim"), reason="another C library")
def test_memory_between_what_is_kept_is_given_back() -> None:
    """160 MB, a tenth of it kept here and there."""
    done = subprocess.run([sys.executable, "-c", HOLES], capture_output=True, text=True, timeout=60, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    given_back, _ = done.stdout.split()
    assert float(given_back) > 50.0
