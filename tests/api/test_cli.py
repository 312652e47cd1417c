"""The command: every exit code, its message, and what it prints, through its entry point."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fieldfare.analysis.plant.load import parse_kept_site
from fieldfare.api.cli.entry import run
from tests.api.sites import readings, site_text, write_csv
from tests.services import influx

COMMAND = [sys.executable, "-c", "from fieldfare.api.cli import main; main()"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FIELDFARE_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "alder.toml").write_text(site_text(), encoding="utf-8")
    (tmp_path / "cut.toml").write_text('[site]\nid = "elm', encoding="utf-8")
    return tmp_path


@pytest.fixture
def with_site(folder: Path) -> Path:
    assert run(["site", "add", "alder.toml"]) == 0
    return folder


@pytest.fixture
def with_data(with_site: Path) -> Path:
    write_csv(with_site / "readings.csv", readings())
    assert run(["ingest", "alder-row", "readings.csv"]) == 0
    return with_site


@pytest.mark.parametrize(
    "words",
    [
        ["--data", "other", "site", "list"],
        ["site", "list", "--data", "other"],
        ["--data", "data", "site", "list", "--data", "other"],
    ],
)
def test_the_folder_is_named_before_or_after_the_command(
    with_site: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["site", "add", "alder.toml", "--data", "other"]) == 0
    assert run(["site", "remove", "alder-row"]) == 0
    capsys.readouterr()
    assert run(words) == 0
    assert "alder-row" in capsys.readouterr().out
    assert run(["site", "list"]) == 0
    assert "alder-row" not in capsys.readouterr().out


def test_help_comes_before_anything_heavy_is_loaded() -> None:
    done = subprocess.run([*COMMAND, "--help"], capture_output=True, text=True, check=True)
    assert "ingest" in done.stdout
    listing = subprocess.run(
        [sys.executable, "-X", "importtime", *COMMAND[1:], "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in listing.stderr.splitlines()}
    assert not loaded & {"pandas", "numpy", "pyarrow", "sqlalchemy", "fastapi", "pydantic", "scipy"}


def test_every_command_has_help(capsys: pytest.CaptureFixture[str]) -> None:
    from fieldfare.api.cli.root import root

    def walk(group: object, path: tuple[str, ...]) -> None:
        for name, command in getattr(group, "commands", {}).items():
            assert command.help, f"{' '.join((*path, name))} has no help"
            assert run([*path, name, "--help"]) == 0
            walk(command, (*path, name))

    walk(root, ())
    assert "Traceback" not in capsys.readouterr().err


def test_the_template_parses_and_names_every_key(capsys: pytest.CaptureFixture[str]) -> None:
    from pydantic import BaseModel

    from fieldfare.analysis.plant import site as plant
    from fieldfare.analysis.plant.load import parse_site

    assert run(["site", "template"]) == 0
    text = capsys.readouterr().out
    assert parse_site(text).id == "my-site"
    for model in vars(plant).values():
        if isinstance(model, type) and issubclass(model, BaseModel) and model.__module__ == plant.__name__:
            for name, field in model.model_fields.items():
                assert (field.alias or name) in text, f"{model.__name__}.{name} is not in the template"


def test_a_site_is_added_updated_listed_shown_and_removed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["site", "add", "alder.toml"]) == 0
    assert capsys.readouterr().out.startswith("added alder-row")
    (folder / "alder.toml").write_text(site_text(name="New Name"), encoding="utf-8")
    assert run(["site", "add", "alder.toml"]) == 0
    assert capsys.readouterr().out.startswith("updated alder-row")
    assert run(["site", "list", "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["sites"][0]["name"] == "New Name"
    assert run(["site", "show", "alder-row"]) == 0
    assert capsys.readouterr().out == site_text(name="New Name")
    assert run(["site", "remove", "alder-row"]) == 0
    assert run(["site", "show", "alder-row"]) == 2


@pytest.mark.parametrize("site", ["--", "-rf", "-"])
def test_an_id_that_reads_as_an_option_is_refused(
    tmp_path: Path, site: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "home.toml").write_text(site_text(site, "Home"), encoding="utf-8")
    assert run(["--data", str(tmp_path / "data"), "site", "add", str(tmp_path / "home.toml")]) == 2
    told = capsys.readouterr().err
    assert len(told.splitlines()) == 1
    assert "site.id" in told


@pytest.mark.parametrize("source", ["brine", "water"])
def test_a_source_that_no_figure_knows_is_refused_in_one_line(
    folder: Path, source: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = site_text().replace("[heat_pump]\n", f'[heat_pump]\nsource = "{source}"\n', 1)
    (folder / "alder.toml").write_text(text, encoding="utf-8")
    assert run(["site", "add", "alder.toml"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("fieldfare: alder.toml: ")
    assert len(said.splitlines()) == 1
    assert f"heat_pump.source: '{source}' is not supported" in said
    assert "only air-source units can be added" in said
    assert parse_kept_site(text).heat_pump.source == source, "a file of an earlier release is still read"


def test_one_wrong_site_file_refuses_them_all(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = site_text("beech-end").replace('quantity = "flow_temperature"', 'quantity = "flow_temperatur"')
    (folder / "beech.toml").write_text(wrong, encoding="utf-8")
    assert run(["site", "add", "alder.toml", "beech.toml"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("fieldfare: beech.toml: ")
    assert "flow_temperature" in said
    assert not (folder / "data").exists()


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["site", "add", "nowhere.toml"], "nowhere.toml: No such file"),
        (["site", "show", "elm"], "unknown site 'elm'; known: alder-row"),
        (["analyse", "elm"], "unknown site 'elm'"),
        (["analyse", "alder-row"], "alder-row has no readings yet"),
        (["analyse", "alder-row", "--from", "May"], "'May' is not a date"),
        (["ingest", "alder-row", "nowhere.csv"], "nowhere.csv"),
        (["ingest", "alder-row"], "missing argument"),
        (["report", "alder-row", "--out", "x.pdf"], "give one of --month"),
        (["report", "alder-row", "--month", "2026-13", "--out", "x.json"], "is not a month"),
        (["import", "alder-row", "nowhere.parquet"], "nowhere.parquet: there is no such file"),
        (["import", "alder-row", "."], ".: is a folder"),
        (["site", "add", "cut.toml"], "cut.toml: TOML: unterminated string at the end of the file"),
        (["collect"], "no broker is configured"),
        (["analyze"], "no such command"),
        (["export", "alder-row", "--out", "x.xls"], "must end in"),
        (["user", "invite", "kim@heating.example"], "nobody here has the e-mail"),
        (["user", "add", "kim", "--name", "Kim", "--role", "engineer"], "is not an e-mail address"),
    ],
)
def test_bad_usage_and_bad_input_leave_with_2_and_one_line(
    with_site: Path, capsys: pytest.CaptureFixture[str], argv: list[str], said: str
) -> None:
    capsys.readouterr()
    assert run(argv) == 2
    err = capsys.readouterr().err
    first = err.splitlines()[0]
    assert first.startswith("fieldfare: ")
    assert said in first
    assert "Traceback" not in err


@pytest.mark.parametrize("group", ["site", "user", "set-aside"])
def test_a_group_without_a_command_lists_its_commands(
    folder: Path, capsys: pytest.CaptureFixture[str], group: str
) -> None:
    assert run([group]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"Usage: fieldfare {group} ")
    assert "\nCommands:\n" in err


def test_a_month_without_readings_names_those_that_have_some(
    with_data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["report", "alder-row", "--month", "2031-01", "--out", "x.json"]) == 2
    err = capsys.readouterr().err
    assert "alder-row has no readings in 2031-01; it has readings from 2026-01-" in err


def test_check_counts_in_plain_words(with_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check"]) == 0
    assert "1 site: no damage" in capsys.readouterr().out


def test_two_sites_of_one_id_in_one_go_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "again.toml").write_text(site_text(), encoding="utf-8")
    assert run(["site", "add", "alder.toml", "again.toml"]) == 2
    assert "each site needs its own id" in capsys.readouterr().err


def test_ingest_tells_what_it_read_and_twice_stores_nothing(
    with_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = readings(1)
    write_csv(with_site / "r.csv", found)
    capsys.readouterr()
    assert run(["ingest", "alder-row", "r.csv", "--format", "json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert first["rows"] == 1440
    assert first["readings"] == 1440 * len(found)
    assert first["rejected"] == {"count": 0, "reasons": {}, "examples": {}, "file": None}
    assert first["from"].startswith("2026-01-05T00:00")
    assert run(["ingest", "alder-row", "r.csv", "--format", "json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert (again["readings"], again["duplicates"]) == (0, 1440 * len(found))


def test_rejected_rows_leave_with_3_and_a_file(with_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_csv(with_site / "r.csv", readings(1))
    text = (with_site / "r.csv").read_text(encoding="utf-8").splitlines()
    text[7] = "yesterday," + text[7].split(",", 1)[1]
    (with_site / "r.csv").write_text("\n".join(text), encoding="utf-8")
    capsys.readouterr()
    assert run(["ingest", "alder-row", "r.csv", "--format", "json"]) == 3
    out = capsys.readouterr()
    told = json.loads(out.out)
    assert told["rejected"]["count"] == 1
    assert "8" in Path(told["rejected"]["file"]).read_text(encoding="utf-8")
    assert out.err == ""


def test_of_several_files_a_wrong_one_stores_nothing(
    with_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_csv(with_site / "good.csv", readings(1))
    (with_site / "bad.csv").write_text("moment;x\n1;2\n", encoding="utf-8")
    assert run(["ingest", "alder-row", "good.csv", "bad.csv"]) == 2
    assert "bad.csv" in capsys.readouterr().err
    assert run(["site", "list", "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["sites"][0]["from"] is None


def test_several_files_are_summed(with_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from datetime import timedelta

    from tests.api.sites import START

    write_csv(with_site / "a.csv", readings(1))
    write_csv(with_site / "b.csv", readings(1, START + timedelta(days=1)))
    capsys.readouterr()
    assert run(["ingest", "alder-row", "a.csv", "b.csv", "--format", "json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["rows"] == 2880
    assert [f["rows"] for f in told["files"]] == [1440, 1440]
    assert (told["from"][:10], told["to"][:10]) == ("2026-01-05", "2026-01-06")


def test_analyse_prints_one_json_document_without_nan(
    with_data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert run(["analyse", "alder-row", "--format", "json"]) == 0
    out = capsys.readouterr().out
    result = json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} in the result"))
    assert result["site"] == "alder-row"
    assert result["period"] == {"from": "2026-01-05", "to": "2026-01-08", "timezone": "Europe/London"}
    # 40 minutes of each hour at 1500 W and 20 at 12 W, four days: 96 x (1.0 + 0.004) kWh.
    assert result["energy"]["electricity_kwh"]["total"] == pytest.approx(96 * 1.004, rel=1e-3)


def test_analyse_keeps_to_the_period(with_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    argv = ["analyse", "alder-row", "--from", "2026-01-06", "--to", "2026-01-07", "--format", "json"]
    assert run(argv) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["energy"]["electricity_kwh"]["total"] == pytest.approx(48 * 1.004, rel=1e-3)
    assert run(["analyse", "alder-row", "--from", "2026-01-07", "--to", "2026-01-06"]) == 2
    assert "ends before it starts" in capsys.readouterr().err


def test_analyse_as_text_says_what_the_json_says(with_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert run(["analyse", "alder-row"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Alder Row: 5 Jan 2026 to 8 Jan 2026")
    assert "electricity, total" in out
    assert "None" not in out
    assert "nan" not in out


def test_fleet_lists_every_site(with_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (with_data / "beech.toml").write_text(site_text("beech-end", "Beech End"), encoding="utf-8")
    assert run(["site", "add", "beech.toml"]) == 0
    capsys.readouterr()
    assert run(["fleet", "--format", "json"]) == 0
    rows = {row["id"]: row for row in json.loads(capsys.readouterr().out)["sites"]}
    assert rows["beech-end"]["reason"] == "no readings yet"
    assert rows["alder-row"]["reason"] is None
    assert run(["fleet"]) == 0
    assert "no readings yet" in capsys.readouterr().out


def test_export_can_be_read_back_in(with_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["export", "alder-row", "--out", "out.csv"]) == 0
    capsys.readouterr()
    assert run(["ingest", "alder-row", "out.csv", "--format", "json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["readings"], told["duplicates"]) == (0, 4 * 1440 * 6)


def test_the_month_as_json_holds_its_result(with_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["report", "alder-row", "--month", "2026-01", "--out", "m.json"]) == 0
    paper = json.loads((with_data / "m.json").read_text(encoding="utf-8"))
    assert paper["result"]["period"]["from"] == "2026-01-01"
    assert paper["month_before"] is None
    assert run(["report", "alder-row", "--month", "2025-01", "--out", "m.json"]) == 2


def test_an_internal_error_leaves_with_1_and_is_logged(
    with_site: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("the moon fell")

    monkeypatch.setattr("fieldfare.api.core.sites.Sites.file", broken)
    assert run(["site", "show", "alder-row"]) == 1
    err = capsys.readouterr().err
    assert err.startswith("fieldfare: internal error: RuntimeError: the moon fell")
    assert len(err.splitlines()) == 1
    assert "the moon fell" in (with_site / "data" / "fieldfare.log").read_text(encoding="utf-8")


def test_nobody_reading_on_is_no_fault(with_data: Path) -> None:
    done = subprocess.run(
        f"{' '.join(map(_quoted, COMMAND))} analyse alder-row --format json | head -c 5",
        shell=True,
        capture_output=True,
        text=True,
        check=True,
        cwd=with_data,
        env=_env(),
    )
    assert done.stderr == ""


def test_a_data_folder_that_is_a_file_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "data").write_text("x", encoding="utf-8")
    assert run(["site", "list"]) == 2
    assert "data folder" in capsys.readouterr().err


def test_people_are_added_listed_changed_and_removed(
    with_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    boss = ["user", "add", "boss@heating.example", "--name", "Boss", "--role", "installer"]
    assert run(boss) == 0
    assert "/welcome/" in capsys.readouterr().out
    assert run(boss) == 2
    assert "already has an account" in capsys.readouterr().err
    kim = ["user", "add", "kim@home.example", "--name", "Kim", "--role", "householder", "--site", "alder-row"]
    assert run(kim) == 0
    capsys.readouterr()
    assert run(["user", "list", "--format", "json"]) == 0
    people = {p["email"]: p for p in json.loads(capsys.readouterr().out)["people"]}
    assert people["kim@home.example"]["sites"] == ["alder-row"]
    assert run(["user", "change", "kim@home.example", "--stop"]) == 0
    assert run(["user", "remove", "boss@heating.example"]) == 2
    assert "no installer would be left" in capsys.readouterr().err
    assert run(["user", "remove", "kim@home.example"]) == 0


def _quoted(text: str) -> str:
    import shlex

    return shlex.quote(text)


def _env() -> dict[str, str]:
    root = str(Path(__file__).parents[2])
    return {**os.environ, "PYTHONPATH": root}


def test_an_export_comes_back_in_and_a_fleet_moves_to_a_server_and_back(
    with_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("all.parquet", "all.csv"):
        assert run(["export", "alder-row", "--out", name]) == 0
        written = capsys.readouterr().out.splitlines()[-1].partition(" readings in")[0]
        assert int(written.replace(" ", "")) > 1000
        assert run(["import", "alder-row", name]) == 0
        assert f"{written} readings read: 0 stored, {written} were already stored" in capsys.readouterr().out
    assert run(["--data", "other", "site", "add", "alder.toml"]) == 0
    assert run(["--data", "other", "import", "alder-row", "all.parquet"]) == 0
    assert f"{written} stored, 0 were already stored" in capsys.readouterr().out
    assert run(["import", "alder-row", "alder.toml"]) == 2
    assert run(["move", "--to", "local"]) == 2
    assert "the same" in capsys.readouterr().err
    with influx(tmp_path) as server:
        server.create("fleet")
        assert run(["move", "--to", server.url, "--database", "fleet"]) == 0
        line = f"alder-row: {written} readings, {written} stored, 0 were already stored, equal"
        assert line in capsys.readouterr().out
        monkeypatch.setenv("FIELDFARE_STORE_URL", server.url)
        monkeypatch.setenv("FIELDFARE_STORE_DATABASE", "fleet")
        assert run(["--data", "third", "site", "add", "alder.toml"]) == 0
        assert run(["--data", "third", "move", "alder-row", "--to", "local"]) == 0
        assert f"{written} stored, 0 were already stored, equal" in capsys.readouterr().out
