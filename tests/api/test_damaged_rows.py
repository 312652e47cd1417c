"""Damaged rows of people, jobs and decisions: every changed byte is reported, and restored from a backup."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from fieldfare.api.cli.entry import run
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.records.check import check_rows
from fieldfare.api.running.serve import look_for_damage
from fieldfare.api.state.row_marks import damaged_rows
from tests.api.conftest import add_site
from tests.api.web import make_web

NAME, WORDS = b"Zelda Example", b"the pump was bled and the filter cleaned"
FLIPS = 60


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder at rest, with a home, a person, a job and a session."""
    data = tmp_path_factory.mktemp("rows") / "data"
    with opened(Settings(data=data, workers=1)) as service:
        add_site(service, "elm")
        assert service.store.sites() == []  # the folder of readings is there
        with service.database.writing() as db:
            person = "('zelda@heating.example', ?, 'engineer', 1, 1, '2026-01-01 00:00:00')"
            columns = "(email, name, role, active, notices, created)"
            db.exec_driver_sql(f"INSERT INTO people {columns} VALUES {person}", (NAME.decode(),))
            row = "('elm', '2026-01-02', ?, 'zelda@heating.example', '2026-01-02 10:00:00', '', '[]')"
            columns = "(site, day, what, who, created, parts, findings)"
            db.exec_driver_sql(f"INSERT INTO works {columns} VALUES {row}", (WORDS.decode(),))
    return data


@pytest.fixture
def data(whole: Path, tmp_path: Path) -> Path:
    shutil.copytree(whole, tmp_path / "data")
    return tmp_path / "data"


def change(data: Path, before: bytes, after: bytes) -> None:
    path = data / "state.sqlite"
    raw = path.read_bytes()
    assert raw.count(before) == 1
    path.write_bytes(raw.replace(before, after))


def told(data: Path, *words: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    capsys.readouterr()
    code = run(["--data", str(data), *words])
    return code, capsys.readouterr().out


def test_a_changed_byte_is_named_with_its_home_and_brought_back(
    data: Path, whole: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told(data, "check", capsys=capsys)[0] == 0
    change(data, WORDS, b"T" + WORDS[1:])
    change(data, NAME, b"\xff" + NAME[1:])  # no text any more
    code, said = told(data, "check", capsys=capsys)
    assert code == 1
    assert "elm: state database: row 1 of works is damaged: its checksum differs" in said
    assert "\nstate database: row 1 of people is damaged" in f"\n{said}"
    code, said = told(data, "repair", capsys=capsys)
    assert code == 1
    assert said.count("name the folder of a restored backup") == 2
    code, said = told(data, "repair", str(whole), capsys=capsys)
    assert said.count("brought back as it was in the backup") == 2
    assert told(data, "check", capsys=capsys) == (0, "1 site: no damage\n")
    raw = (data / "state.sqlite").read_bytes()
    with opened(Settings(data=data)) as service, service.database.reading() as db:
        assert db.exec_driver_sql("SELECT name FROM people").scalars().all() == [NAME.decode()]
    assert b"T" + WORDS[1:] not in raw


def test_a_later_change_does_not_hide_damage_until_it_is_accepted(
    data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(data, NAME, b"Y" + NAME[1:])
    with opened(Settings(data=data)) as service:
        with service.database.writing() as db:
            db.exec_driver_sql("UPDATE people SET last_in = '2026-03-03 00:00:00'")
        assert [str(d) for d in check_rows(service)] == [
            "state database: row 1 of people is damaged: its checksum differs"
        ]
    code, said = told(data, "repair", "--accept-rows", capsys=capsys)
    assert (code, "taken as it is" in said) == (0, True)
    assert told(data, "check", capsys=capsys)[0] == 0


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("INSERT INTO failed_sign_ins VALUES ('x', 1, '2026-01-01')", "failed_sign_ins"),
        ("INSERT INTO invitations VALUES ('x', 'invited', 1, '2026-01-01')", "invitations"),
    ],
)
def test_what_is_good_for_a_while_only_is_deleted(
    data: Path, statement: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with opened(Settings(data=data)) as service, service.database.writing() as db:
        db.exec_driver_sql(statement)
        db.exec_driver_sql('UPDATE row_marks SET mark = mark + 1 WHERE "table" = ?', (said,))
    code, lines = told(data, "repair", capsys=capsys)
    assert code == 0
    assert f"of {said} is damaged" in lines
    assert "deleted" in lines
    assert told(data, "check", capsys=capsys)[0] == 0


def test_a_row_that_is_lost_comes_back(data: Path, whole: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with opened(Settings(data=data)) as service, service.database.writing() as db:
        db.exec_driver_sql("DROP TRIGGER works_unmarked")
        db.exec_driver_sql("DELETE FROM works")
    assert "row 1 of works is lost" in told(data, "check", capsys=capsys)[1]
    assert told(data, "repair", str(whole), capsys=capsys)[0] == 0
    with opened(Settings(data=data)) as service, service.database.reading() as db:
        assert db.exec_driver_sql("SELECT what FROM works").scalars().all() == [WORDS.decode()]


def test_no_flipped_bit_in_a_row_passes_in_silence(data: Path) -> None:
    path, draw = data / "state.sqlite", random.Random(3)
    raw = path.read_bytes()
    for words in (NAME, WORDS, b"zelda@heating.example"):
        at = raw.index(words)
        for _ in range(FLIPS // 3):
            bit = draw.randrange(8 * at, 8 * (at + len(words)))
            changed = bytearray(raw)
            changed[bit // 8] ^= 1 << bit % 8
            path.write_bytes(changed)
            with opened(Settings(data=data)) as service, service.database.reading() as db:
                assert list(damaged_rows(db)), (words, bit)


def test_marks_follow_every_way_of_writing(data: Path) -> None:
    with opened(Settings(data=data)) as service:
        with service.database.writing() as db:
            db.exec_driver_sql("INSERT OR REPLACE INTO failed_sign_ins VALUES ('k', 1, '2026-01-01')")
            db.exec_driver_sql("INSERT OR REPLACE INTO failed_sign_ins VALUES ('k', 2, '2026-01-02')")
            db.exec_driver_sql("UPDATE works SET what = NULLIF(what, ''), minutes = 4.5")
        service.sites.remove("elm")  # what hangs on it goes too
        assert check_rows(service) == []
        with service.database.reading() as db:
            marked = "SELECT count(*) FROM row_marks WHERE \"table\" IN ('works', 'sites')"
            assert db.exec_driver_sql(marked).scalar() == 0


def test_a_database_of_before_is_marked_when_it_is_opened(data: Path) -> None:
    with opened(Settings(data=data)) as service, service.database.writing() as db:
        triggers = db.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").scalars().all()
        for name in triggers:
            db.exec_driver_sql(f"DROP TRIGGER {name}")
        db.exec_driver_sql("DROP TABLE row_marks")
        db.exec_driver_sql("PRAGMA user_version = 0")
    with opened(Settings(data=data)) as service:
        assert check_rows(service) == []
    change(data, WORDS, b"T" + WORDS[1:])
    with opened(Settings(data=data)) as service:
        assert [d.site for d in check_rows(service)] == ["elm"]


def test_the_list_of_homes_names_the_damage(service: Service, caplog: pytest.LogCaptureFixture) -> None:
    web = make_web(service)
    assert "Damaged or missing" not in web["engineer"].get("/").text
    with service.database.writing() as db:
        db.exec_driver_sql('UPDATE row_marks SET mark = mark + 1 WHERE "table" = \'people\' AND "row" = 1')
    look_for_damage(web.parts)
    said = "state database: row 1 of people is damaged"
    page = web["engineer"].get("/").text
    assert "Damaged or missing" in page
    assert said in page
    assert said in caplog.text
