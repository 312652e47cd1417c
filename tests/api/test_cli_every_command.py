"""Every command is run with every option; a command or an option without a run here fails."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, NamedTuple

import click
import pytest

from fieldfare.api.cli.entry import run
from fieldfare.api.cli.options import NO_SITES
from fieldfare.api.cli.root import root
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.decode import Message, RefusedMessage
from fieldfare.collector.mqtt.journal import Journal
from tests.api.sites import START, readings, site_text, write_csv


class Run(NamedTuple):
    """One call. code : its exit code. says : a part of what it prints. before : calls that make what it
    needs"""

    argv: str
    code: int = 0
    says: str = ""
    before: tuple[str, ...] = ()


ADDED = (
    "user add ivy@heating.example --name Ivy --role installer",
    "user add eve@heating.example --name Eve --role engineer",
)
RUNS: dict[str, list[Run]] = {
    "site add": [Run("site add alder.toml beech.toml", says="alder-row")],
    "site list": [Run("site list", says="alder-row"), Run("site list --format json", says='"sites"')],
    "site show": [Run("site show alder-row", says="[site]"), Run("site show nowhere", 2, "unknown site")],
    "site remove": [
        Run("site remove beech-end --yes", says="removed beech-end", before=("site add beech.toml",)),
        Run("site remove nowhere", 2, "unknown site"),
    ],
    "site template": [Run("site template", says="[[point]]")],
    "site columns": [
        Run("site columns readings.csv", says='quantity = "heat_output"'),
        Run("site columns readings.csv --site alder-row", says='quantity = "heat_output"'),
        Run("site columns nowhere.csv", 2, "can't be read"),
    ],
    "visits": [
        Run("visits", says="no home needs work"),
        Run("visits --format json", says='"kinds"'),
    ],
    "ingest": [
        Run("ingest alder-row readings.csv", says="were already stored"),
        Run("ingest alder-row readings.csv --format json", says='"rows"'),
        Run("ingest alder-row nowhere.csv", 2, "there is no such file"),
        Run("ingest alder-row readings.csv --point nothing", 2, "has no point 'nothing'"),
        Run("ingest alder-row readings.csv --anyway", says="were already stored"),
        Run(
            "ingest beech-end --undo",
            says="readings.csv",
            before=("site add beech.toml", "ingest beech-end readings.csv"),
        ),
    ],
    "export": [
        Run("export alder-row --out out.csv --from 2026-01-05 --to 2026-01-05", says="readings in out.csv"),
        Run("export alder-row --out out.txt", 2, "must end in"),
    ],
    "import": [
        Run(
            "import alder-row out.parquet",
            says="readings read",
            before=("export alder-row --out out.parquet",),
        ),
        Run("import alder-row readings.csv", says="readings read"),
    ],
    "move": [Run("move alder-row --to local --database x --token y --exact", 2, "are the same")],
    "set-aside list": [
        Run("set-aside list", says="2 held"),
        Run("set-aside list --site alder-row --last 1 --format json", says='"messages"'),
        Run("set-aside list --last 1", says="newest reason"),
    ],
    "set-aside retry": [
        Run("set-aside retry --site alder-row", says="still can't be read"),
        Run("set-aside retry", says="read"),
    ],
    "set-aside clear": [
        Run("set-aside clear --site beech-end", says="0 dead letters"),
        Run("set-aside clear", says="dead letters deleted"),
    ],
    "analyse": [
        Run("analyse alder-row", says="Alder Row"),
        Run("analyse alder-row --from 2026-01-05 --to 2026-01-06 --format json", says='"data_notices": []'),
    ],
    "report": [
        Run("report alder-row --month 2026-01 --out m.json", says="wrote m.json"),
        Run("report alder-row --winter-check --season 2026 --out w.html", says="wrote w.html"),
        Run("report alder-row --hand-over --out h.json", says="wrote h.json"),
        Run("report alder-row --out h.json", 2, "give one of"),
    ],
    "weather": [
        Run("weather alder-row station.csv", 2, "names no station"),
        Run("weather nowhere station.csv --format json", 2, "unknown site"),
    ],
    "expectations": [
        Run("expectations alder-row --out e.json", says="figures to e.json"),
        Run(
            "expectations alder-row --model expected-cycling --from 2026-01-05 --to 2026-01-06 --out e.html",
            says="e.html",
        ),
        Run("expectations alder-row --out e.png", 2, "must end in"),
    ],
    "advice": [
        Run("advice alder-row", says="Not advised"),
        Run("advice alder-row --format json", says='"left_out"'),
        Run("advice no-such-home", 2, "no-such-home"),
    ],
    "commissioned": [
        Run("commissioned alder-row", says="No values were kept yet"),
        Run("commissioned alder-row --format json", says='"values"'),
        Run("commissioned no-such-home", 2, "no-such-home"),
    ],
    "tuning": [
        Run("tuning alder-row", says="Nothing to change yet"),
        Run("tuning alder-row --format json", says='"settings"'),
        Run("tuning alder-row --made 2026-01-06", 2, "names no step"),
        Run("tuning no-such-home", 2, "no-such-home"),
    ],
    "design-feedback": [
        Run("design-feedback", says="No home has both"),
        Run("design-feedback --format json", says='"groups"'),
        Run("design-feedback --out d.csv", says="wrote d.csv"),
        Run("design-feedback --out d.txt", 2, "must end in .csv"),
    ],
    "cold-snap": [
        Run("cold-snap forecast.csv", says="Alder Row"),
        Run("cold-snap forecast.csv --format json", says='"coldest_c": -12.0'),
        Run("cold-snap readings.csv", 2, "time and outdoor_c"),
        Run("cold-snap", 2, "FIELDFARE_FORECAST_URL names its address"),
    ],
    "defect-pack": [
        Run(
            "defect-pack alder-row sensor_stuck --from 2026-01-05 --to 2026-01-08 --contact --out pack",
            says="files to pack",
        ),
        Run("defect-pack alder-row low_flow --out none", 2, "found there: sensor_stuck"),
    ],
    "answer": [
        Run("answer alder-row cold", says="Tomorrow:"),
        Run(
            "answer alder-row cold --zone house --hours 6-9 --since 2026-01-05 --from 2026-01-06 --to"
            " 2026-01-07",
            says="06:00 to 09:00",
        ),
        Run("answer alder-row noise --format json", says='"question": "noise"'),
        Run("answer alder-row cold --out a.html", says="wrote a.html"),
        Run("answer alder-row cold --hours six", 2, "write 22-6"),
        Run("answer alder-row cold --zone cellar", 2, "it has: house"),
        Run("answer alder-row cold --from 2031-01-01", 2, "lies outside"),
        Run("answer alder-row hot-water", says="makes no hot water"),
        Run(
            "answer alder-row bill --against year --billed-kwh 100 --billed-money 30 --visit-cost 90",
            1,
            "no year before",
        ),
        Run("answer alder-row bill --prices readings.csv", 2, "needs the columns time and price"),
    ],
    "fleet": [Run("fleet", says="alder-row"), Run("fleet --format json", says='"failed": false')],
    "check": [Run("check", says="no damage"), Run("check --format json", says='"damage": []')],
    "repair": [
        Run("repair data2", says="no readings are damaged"),
        Run("repair nowhere", 2, "no data folder with readings"),
        Run("repair --accept-rows", says="no readings are damaged"),
    ],
    "serve": [Run("serve --host 127.0.0.1 --port 0", says="host='127.0.0.1', port=0")],
    "collect": [
        Run("collect --broker mqtt://broker.example", says="broker.example"),
        Run("collect", 2, "no broker"),
    ],
    "demo": [Run("demo --once --sites 1 --port 0", says="'once': True")],
    "user add": [
        Run(
            "user add ann@heating.example --name Ann --role householder --site alder-row",
            says="ann@heating.example",
        ),
    ],
    "user list": [
        Run("user list", says="eve@heating", before=ADDED),
        Run("user list --format json", says='"people"'),
    ],
    "user invite": [Run("user invite eve@heating.example", says="sets a password", before=ADDED)],
    "user change": [
        Run(
            "user change eve@heating.example --name Eva --role householder --site alder-row",
            says="changed",
            before=ADDED,
        ),
        Run("user change eve@heating.example --stop", says="changed", before=ADDED),
        Run("user change eve@heating.example --let-in", says="changed", before=ADDED),
    ],
    "user reset-factors": [
        Run("user reset-factors eve@heating.example", says="removed 0 second factors", before=ADDED),
        Run("user reset-factors who@heating.example", 2, "nobody here has the e-mail"),
    ],
    "user remove": [Run("user remove eve@heating.example", says="removed", before=ADDED)],
}


def commands(group: click.Group, path: str = "") -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from commands(command, f"{path}{name} ")
        else:
            yield f"{path}{name}", command


TREE = dict(commands(root))


def test_every_command_has_a_run() -> None:
    assert set(TREE) == set(RUNS)


@pytest.mark.parametrize("path", TREE)
def test_every_option_is_given_in_a_run(path: str) -> None:
    given = " ".join(r.argv for r in RUNS.get(path, [])).split()
    for option in TREE[path].params:
        if isinstance(option, click.Option) and not option.hidden:  # the hidden one is the group's --data
            assert set(option.opts) & set(given), option.opts
            assert not option.secondary_opts or set(option.secondary_opts) & set(given), option.secondary_opts


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with four days of readings and two messages set aside."""
    folder = tmp_path_factory.mktemp("cli")
    (folder / "alder.toml").write_text(site_text(), encoding="utf-8")
    (folder / "beech.toml").write_text(site_text("beech-end", "Beech End"), encoding="utf-8")
    write_csv(folder / "readings.csv", readings(4))
    (folder / "forecast.csv").write_text(
        "time,outdoor_c\n2026-01-10T00:00:00+00:00,-2\n2026-01-11T00:00:00+00:00,-12\n", encoding="utf-8"
    )
    data = ["--data", str(folder / "data")]
    assert run([*data, "site", "add", str(folder / "alder.toml")]) == 0
    assert run([*data, "ingest", "alder-row", str(folder / "readings.csv")]) == 0
    shutil.copytree(folder / "data", folder / "data2")
    return folder


def aside(folder: Path) -> None:
    book = Journal(folder / "data")
    messages = [
        Message("fieldfare/alder-row/readings", f"junk {n}".encode(), 1_767_700_000_000 + n) for n in range(2)
    ]
    refused = [
        RefusedMessage(0, "alder-row", "older reason"),
        RefusedMessage(1, "alder-row", "newest reason"),
    ]
    dead_letters.clear(book)
    with book.writing() as db:
        dead_letters.keep(db, messages, refused, 100, 100_000)
    book.close()


OTHER_FORMATS = r"\b\d{4}-\d\d-\d\d|\d,\d{3}\b|[\xa0\u202f]|(?<![\w-])-\d"
"""ISO dates, commas between thousands, special spaces, hyphens as minus signs."""


@pytest.mark.parametrize("call", [r for runs in RUNS.values() for r in runs], ids=lambda r: r.argv)
def test_a_command_does_what_it_says(
    made: Path, call: Run, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(made)
    monkeypatch.setenv("FIELDFARE_DATA", str(made / "data"))
    for name in (
        "running.serve.serve",
        "running.collect.collect_until_stopped",
        "running.demo.run_demo",
    ):  # they run until they are stopped
        monkeypatch.setattr(f"fieldfare.api.{name}", stopped_at_once)
    if call.argv.startswith("set-aside"):
        aside(made)
    for earlier in call.before:
        run(earlier.split())
    capsys.readouterr()
    assert run(call.argv.split()) == call.code
    told = capsys.readouterr()
    assert call.says in told.out + told.err
    assert "Traceback" not in told.err
    if "json" in call.argv.split() and call.code == 0:
        json.loads(told.out)
    elif not call.argv.startswith(("site template", "site show", "site columns")):
        assert not re.findall(OTHER_FORMATS, told.out), "numbers and dates as on the pages"


def stopped_at_once(settings: Any, announce: Any, **more: Any) -> None:
    announce(f"{settings} {more}")


def test_damage_is_named_and_leaves_with_1(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    shutil.copytree(made / "data", data)
    (month,) = (data / "readings" / "sealed" / "alder-row").glob("*.parquet")
    month.write_bytes(month.read_bytes()[:-100])
    assert run(["--data", str(data), "check"]) == 1
    out = capsys.readouterr().out
    assert "alder-row: " in out
    assert month.name in out
    (data / "intake.sqlite").write_bytes(b"junk" * 5000)
    (data / "readings" / "hot.sqlite").unlink()
    assert run(["--data", str(data), "check", "--format", "json"]) == 1
    damage = " ".join(d["what"] for d in json.loads(capsys.readouterr().out)["damage"])
    assert "intake.sqlite: is no database" in damage
    assert "hot.sqlite: missing" in damage


@pytest.mark.parametrize("damage", ["cut", "gone", "flipped", "rewritten"])
def test_a_repair_brings_back_what_a_backup_holds(
    made: Path, tmp_path: Path, damage: str, capsys: pytest.CaptureFixture[str]
) -> None:
    data, backup = tmp_path / "data", tmp_path / "backup"
    shutil.copytree(made / "data", data)
    shutil.copytree(made / "data", backup)
    (month,) = (data / "readings" / "sealed" / "alder-row").glob("*.parquet")
    raw = month.read_bytes()
    if damage == "gone":
        month.unlink()
    else:
        month.write_bytes(raw[:300] + b"\1\2" + raw[302:] if damage == "flipped" else raw[:-100])
    if damage == "rewritten":  # the damaged file is kept beside a new one
        assert run(["--data", str(data), "ingest", "alder-row", str(later(tmp_path))]) == 0
    assert run(["--data", str(data), "check"]) == 1
    assert run(["--data", str(data), "repair", str(backup)]) == 0, capsys.readouterr()
    assert "readings restored" in capsys.readouterr().out
    assert run(["--data", str(data), "check"]) == 0
    assert run(["--data", str(data), "ingest", "alder-row", str(made / "readings.csv")]) == 0
    assert "0 readings stored, 34 560 were already stored" in capsys.readouterr().out


def test_a_repair_without_a_backup_works_facts_and_results_out_again(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    shutil.copytree(made / "data", data)
    command = ["--data", str(data)]
    assert run([*command, "analyse", "alder-row", "--format", "json"]) == 0
    before = capsys.readouterr().out
    with sqlite3.connect(data / "state.sqlite") as state:
        assert state.execute("UPDATE kept_results SET payload = x'00'").rowcount
        assert state.execute("UPDATE fact_chunks SET payload = substr(payload, 1, 60)").rowcount
    assert run([*command, "check"]) == 1
    capsys.readouterr()
    assert run([*command, "repair"]) == 0
    assert "will be recomputed" in capsys.readouterr().out
    assert run([*command, "check"]) == 0
    capsys.readouterr()
    assert run([*command, "analyse", "alder-row", "--format", "json"]) == 0
    assert capsys.readouterr().out == before
    (month,) = (data / "readings" / "sealed" / "alder-row").glob("*.parquet")
    month.unlink()
    assert run([*command, "repair"]) == 1
    assert "name the folder of a restored backup" in capsys.readouterr().out


def later(folder: Path) -> Path:
    """Readings of the same month, after those of the data folder, enough of them to have it written again."""
    return write_csv(folder / "later.csv", readings(4, START + timedelta(days=5)))


MAKES_DATA = {"site add", "user add", "serve", "collect", "demo"}
NEEDS_NONE = {"site template", "site columns"}


@pytest.mark.parametrize("command", sorted({*RUNS} - MAKES_DATA - NEEDS_NONE))
def test_a_folder_without_data_is_said_and_left_alone(
    made: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    command: str,
) -> None:
    monkeypatch.chdir(made)
    (tmp_path / "empty").mkdir()
    for folder in tmp_path / "nowhere", tmp_path / "empty":
        assert run(["--data", str(folder), *RUNS[command][0].argv.split()]) == 2
        said = capsys.readouterr().err
        assert said.startswith(f"fieldfare: {folder}: no data here; name the data folder with --data")
        assert said.count("\n") == 1
    assert [path.name for path in tmp_path.rglob("*")] == ["empty"]


@pytest.mark.parametrize("command", ["fleet", "check", "site list", "site add alder.toml"])
def test_readings_whose_state_is_lost_begin_nothing_anew(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    shutil.copytree(made / "data" / "readings", tmp_path / "data" / "readings")
    shutil.copyfile(made / "alder.toml", tmp_path / "alder.toml")
    words = command.replace("alder.toml", str(tmp_path / "alder.toml")).split()
    assert run(["--data", str(tmp_path / "data"), *words]) == (1 if command == "check" else 2)
    told = capsys.readouterr()
    assert "state.sqlite: missing" in told.out + told.err
    assert not (tmp_path / "data" / "state.sqlite").exists()


@pytest.mark.parametrize("command", ["fleet", "check", "visits", "design-feedback", "site list"])
def test_a_command_over_all_homes_says_that_there_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    """Nothing is whole, well or done where there is nothing."""
    with opened(Settings(data=tmp_path)):
        pass
    assert run(["--data", str(tmp_path), *command.split()]) == 0
    assert capsys.readouterr().out.strip() == NO_SITES
