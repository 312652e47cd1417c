"""Stored data persist across releases, backup and restore, and with two processes on one folder."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import sqlite3
import subprocess
import sys
import tarfile
import threading
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import orjson
import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.people.accounts import Accounts
from fieldfare.api.people.sign_in import SignIn
from fieldfare.api.records.data_protection import consents, give_consent
from fieldfare.api.state.database import HEAD
from fieldfare.collector.export import export_readings
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.transfer import move
from tests.api.sites import readings, site_text

ROOT = Path(__file__).parents[2]
OLDEST = ROOT / "tests" / "data" / "oldest-folder.tar.xz"
"""Written by the first release with this layout of readings and state: a week of three points, sealed and
recent."""
OLDEST_READINGS = {
    "heat_kwh": "1701e95a1ee4375dee555c90344c05a580e87a6ca6d52ed9ae52afb3bf5bdf3c",
    "hp_elec_kwh": "7175a8f9e4c2e1b866339f3341ec0599d84a96c8c91c645397bcc8c4c4c511a0",
    "outdoor": "46c997c0bd1f01103f6a6c83b04eec665a2fc7b2c92ab91f0ce468e5187a5fed",
}
"""SHA-256 of the times (int64) and values (float64) that the release which wrote the folder read from it."""
PASSWORD = "four odd words together"
_spec = importlib.util.spec_from_file_location("backup", ROOT / "deploy" / "backup.py")
assert _spec is not None
assert _spec.loader is not None
backup = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(backup)


def marks(store: Any, site: str) -> dict[str, str]:
    found = store.read(site)
    return {
        point: (
            hashlib.sha256(
                samples.time.astype("<i8").tobytes() + samples.value.astype("<f8").tobytes()
            ).hexdigest()
        )
        for point, samples in found.items()
    }


@pytest.fixture
def oldest(tmp_path: Path) -> Path:
    with tarfile.open(OLDEST) as archive:
        archive.extractall(tmp_path / "oldest", filter="data")
    return tmp_path / "oldest"


def test_the_oldest_folder_is_upgraded_and_nothing_is_lost(oldest: Path) -> None:
    with opened(Settings(data=oldest, workers=1)) as service:
        assert marks(service.store, "alder-row") == OLDEST_READINGS
        assert service.sites.get("alder-row").site.name == "Alder Row"
        accounts = Accounts(service.database)
        assert [(p.email, p.role, p.sites) for p in accounts.all()] == [
            ("kim@heating.example", "installer", ()),
            ("sam@home.example", "householder", ("alder-row",)),
        ]
        assert SignIn(service.database).check_password("kim@heating.example", PASSWORD, "192.0.2.1")
        result = service.results.rolling_result(service.sites.get("alder-row"), 365)
        assert orjson.loads(orjson.dumps(result))["period"]["to"] == "2025-02-02"
        later = {"outdoor": Samples(np.array([1_738_540_800_000]), np.array([3.5]))}
        assert service.store.append("alder-row", later).stored == 1
        service.store.seal(2_000_000_000_000)
        assert len(service.store.read("alder-row", ["outdoor"])["outdoor"].time) == 244
        assert service.store.check("alder-row") == []
    with closing(sqlite3.connect(oldest / "state.sqlite")) as state:
        assert state.execute("SELECT version_num FROM alembic_version").fetchone()[0] == HEAD


def test_upgrading_twice_and_by_two_processes_at_once_ends_the_same(oldest: Path) -> None:
    program = (
        "import sys; from pathlib import Path; from fieldfare.api.core.service import opened; from"
        " fieldfare.api.core.settings import Settings\nwith opened(Settings(data=Path(sys.argv[1]))) as s:"
        " print(s.sites.ids())"
    )
    started = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(oldest)], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        for _ in range(3)
    ]
    said = [p.communicate(timeout=120)[0].strip() for p in started]
    assert [p.returncode for p in started] == [0, 0, 0]
    assert set(said) == {"['alder-row']"}


def filled(folder: Path) -> Service:
    service = Service(Settings(data=folder, workers=1), _database(folder))
    for site in ("alder-row", "beech-end"):
        text = site_text(site, site.title())
        service.sites.add([(text, parse_site(text))])
        service.store.append(site, readings(4))
        service.results.rolling_result(service.sites.get(site), 365)
    person = Accounts(service.database).add("kim@heating.example", "Kim", "installer")
    Accounts(service.database).set_password(person.id, PASSWORD)
    give_consent(service, "alder-row", "monitoring", True, COMMAND_LINE)
    return service


def _database(folder: Path) -> Any:
    from fieldfare.api.state.database import open_database

    return open_database(Settings(data=folder).state_url)


def everything(folder: Path) -> dict[str, Any]:
    """Readings as exported bytes, facts as bytes, the whole state row by row, and all other files."""
    with opened(Settings(data=folder, workers=1)) as service:
        found: dict[str, Any] = {}
        for site in service.sites.ids():
            out = folder.parent / f"{folder.name}-{site}.csv"
            export_readings(service.sites.get(site).site, service.store, out)
            found[f"{site} readings"] = out.read_bytes()
            plant = service.sites.get(site)
            facts = service.facts_cache.facts(plant.site, *service.results.span(plant))
            days = facts.days
            found[f"{site} facts"] = {
                name: days[name].tobytes() for name in ("heat", "electricity") if name in days
            }
        found["consents"] = consents(service, "alder-row")
        found["people"] = [asdict(p) for p in Accounts(service.database).all()]
    with closing(sqlite3.connect(folder / "state.sqlite")) as state:
        found["state"] = "\n".join(state.iterdump())
    found["key"] = (folder / "signing.key").read_bytes() if (folder / "signing.key").exists() else b""
    return found


def test_a_restored_folder_is_the_same_byte_for_byte(tmp_path: Path) -> None:
    """Readings, facts and state, taken while the service is open."""
    from fieldfare.api.people.secrets import signing_key

    data = tmp_path / "data"
    service = filled(data)
    signing_key(data)
    archive = backup.backup(data, tmp_path / "backups")
    service.close()
    before = everything(data)
    backup.restore(archive, tmp_path / "restored")
    after = everything(tmp_path / "restored")
    assert before.keys() == after.keys()
    for name in before:
        assert before[name] == after[name], name
    assert len(before["alder-row readings"]) > 100_000


def test_restoring_into_a_folder_in_use_is_refused_and_changes_nothing(tmp_path: Path) -> None:
    data = tmp_path / "data"
    service = filled(data)
    archive = backup.backup(data, tmp_path / "backups")
    held = marks(service.store, "alder-row")
    run = subprocess.run(
        [sys.executable, str(ROOT / "deploy" / "backup.py"), "restore", str(archive), str(data)],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (run.returncode, "is not empty" in run.stderr) == (1, True)
    assert marks(service.store, "alder-row") == held
    service.store.append("alder-row", {"flow": Samples(np.array([1_800_000_000_000]), np.array([1.0]))})
    service.close()
    assert LocalStore(data / "readings").check("alder-row") == []


WRITER = """
import sys
from pathlib import Path
import numpy as np
from fieldfare.analysis.readings import Samples
from fieldfare.collector.store.local import LocalStore

store, odd, T = LocalStore(Path(sys.argv[1]), hot_days=0), int(sys.argv[2]), 1_760_000_000_000
for batch in range(40):
    time = T + (np.arange(200) + batch * 200) * 600_000 + odd * 1000
    store.append("ash-lane", {"a": Samples(time, time % 977 * 1.0)})
    store.append("ash-lane", {"b": Samples(time // 2000 * 2000, time // 2000 % 977 * 1.0)})
    if batch % 5 == odd:
        store.seal(int(time[-1]))
store.close()
"""


def test_two_processes_write_and_seal_in_one_folder_and_nothing_is_lost_or_twice(tmp_path: Path) -> None:
    """Point a: each process has its own times. Point b: both write the same ones."""
    started = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), str(odd)], cwd=ROOT) for odd in (0, 1)
    ]
    assert [p.wait(timeout=200) for p in started] == [0, 0]
    store = LocalStore(tmp_path)
    found = store.read("ash-lane")
    step = np.arange(8000) * 600_000 + 1_760_000_000_000
    own = np.sort(np.concatenate([step, step + 1000]))
    np.testing.assert_array_equal(found["a"].time, own)
    np.testing.assert_array_equal(found["a"].value, own % 977)
    np.testing.assert_array_equal(found["b"].time, np.unique(own // 2000 * 2000))
    assert store.check("ash-lane") == []


NIGHT = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings

with opened(Settings(data=Path(sys.argv[1]), workers=1)) as service:
    d = service.database
    runner = Runner(service, Alerts(d), Notices(d, service.settings), JobLeases(d))
    runner.tick(datetime.fromisoformat(sys.argv[2]))
"""


def test_two_nights_at_once_do_each_piece_of_work_once(tmp_path: Path) -> None:
    data = tmp_path / "data"
    filled(data).close()
    now = datetime.now(UTC).isoformat()
    started = [subprocess.Popen([sys.executable, "-c", NIGHT, str(data), now], cwd=ROOT) for _ in range(2)]
    assert [p.wait(timeout=250) for p in started] == [0, 0]
    with closing(sqlite3.connect(data / "state.sqlite")) as state:
        rows = state.execute("SELECT kind, site, due, state, attempts FROM job_runs").fetchall()
        papers = state.execute("SELECT site, kind, period, COUNT(*) FROM papers GROUP BY 1, 2, 3").fetchall()
    assert {r[1] for r in rows if r[0] == "night"} == {"alder-row", "beech-end"}
    assert all(state == "done" and attempts == 1 for *_, state, attempts in rows), json.dumps(rows)
    assert all(count == 1 for *_, count in papers)


def test_a_fleet_is_moved_while_it_is_written_and_sealed(tmp_path: Path) -> None:
    """What came after its month was copied follows with the next move; nothing is lost or changed."""
    source, target = LocalStore(tmp_path / "a", hot_days=0), LocalStore(tmp_path / "b")
    start, stop, sent = 1_760_000_000_000, threading.Event(), [0]

    def write() -> None:
        while not stop.is_set() and sent[0] < 60:
            time = start + (np.arange(300) + sent[0] * 300) * 60_000
            source.append("ash-lane", {"a": Samples(time, time % 977 * 1.0)})
            sent[0] += 1
            if sent[0] % 7 == 0:
                source.seal(int(time[-1]))

    older = start - np.arange(1, 25_001)[::-1] * 60_000
    source.append("ash-lane", {"a": Samples(older, np.ones(len(older)))})
    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(2):
            move(source, target, ["ash-lane"])  # says what differs where readings came meanwhile
    finally:
        stop.set()
        writer.join()
    assert sent[0] > 5
    (last,) = move(source, target, ["ash-lane"])
    assert last.agrees
    assert last.replaced == 0
    assert marks(source, "ash-lane") == marks(target, "ash-lane")
    assert source.check("ash-lane") == target.check("ash-lane") == []
    source.close()
    target.close()
