"""Files of the service: owner-readable only, and named in one line if the disk is full or they are
damaged."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import select

from fieldfare.api.cli.entry import run
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.state.work_tables import Notice
from fieldfare.collector.mqtt.journal import Journal
from tests.api.conftest import add_site
from tests.api.sites import readings, site_text, write_csv

LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
from fieldfare.api.cli.entry import run
sys.exit(run(sys.argv[1:]))
"""


@pytest.fixture
def data(tmp_path: Path) -> Path:
    settings = Settings(data=tmp_path / "data")
    with opened(settings) as service:
        add_site(service, "alder-row")
        service.store.append("alder-row", readings(4))
    Journal(settings.data).close()
    return settings.data


def test_what_is_stored_is_the_owners_alone(data: Path) -> None:
    run(["--data", str(data), "analyse", "nowhere"])
    assert data.stat().st_mode & 0o777 == 0o700
    for path in data.rglob("*.sqlite*"):
        assert path.stat().st_mode & 0o777 == 0o600, path
    assert len(list(data.rglob("*.sqlite"))) == 3


@pytest.mark.parametrize("name", ["state.sqlite", "readings/hot.sqlite", "intake.sqlite"])
@pytest.mark.parametrize("junk", [b"no database at all" * 1000, None])
def test_a_damaged_database_is_named_in_one_line(
    data: Path, name: str, junk: bytes | None, capsys: pytest.CaptureFixture[str]
) -> None:
    path = data / name
    for side in ("-wal", "-shm"):
        path.with_name(path.name + side).unlink(missing_ok=True)
    path.write_bytes(junk or path.read_bytes()[:5000].ljust(9000, b"\1"))
    commands = (["fleet"], ["site", "list"], ["analyse", "alder-row"], ["set-aside", "list"])
    codes = [run(["--data", str(data), *command]) for command in commands]
    told = capsys.readouterr()
    assert any(codes)
    assert set(codes) <= {0, 1, 2}
    assert path.name in told.err + told.out
    assert all(line.startswith("fieldfare: ") for line in told.err.splitlines())
    assert len(told.err.splitlines()) <= len(commands)
    assert "Traceback" not in told.err


def test_a_full_disk_is_named_in_one_line_and_loses_nothing(tmp_path: Path) -> None:
    (tmp_path / "alder.toml").write_text(site_text(), encoding="utf-8")
    write_csv(tmp_path / "readings.csv", readings(30))
    command = ["--data", str(tmp_path / "data")]
    assert run([*command, "site", "add", str(tmp_path / "alder.toml")]) == 0
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, *command, "ingest", "alder-row", str(tmp_path / "readings.csv")],
        capture_output=True,
        text=True,
        timeout=200,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 1, done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stderr.startswith("fieldfare: ")
    assert run([*command, "ingest", "alder-row", str(tmp_path / "readings.csv")]) == 0
    assert run([*command, "check"]) == 0


def test_an_internal_error_goes_to_the_data_folder_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the moon fell")

    monkeypatch.setattr("fieldfare.api.core.sites.Sites.ids", broken)
    monkeypatch.setenv("TMPDIR", str(tmp_path / "temporary"))
    (tmp_path / "temporary").mkdir()
    with opened(Settings(data=tmp_path / "new")):
        pass
    assert run(["--data", str(tmp_path / "new"), "site", "list"]) == 1
    assert str(tmp_path / "new" / "fieldfare.log") in capsys.readouterr().err
    assert "Traceback" in (tmp_path / "new" / "fieldfare.log").read_text(encoding="utf-8")
    assert (tmp_path / "new" / "fieldfare.log").stat().st_mode & 0o777 == 0o600
    assert list((tmp_path / "temporary").iterdir()) == []


def test_erasing_a_site_leaves_those_whose_name_begins_alike(service: Service) -> None:
    now = datetime(2026, 1, 12, tzinfo=UTC)
    for site in ("elm", "elm-road", "elm2"):
        add_site(service, site)
    bodies = [
        "see http://x/sites/elm-road/home",
        "see http://x/sites/elm2",
        "see http://x/sites/elm.",
        "at /sites/elm",
    ]
    with service.database.write() as session:
        for n, body in enumerate(bodies):
            session.add(
                Notice(
                    key=str(n),
                    kind="digest",
                    site=None,
                    receiver="a@x.example",
                    subject="",
                    body=body,
                    state="sent",
                    not_before=now,
                    created=now,
                )
            )
    erase_site(service, "elm")
    with service.database.read() as session:
        assert sorted(session.scalars(select(Notice.body))) == sorted(bodies[:2])
    assert service.sites.ids() == ["elm-road", "elm2"]
