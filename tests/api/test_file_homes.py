"""Homes fed by files: never silent, reminded at their usual interval; another home's file is refused, and the
newest file can be undone."""

from __future__ import annotations

import html
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select, update

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.api.cli.entry import BAD_INPUT, run
from fieldfare.api.core.fleet_rows import fleet_rows
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.html.live_fleet import live_rows
from fieldfare.api.jobs.work import watch
from fieldfare.api.people.audit import Audit
from fieldfare.api.records.file_imports import UNDO_KEPT, FileImports
from fieldfare.api.running.intake import ingest_files, odd_registers_text, undo_file
from fieldfare.api.state.site_tables import FILE_IMPORTS
from fieldfare.dashboards.fleet.entries import entry_of
from fieldfare.dashboards.text.live_words import grouped
from fieldfare.dashboards.text.words import moment
from tests.api.conftest import add_site
from tests.api.sites import readings, site_text, write_csv
from tests.api.web import Web, make_web

HOME = "elm-bank"
JANUARY = datetime(2026, 1, 5, tzinfo=UTC)


def with_serial(path: Path, serial: str) -> Path:
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    lines = [f"{head},Serial number", *(f"{row},{serial}" for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def export(folder: Path, first: int, days: int, **more: float) -> Path:
    found = readings(days, JANUARY + timedelta(days=first), **more)
    thin = {p: Samples(s.time[::15], np.round(s.value[::15], 2)) for p, s in found.items()}
    return with_serial(write_csv(folder / f"day-{first}-{more.get('power', '')}.csv", thin), "0815")


def other_home(folder: Path, first: int, days: int) -> Path:
    found = readings(days, JANUARY + timedelta(days=first), power=2600.0)
    thin = {p: Samples(s.time[::15], np.round(1.3 * s.value[::15] + 2, 2)) for p, s in found.items()}
    return with_serial(write_csv(folder / f"other-{first}.csv", thin), "4711")


@pytest.fixture
def by_files(service: Service, tmp_path: Path) -> Service:
    """A home with three files, brought in a week apart; the last reading is of 13 January."""
    add_site(service, HOME)
    for first in (0, 3, 6):
        ingest_files(service, HOME, [export(tmp_path, first, 3)])
    brought_in(service, *(datetime.now(UTC) - timedelta(days=d) for d in (15, 8, 1)))
    return service


def brought_in(service: Service, *times: datetime) -> None:
    with service.database.writing() as db:
        ids = db.scalars(select(FILE_IMPORTS.c.id).order_by(FILE_IMPORTS.c.id)).all()
        for number, moment in zip(ids, times, strict=True):
            db.execute(update(FILE_IMPORTS).where(FILE_IMPORTS.c.id == number).values(time=moment))


def listed(service: Service, now: datetime) -> dict[str, Any]:
    service.fleet.refresh()
    heard = service.fleet.last_heard(HOME)
    (row,) = service.fleet.rows(_all())
    assert row["heard"] == heard
    entry = entry_of(row, now)
    return entry | {key: _plain(entry[key]) for key in ("file", "said", "next", "brief")}


def _plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def _all() -> Any:
    from fieldfare.api.core.fleet_table import Chosen

    return Chosen()


def codes(service: Service, now: datetime) -> list[str]:
    found = watch(service, service.sites.get(HOME), now).findings
    return [f["code"] for f in found if f["code"] in ("silence", "file_due")]


def state(service: Service, now: datetime) -> tuple[str, str, str]:
    (group,) = grouped(live_rows(AppState(service)), now)
    (home,) = group["homes"]
    return group["key"], _plain(home["text"]), home["age"]


def test_a_home_fed_by_files_is_not_silent(by_files: Service) -> None:
    now = datetime.now(UTC)
    entry = listed(by_files, now)
    assert (entry["silent"], entry["file"], entry["visit"]) == (False, "readings to 13 Jan 2026", "none")
    assert "gateway" not in f"{entry['said']} {entry['next']} {entry['brief']}"
    assert state(by_files, now) == ("file", "last file: readings to 13 Jan 2026", "")
    assert codes(by_files, now) == []
    (row,) = fleet_rows(by_files)
    assert (row["silent"], row["files"]["overdue"]) == (False, False)


def test_a_reminder_comes_after_twice_the_homes_own_time_between_files(by_files: Service) -> None:
    last = datetime.now(UTC) - timedelta(days=1)
    before, after = last + timedelta(days=13.9), last + timedelta(days=14.1)
    assert codes(by_files, before) == []
    assert codes(by_files, after) == ["file_due"]
    entry = listed(by_files, after)
    assert entry["verdict"] == "watch"
    assert entry["said"] == "The last file has readings to 13 Jan 2026. Files came every 7 days."
    assert entry["next"].startswith("Export the readings since then")
    assert state(by_files, after)[2] == "next file is due"


def test_without_a_habit_a_month_is_usual(service: Service, tmp_path: Path) -> None:
    add_site(service, HOME)
    ingest_files(service, HOME, [export(tmp_path, 0, 3)])
    assert codes(service, datetime.now(UTC) + timedelta(days=61)) == []
    assert codes(service, datetime.now(UTC) + timedelta(days=63)) == ["file_due"]


def test_a_gateway_that_a_file_fills_gaps_of_stays_one(service: Service, tmp_path: Path) -> None:
    add_site(service, HOME)
    service.store.append(HOME, readings(2))
    ingest_files(service, HOME, [export(tmp_path, 1, 4)])
    now = JANUARY + timedelta(days=8)
    assert codes(service, now) == ["silence"]
    assert listed(service, now)["silent"]


def test_a_home_that_gets_a_gateway_is_judged_as_such(by_files: Service) -> None:
    by_files.store.append(HOME, readings(1, JANUARY + timedelta(days=9)))
    assert codes(by_files, JANUARY + timedelta(days=13)) == ["silence"]


def shown(found: Readings) -> dict[str, list[tuple[int, float]]]:
    return {p: list(zip(s.time.tolist(), s.value.tolist(), strict=True)) for p, s in found.items()}


def test_the_command_refuses_takes_and_undoes_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    data = tmp_path / "data"
    with opened(Settings(data=data)) as service:
        add_site(service, HOME)
        ingest_files(service, HOME, [export(tmp_path, 0, 3)])
        before = shown(service.store.read(HOME))
    wrong = str(other_home(tmp_path, 1, 4))
    command = ["--data", str(data), "ingest", HOME]
    assert run([*command, wrong]) == BAD_INPUT
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "looks like the file of another home" in said
    assert "--anyway" in said
    assert run([*command, wrong, "--anyway"]) == 0
    assert "undo it with --undo" in capsys.readouterr().out
    with opened(Settings(data=data)) as service:
        assert shown(service.store.read(HOME)) != before
    assert run([*command, "--undo"]) == 0
    assert "other-1.csv of " in capsys.readouterr().out
    with opened(Settings(data=data)) as service:
        assert shown(service.store.read(HOME)) == before
        (line,) = Audit(service.database).page(0, 10, HOME)[0]
        assert (line.who, line.action, line.detail["file"]) == ("command line", "file undone", "other-1.csv")
    assert run([*command, "--undo", wrong]) == BAD_INPUT
    assert run([*command, "--undo"]) == 0
    assert run([*command, "--undo"]) == BAD_INPUT
    assert "no file was imported" in capsys.readouterr().err


def test_an_undo_takes_back_its_file_alone(by_files: Service, tmp_path: Path) -> None:
    """Readings that came meanwhile by the gateway stay, also where they replaced the file's."""
    before = shown(by_files.store.read(HOME))
    ingest_files(by_files, HOME, [export(tmp_path, 9, 2)])
    late = int((JANUARY + timedelta(days=9, hours=1)).timestamp()) * 1000
    by_files.store.append(HOME, {"flow": Samples(np.array([late, late + 1]), np.array([55.5, 56.5]))})
    told = undo_file(by_files, HOME)
    assert told["kept"] == 1
    assert shown(by_files.store.read(HOME)) == {
        p: [*rows, *([(late, 55.5), (late + 1, 56.5)] if p == "flow" else [])] for p, rows in before.items()
    }


def test_only_the_newest_files_can_be_undone(service: Service, tmp_path: Path) -> None:
    add_site(service, HOME)
    for first in range(UNDO_KEPT + 1):
        ingest_files(service, HOME, [export(tmp_path, first, 1)])
    for _ in range(UNDO_KEPT):
        undo_file(service, HOME)
    with pytest.raises(InputError, match="is no longer kept"):
        undo_file(service, HOME)
    assert [f.can_undo for f in FileImports(service, HOME).listed()] == [False]


def test_a_file_that_brings_nothing_is_undone_without_a_change(by_files: Service, tmp_path: Path) -> None:
    before = shown(by_files.store.read(HOME))
    ingest_files(by_files, HOME, [export(tmp_path, 6, 3)])
    assert undo_file(by_files, HOME)["removed"] == 0
    assert shown(by_files.store.read(HOME)) == before


def progress(web: Web) -> str:
    for _ in range(600):
        text = html.unescape(web["installer"].get(f"/sites/{HOME}/progress").text)
        if "refreshes every" not in text:
            return text
        time.sleep(0.1)
    raise AssertionError(text)


def send(web: Web, url: str, path: Path | None = None, **form: str) -> str:
    files = {"file": (path.name, path.read_bytes(), "text/csv")} if path else None
    data = {"csrf": web["installer"].headers["X-CSRF-Token"], **form}
    answer = web["installer"].post(url, data=data, files=files, follow_redirects=True)
    return html.unescape(answer.text)


def test_in_the_browser_too(service: Service, tmp_path: Path) -> None:
    web = make_web(service)
    add_site(service, HOME)
    at = f"/sites/{HOME}/readings"
    send(web, at, export(tmp_path, 0, 3))
    assert "came in" in progress(web)
    before = shown(service.store.read(HOME))
    send(web, at, other_home(tmp_path, 1, 4))
    doubted = progress(web)
    assert "The file: looks like" not in doubted
    assert "ooks like the file of another home" in doubted
    assert str(tmp_path) not in doubted
    assert shown(service.store.read(HOME)) == before
    send(web, f"{at}/anyway")
    assert "came in" in progress(web)
    assert shown(service.store.read(HOME)) != before
    page = html.unescape(web["installer"].get(at).text)
    assert "Undo other-1.csv" in page
    newest = FileImports(service, HOME).listed()[0]
    assert newest.who == "installer@heating.example"
    assert "another file is now the newest" in send(web, f"{at}/undo", number=str(newest.id - 1))
    send(web, f"{at}/undo", number=str(newest.id))
    assert "was undone" in progress(web)
    assert shown(service.store.read(HOME)) == before
    assert web["engineer"].post(f"{at}/undo", data={"csrf": "x", "number": "1"}).status_code in (403, 404)


def test_erasing_a_home_erases_what_its_files_changed(by_files: Service) -> None:
    from fieldfare.api.records.erasure import erase_site

    folder = by_files.settings.data / "undo" / HOME
    assert folder.is_dir()
    erase_site(by_files, HOME)
    assert not folder.exists()
    with by_files.database.reading() as db:
        assert db.execute(select(FILE_IMPORTS)).all() == []


def test_a_register_that_jumps_is_told_when_it_comes_in(service: Service, tmp_path: Path) -> None:
    """On the command line and on the page; a sound file says nothing."""
    total = '\n[[point]]\nid = "meter"\nquantity = "heat_pump_electricity"\nform = "register"\nunit = "kWh"\n'
    text = site_text(HOME) + total
    service.sites.add([(text, parse_site(text))])
    for first, wrong in ((0, None), (40, 5_000_000.0)):
        found = readings(12, JANUARY + timedelta(days=first))
        time_ = found["elec"].time[::15]
        counted = 4_000.0 + 10.0 * first + np.arange(len(time_)) * 0.1
        if wrong is not None:
            counted[700] = wrong
        thin = {"elec": Samples(time_, found["elec"].value[::15]), "meter": Samples(time_, counted)}
        done = ingest_files(service, HOME, [write_csv(tmp_path / f"{first}.csv", thin)])
        if wrong is None:
            assert (done["odd_registers"], odd_registers_text(done, "UTC")) == ([], [])
    (odd,) = done["odd_registers"]
    at = datetime.fromtimestamp(time_[700] / 1000, UTC)
    assert odd == {"point": "meter", "kind": "spike", "time": at.isoformat(), "amount": wrong, "unit": "kWh"}
    (line,) = odd_registers_text(done, "UTC")
    assert line.startswith(
        f"the running total meter read 5000000 kWh once, far from its neighbours on {moment(at, 'UTC')} UTC"
    )
    (local,) = odd_registers_text(done, "Asia/Tokyo")
    assert f"on {moment(at, 'Asia/Tokyo')}:" in local
