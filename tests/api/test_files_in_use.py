"""Nothing in a running service lets another process delete the logs of its open databases.

POSIX drops every lock that a process holds on a file when the process closes any descriptor of that file
(fcntl(2)). SQLite's locks are of that kind ("How To Corrupt An SQLite Database File", section 2.2): the next
process that closes the database takes itself for the last one and deletes its write-ahead log, and what the
service writes from then on is seen by nobody.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.readings import Samples
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.records.check import check_databases
from fieldfare.collector.store.files import make_private
from fieldfare.collector.store.local import LocalStore
from tests.api.conftest import add_site

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks into /proc")

OTHER_PROCESS = """
import sqlite3, sys
for path in sys.argv[1:]:
    db = sqlite3.connect(path)
    db.execute("SELECT count(*) FROM sqlite_master").fetchall()
    db.close()
"""

COMMAND = "import sys; from fieldfare.api.cli.entry import run; sys.exit(run(sys.argv[1:]))"


def end_another_process(data: Path) -> None:
    """Open and close every database in a process of its own, as commands and workers do."""
    files = [str(path) for path in sorted(data.rglob("*.sqlite"))]
    assert any(name.endswith("state.sqlite") for name in files)
    assert any(name.endswith("hot.sqlite") for name in files)
    subprocess.run([sys.executable, "-c", OTHER_PROCESS, *files], check=True, timeout=60)


def deleted_files(data: Path) -> list[str]:
    """Files of the data folder that this process holds open and nobody else can see."""
    targets = []
    for fd in Path("/proc/self/fd").iterdir():
        try:
            targets.append(os.readlink(fd))
        except FileNotFoundError:
            continue
    return sorted(t for t in targets if t.startswith(str(data)) and t.endswith(" (deleted)"))


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A service whose databases are open and written to."""
    with opened(Settings(data=tmp_path / "data", workers=1)) as service:
        add_site(service, "elm")
        write_reading(service, 1)
        yield service


def write_reading(service: Service, minute: int) -> None:
    time = np.array([1_790_000_000_000 + minute * 60_000])
    service.store.append("elm", {"p": Samples(time, np.array([float(minute)]))})


def test_the_look_for_damage_keeps_the_databases_locked(service: Service) -> None:
    data = service.settings.data
    assert check_databases(service.settings) == []
    end_another_process(data)
    assert deleted_files(data) == []
    write_reading(service, 2)
    beside = LocalStore(service.settings.readings_dir)
    try:
        assert len(beside.read("elm")["p"].time) == 2
    finally:
        beside.close()


def test_opening_a_database_once_more_keeps_it_locked(service: Service) -> None:
    data = service.settings.data
    LocalStore(service.settings.readings_dir).close()
    with opened(service.settings):
        pass
    for path in data.rglob("*.sqlite"):
        make_private(path)
    end_another_process(data)
    assert deleted_files(data) == []


def test_another_process_sees_what_the_service_writes_after_a_look(service: Service) -> None:
    check_databases(service.settings)
    end_another_process(service.settings.data)
    add_site(service, "ash")
    listed = subprocess.run(
        [sys.executable, "-c", COMMAND, "--data", str(service.settings.data), "site", "list"],
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    ).stdout
    assert "ash" in listed
    assert "elm" in listed
