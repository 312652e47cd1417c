"""Failures of one home never affect others: lists show the rest of the fleet, and the reason for this one."""

from __future__ import annotations

import os
import pickle
import re
import sqlite3
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text, update

from fieldfare.analysis.errors import Problem, SiteError
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.cli.entry import run
from fieldfare.api.core.fleet_rows import fleet_feedback, fleet_rows
from fieldfare.api.core.results import Results
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.site_rows import site_rows
from fieldfare.api.http.app import create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.jobs.work import work as real_work
from fieldfare.api.running.intake import take_senml
from fieldfare.api.state.tables import SiteRow
from fieldfare.collector.store.sealed_index import DamagedFile
from tests.api.conftest import add_site
from tests.api.failing_work import BAD, killing_work, unsendable_work
from tests.api.sites import readings, site_text
from tests.collector.earlier_release import without_checksums

GOOD = ("alder-row", "cedar-way")
NOW = datetime(2026, 1, 12, 12, tzinfo=UTC)


def set_file(service: Service, content: str) -> None:
    """A file as an earlier release may have taken it: no rule is asked."""
    with service.database.write() as session:
        session.execute(update(SiteRow).where(SiteRow.id == BAD).values(file=content, updated=NOW))


def site_key(**more: str) -> Callable[[Service], None]:
    return lambda service: set_file(service, site_text(BAD, "Beech End", **more))


def in_file(right: str, wrong: str) -> Callable[[Service], None]:
    return lambda service: set_file(service, site_text(BAD, "Beech End").replace(right, wrong, 1))


def damaged(change: Callable[[bytes], bytes]) -> Callable[[Service], None]:
    def sabotage(service: Service) -> None:
        (path,) = (service.settings.readings_dir / "sealed" / BAD).glob("*.parquet")
        beside = path.with_suffix(".x")
        beside.write_bytes(change(path.read_bytes()))
        os.replace(beside, path)

    return sabotage


def flipped(place: float) -> Callable[[bytes], bytes]:
    def change(raw: bytes) -> bytes:
        at = int(len(raw) * place)
        return raw[:at] + bytes([raw[at] ^ 4]) + raw[at + 1 :]

    return change


def deleted(service: Service) -> None:
    (path,) = (service.settings.readings_dir / "sealed" / BAD).glob("*.parquet")
    path.unlink()


def garbage_rows(service: Service) -> None:
    with sqlite3.connect(service.settings.readings_dir / "hot.sqlite") as db:
        (number,) = db.execute("SELECT num FROM sites WHERE id = ?", (BAD,)).fetchone()
        for n, value in enumerate((b"abc", "text", b"\xff" * 36, b"")):
            db.execute("INSERT INTO moments VALUES (?, ?, ?)", (number, 1_767_700_000_000 + n, value))


def garbage_results(service: Service) -> None:
    with service.database.writing() as db:
        db.execute(
            text("UPDATE kept_results SET payload = :junk WHERE site = :site"), {"junk": b"junk", "site": BAD}
        )


SABOTAGES: dict[str, Callable[[Service], None]] = {
    "antifreeze beyond the tables": in_file(
        "[heat_pump]", '[heat_pump]\nantifreeze = "ethylene_glycol"\nantifreeze_percent = 55'
    ),
    "handed over at the end of time": site_key(handed_over="9999-12-31"),
    "unknown key": site_key(colour='"green"'),
    "no TOML": lambda service: set_file(service, "[[[["),
    "empty file": lambda service: set_file(service, ""),
    "unknown zone": in_file("Europe/London", "Nowhere/Town"),
    "unit bomb": in_file('as = "power"', 'as = "power"\nunit = "9**9**9*W"'),
    "nesting": lambda service: set_file(service, "x = " + "[" * 3000),
    "lends from itself": site_key(outdoor_from=f'"{BAD}"'),
    "wildcard topic": in_file('id = "elec"', 'id = "elec"\ntopic = "#"'),
    "month cut off": damaged(lambda raw: raw[: len(raw) // 2]),
    "month empty": damaged(lambda raw: b""),
    "month of noise": damaged(lambda raw: os.urandom(len(raw))),
    "bit flipped in the data": damaged(flipped(0.3)),
    "bit flipped in the footer": damaged(flipped(0.97)),
    "bit flipped near the end": damaged(flipped(0.999)),
    "month deleted": deleted,
    "garbage in the recent rows": garbage_rows,
    "garbage in the kept results": garbage_results,
}
TOLD = ("reason", "data_notices")
HARMLESS = {"lends from itself", "wildcard topic"}
"""Sabotages that the home itself survives whole."""


@pytest.fixture
def fleet(tmp_path: Path) -> Any:
    with opened(Settings(data=tmp_path / "data", workers=2, demo=True)) as service:
        for site in (*GOOD, BAD):
            add_site(service, site)
            service.store.append(site, readings(3))
        fleet_rows(service, fresh=True)
        yield service


def assert_others_are_there(service: Service, told: bool = True, own: tuple[int, ...] = ()) -> None:
    """Every border of the service, with one bad home in the fleet. own : further answers of the home's own
    pages"""
    service.store.check(BAD)
    for fresh in (False, True):
        rows = {row["id"]: row for row in fleet_rows(service, fresh=fresh)}
        assert set(rows) == {BAD, *GOOD}
        assert all(rows[site]["reason"] is None and rows[site]["H4"] for site in GOOD)
    if told:
        assert any(rows[BAD][key] for key in TOLD), rows[BAD]
        assert "\n" not in str(rows[BAD]["reason"])
    listed = {row["id"]: row for row in site_rows(service)}
    assert set(listed) == {BAD, *GOOD}
    assert all(listed[site]["from"] and listed[site]["reason"] is None for site in GOOD)
    fleet_feedback(service)
    assert service.store.seal(int(NOW.timestamp() * 1000)) >= 0
    at = NOW.timestamp()
    for n, site in enumerate(GOOD):
        pack = [{"bt": at - 100 + n, "n": "flow", "v": 38.5}]
        assert take_senml(service, service.sites.get(site).site, pack)["readings"] == 1
    client = TestClient(
        create_app(AppState(service)), base_url="http://localhost", raise_server_exceptions=False
    )
    assert client.get("/healthz").json()["status"] == "ok"
    for url in ("/api/v1/sites", "/api/v1/fleet", "/", "/visits", "/winter", "/learning", "/metrics"):
        answer = client.get(url)
        assert answer.status_code == 200, (url, answer.text[:300])
        assert url in ("/learning", "/visits") or all(site in answer.text for site in (*GOOD, BAD)), url
    for site in GOOD:
        for url in (f"/sites/{site}", f"/sites/{site}/home", f"/api/v1/sites/{site}/papers/month/2026-01"):
            assert client.get(url).status_code == 200, url
    for url in (f"/sites/{BAD}", f"/sites/{BAD}/home", f"/api/v1/sites/{BAD}/result"):
        assert client.get(url).status_code in (200, 404, 409, 422, 503, *own), url
    assert client.get(f"/api/v1/sites/{BAD}/file").status_code == 200


@pytest.mark.parametrize("name", SABOTAGES)
def test_a_sabotaged_home_is_a_row_with_a_reason(fleet: Service, name: str) -> None:
    SABOTAGES[name](fleet)
    assert_others_are_there(fleet, told=name not in HARMLESS | {"garbage in the kept results"})


@pytest.mark.parametrize(
    "error",
    [RuntimeError("boom"), ZeroDivisionError(), MemoryError(), KeyError("x"), OSError(5, "I/O error")],
)
def test_an_exception_in_one_home_s_analysis_is_named_and_logged(
    fleet: Service, error: Exception, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    working_out = Results._compute_result

    def failing(self: Results, site: Any, *period: Any) -> Any:
        if site.id == BAD:
            raise error
        return working_out(self, site, *period)

    monkeypatch.setattr(Results, "_compute_result", failing)
    fleet.store.append(BAD, readings(4))
    rows = {row["id"]: row for row in fleet_rows(fleet, fresh=True)}
    assert rows[BAD]["failed"]
    assert BAD in caplog.text
    if not isinstance(error, OSError):
        assert f"internal error at site {BAD}" in rows[BAD]["reason"]
        assert "Traceback" in caplog.text
    assert_others_are_there(fleet, own=(500,))


def test_the_commands_go_on_and_name_the_home(
    fleet: Service, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    SABOTAGES["handed over at the end of time"](fleet)
    data = ["--data", str(fleet.settings.data)]
    assert run([*data, "fleet"]) == 0
    out = capsys.readouterr().out
    assert re.search(rf"^failed +{BAD}", out, flags=re.M)
    assert "site.handed_over" in out
    assert all(site in out for site in GOOD)
    assert run([*data, "site", "list"]) == 0
    assert "failed: the kept site file" in capsys.readouterr().out
    assert run([*data, "site", "show", BAD]) == 0
    assert "9999-12-31" in capsys.readouterr().out
    assert run([*data, "analyse", BAD]) == 2
    assert "site.handed_over" in capsys.readouterr().err
    assert run([*data, "site", "remove", BAD, "--yes"]) == 0
    assert fleet.sites.ids() == sorted(GOOD)


def test_a_home_that_borrows_from_a_broken_one_goes_on_without(fleet: Service) -> None:
    content = site_text(GOOD[0], outdoor_from=f'"{BAD}"').replace(
        '[[point]]\nid = "outdoor"\nquantity = "outdoor_temperature"\n', ""
    )
    with fleet.database.write() as session:
        session.execute(update(SiteRow).where(SiteRow.id == GOOD[0]).values(file=content, updated=NOW))
    SABOTAGES["no TOML"](fleet)
    rows = {row["id"]: row for row in fleet_rows(fleet, fresh=True)}
    assert rows[GOOD[0]]["reason"] is None


def runner_of(service: Service, do: Any) -> Runner:
    book = JobLeases(service.database)
    return Runner(service, Alerts(service.database), Notices(service.database, service.settings), book, do)


@pytest.mark.parametrize(
    "do", [unsendable_work, killing_work, real_work], ids=["exception", "killed", "bad file"]
)
def test_the_night_and_the_watch_go_on(fleet: Service, do: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "fieldfare.api.jobs.runner.tidy", lambda _: "nothing"
    )  # it would remove runs of so long ago
    SABOTAGES["no TOML"](fleet)
    runner = runner_of(fleet, do)
    ended: Counter[str] = runner.tick(NOW) + runner.watch(NOW)
    assert ended["failed"] == 3  # night, month and watch of the bad home
    rows, _ = runner.leases.page(0, 100)
    state = {(r.kind, r.site): r for r in rows}
    for kind in ("night", "watch", "month"):
        assert all(state[kind, site].state == "done" for site in GOOD), kind
        assert state[kind, BAD].state == "failed"
        assert state[kind, BAD].told
    assert {r.state for r in rows if r.kind in ("digest", "tidy")} == {"done"}


@pytest.mark.parametrize(
    "error", [SiteError("a.toml", [Problem("site.id", "is missing", 3)]), DamagedFile(Path("x"), "cut off")]
)
def test_errors_survive_the_way_from_a_worker(error: Exception) -> None:
    assert str(pickle.loads(pickle.dumps(error))) == str(error)


def test_files_of_an_earlier_release_have_no_notices(fleet: Service) -> None:
    (path,) = (fleet.settings.readings_dir / "sealed" / BAD).glob("*.parquet")
    path.write_bytes(without_checksums(path.read_bytes()))
    assert fleet.results.data_notices(BAD) == []
