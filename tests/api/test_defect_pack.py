"""Defect packs: complete, verifiable by third parties, without personal data, for the firm only."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import runpy
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts, no_rows
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.cli.entry import run
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.records import defect_pack
from fieldfare.api.records.defect_pack import SUMS, Case, case_of, write_to
from fieldfare.api.records.defect_recipe import NAME, recipe_for
from fieldfare.api.records.defect_tables import PointFiles, event_rows, write_table
from fieldfare.collector.simulated.design.spec import Household
from fieldfare.collector.simulated.plant import random_plant, simulate, with_fault
from fieldfare.dashboards.papers import NoPdf
from tests.api.web import OWN, Web, make_web

MOST_LINES = 10  # of a recipe that somebody copies by hand

HOME, CODE = "elm-court", "excessive_defrost"
PHONE = "+44 1632 960100"
FIRST, DAYS = date(2025, 1, 1), 40


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A simulated home that lacks refrigerant, with contact data and a comment in its file."""
    spec = random_plant(4101, "continental", "rich", every_s=60, hot_water=True)
    household = Household("A. Elm", PHONE, "1 Elm Court, Exampleton", 47.0, 8.0, None)
    spec = replace(spec, id=HOME, name="Elm Court", contact=household)
    ran = simulate(with_fault(spec, CODE, "low_refrigerant_symptom", "gross"), FIRST, DAYS)
    text = f"# ring A. Elm on {PHONE}\n{ran.site_toml}"
    with opened(Settings(data=tmp_path_factory.mktemp("pack"), workers=1)) as made:
        made.sites.add([(text, parse_site(text))])
        made.store.append(HOME, ran.readings)
        yield made


@pytest.fixture(scope="module")
def case(service: Service) -> Case:
    return case_of(service, service.sites.get(HOME), CODE)


@pytest.fixture(scope="module")
def folder(service: Service, case: Case, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "pack"
    write_to(service, case, out)
    return out


def midnight_after(case: Case) -> int:
    """End of the case's last day [ms]."""
    return local_midnight(case.site, case.facts.days.day(-1) + timedelta(1))


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_file_is_listed_with_its_checksum(folder: Path) -> None:
    sums = dict(reversed(line.split("  ", 1)) for line in (folder / SUMS).read_text().splitlines())
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert sums.keys() == there - {SUMS}
    for name, told in sums.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == told, name
    listed = json.loads((folder / "manifest.json").read_text())
    assert {f["file"]: f["sha256"] for f in listed["files"]} == {
        k: v for k, v in sums.items() if k != "manifest.json"
    }
    assert (listed["site"], listed["finding"], listed["timezone"]) == (HOME, CODE, "Europe/Zurich")
    assert listed["software"].startswith("fieldfare ")
    assert listed["method"]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="no sha256sum here")
def test_the_command_in_the_readme_checks_it(folder: Path) -> None:
    assert "sha256sum -c SHA256SUMS" in (folder / "README.txt").read_text()
    assert subprocess.run(["sha256sum", "--quiet", "-c", SUMS], cwd=folder, check=False).returncode == 0


def test_the_readme_s_lines_give_what_it_says(folder: Path) -> None:
    """The stranger's way: copy the lines of the README, run them, compare with what it says."""
    text = (folder / "README.txt").read_text()
    block = text.split("python recompute.py\n")[1].split("It should give")[0]
    lines = [line[6:] for line in block.splitlines() if line.startswith("      ")]
    assert 3 < len(lines) <= MOST_LINES
    assert "\n".join(lines) + "\n" == (folder / NAME).read_text()
    printed = subprocess.run(
        [sys.executable, NAME], cwd=folder, capture_output=True, text=True, check=True
    ).stdout
    told = re.search(r"It should give ([\d.]+) min\. The software has ([\d.]+) min", text)
    assert told is not None
    assert float(printed) == pytest.approx(float(told[1]), rel=1e-3)
    figure = next(r for r in rows(folder / "figures.csv") if r["name"] == "defrost.median_minutes")
    assert float(told[2]) == pytest.approx(float(figure["value"]), rel=1e-3)


@pytest.mark.parametrize(
    "code",
    [
        CODE,
        "efficiency_below_expected",
        "short_cycling",
        pytest.param("slow_reheat", marks=pytest.mark.slow),
        pytest.param("room_below_target", marks=pytest.mark.slow),
        "pressure_low",
        pytest.param("immersion_use", marks=pytest.mark.slow),
        "data_gap",
    ],
)
def test_each_recipe_recomputes_the_software_s_figure(
    service: Service,
    case: Case,
    tmp_path: Path,
    code: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Heat and electricity from totals, rooms and pressure from gauges, events from the table."""
    files = PointFiles()
    for point in case.site.point:
        files.add(point, HOME, point.id)
    files.write(tmp_path, service.store, 0, midnight_after(case))
    write_table(tmp_path / "events.csv", defect_pack.EVENTS, event_rows(case.site, case.facts))
    names = {k: f.name for k, f in files.files.items()}
    counts = {k: f.count for k, f in files.files.items()}
    recipe = recipe_for(case.site, case.result, case.facts, code, names, counts)
    assert len(recipe.lines) <= MOST_LINES
    (tmp_path / NAME).write_text(recipe.text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    runpy.run_path(NAME, run_name="__main__")
    assert float(capsys.readouterr().out) == pytest.approx(recipe.own, rel=0.005), recipe


def test_readings_are_as_they_are_stored(service: Service, folder: Path, case: Case) -> None:
    points = {r["point"]: r for r in rows(folder / "points.csv")}
    assert {"heat_pump_electricity", "outdoor_temperature"} <= {r["quantity"] for r in points.values()}
    for name, about in points.items():
        stored = service.store.read(HOME, [name])[name].between(0, midnight_after(case))
        read = pd.read_csv(folder / about["file"], dtype={"text": str}, keep_default_na=False)
        assert list(read.columns) == ["time_utc", "value", "text", "unit", "meter_class"]
        times = pd.to_datetime(read["time_utc"], utc=True).dt.as_unit("ms").astype("int64")
        assert np.array_equal(times, stored.time), name
        assert np.array_equal(read["value"].astype(float), stored.value.astype(float)), name
        assert set(read["unit"]) == {about["unit"]}
        assert int(about["readings"]) == len(read)
        assert about["site_zone"] == "Europe/Zurich"
    classes = {r["meter_class"] for r in points.values() if "electricity" in r["quantity"]}
    assert any(c.endswith("(EN 50470)") for c in classes)
    modes = rows(folder / points["mode"]["file"]) if "mode" in points else []
    assert {r["text"] for r in modes} <= {"off", "heating", "hot_water", "defrost", "cooling"}


def test_evidence_names_its_limits_and_sources(folder: Path) -> None:
    limited = [r for r in rows(folder / "evidence.csv") if r["limit_name"]]
    assert limited
    limits = {r["name"]: r for r in rows(folder / "limits.csv")}
    for r in limited:
        assert len(r["source"]) > 10
        assert limits[r["limit_name"]]["source"] == r["source"]


def test_what_else_could_explain_it_is_told_with_its_state(folder: Path, case: Case) -> None:
    found = {(r["kind"], r["code"]): r for r in rows(folder / "alternatives.csv")}
    assert found["cause", "low_refrigerant_symptom"]["state"] == "named"
    assert found["cause", "insufficient_defrost_heat"]["state"] in ("named", "not_named")
    assert found["finding", "low_flow"]["state"] in ("not_found", "open")
    assert found["meter", "sensor_stuck"]["state"] == "not_found"
    there = {f["code"] for f in case.result["findings"]}
    for (kind, code), row in found.items():
        if kind in ("finding", "meter"):
            assert (row["state"] == "found") == (code in there), code


@pytest.fixture
def without_pdf(monkeypatch: pytest.MonkeyPatch) -> None:
    """No renderer is here; printing takes a second and more."""

    def none(page: str) -> bytes:
        raise NoPdf("A PDF needs what is not here.")

    monkeypatch.setattr("fieldfare.dashboards.papers.pdf.print_pdf", none)


def test_contact_and_comments_stay_at_home_unless_asked(
    service: Service, case: Case, folder: Path, tmp_path: Path, without_pdf: None
) -> None:
    for path in folder.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert PHONE.encode() not in content, path
            assert b"Exampleton" not in content, path
    assert parse_site((folder / "site.toml").read_text()).contact is None
    write_to(service, case, tmp_path / "with", contact=True)
    asked = parse_site((tmp_path / "with" / "site.toml").read_text())
    assert asked.contact is not None
    assert asked.contact.phone == PHONE
    assert "# ring" not in (tmp_path / "with" / "site.toml").read_text()


def test_the_paper_claims_no_proof_and_says_who_may_open_what(
    service: Service, case: Case, tmp_path: Path, without_pdf: None
) -> None:
    pack = write_to(service, case, tmp_path / "pack")
    assert "paper.html instead" in pack.note
    page = (tmp_path / "pack" / "paper.html").read_text()
    assert "The readings are consistent with this" in page
    assert "Readings alone prove no defect" in page
    assert not re.search(r"\b(is|are) (defective|faulty|broken)\b|\bproves\b", page)
    assert "refrigerant circuit is for people licensed" in page
    assert "mains work is for people licensed" in page
    assert "paper.html" in (tmp_path / "pack" / "README.txt").read_text()


def test_a_text_that_a_spreadsheet_could_run_is_escaped(tmp_path: Path) -> None:
    write_table(tmp_path / "t.csv", ("a", "b"), [{"a": "=cmd|' /C calc'!A0", "b": ["-1", "+2"]}])
    [row] = rows(tmp_path / "t.csv")
    assert row["a"].startswith("'=")
    assert row["b"].startswith("'-1")


def test_events_carry_the_fault_codes_reported_meanwhile() -> None:
    site = parse_site('[site]\nid = "elm"\nname = "Elm"\ntimezone = "Europe/London"\n')
    day, minute = np.datetime64("2026-01-05T00:00:00.000000"), 60_000
    start = 1767571200000  # 2026-01-05T00:00Z
    rest = Table(
        {"day": [day], "start": [start], "end": [start + 90 * minute], "minutes": [90], "kind": ["unit"]}
    )
    fault = Table(
        {
            "day": [day],
            "start": [start + minute],
            "end": [start + 5 * minute],
            "minutes": [4],
            "code": ["=H62"],
        }
    )
    facts = Facts(no_rows(), no_rows(), no_rows(), no_rows(), no_rows(), rest, fault)
    told = {e["kind"]: e for e in event_rows(site, facts)}
    assert told["rest"]["fault_codes"] == ["=H62"]
    assert told["rest"]["end_utc"] == "2026-01-05T01:30:00Z"
    assert told["fault"]["start_local"] == "2026-01-05T00:01+00:00"


@pytest.mark.parametrize("points", [("a:b", "a;b", "A-B"), ("..", "x/y", "x-y")])
def test_files_of_points_have_names_of_their_own(points: tuple[str, ...]) -> None:
    site = parse_site(
        '[site]\nid = "elm"\nname = "Elm"\ntimezone = "UTC"\n[[point]]\nid = "x"\nquantity = "flow_rate"\n'
    )
    files = PointFiles()
    for name in points:
        files.add(site.point[0].model_copy(update={"id": name}), "elm", name)
    names = [f.name.lower() for f in files.files.values()]
    assert len(set(names)) == len(points)
    assert all(re.fullmatch(r"readings/[a-z0-9_-][a-z0-9_.-]*\.csv", name) for name in names)


def test_a_finding_that_is_not_there_names_those_that_are(service: Service) -> None:
    record = service.sites.get(HOME)
    with pytest.raises(InputError, match=rf"has no finding 'low_flow' .* found there: .*{CODE}"):
        case_of(service, record, "low_flow")
    with pytest.raises(InputError, match=r"no readings|no finding"):
        case_of(service, record, CODE, date(2020, 1, 1), date(2020, 2, 1))


def test_the_command_writes_all_or_nothing(
    service: Service, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = ["--data", str(service.settings.data), "defect-pack", HOME]
    assert run([*data, CODE, "--out", str(tmp_path / "a"), "--from", str(FIRST), "--to", "2025-02-05"]) == 0
    assert "1 Jan 2025 to 5 Feb 2025" in capsys.readouterr().out
    assert run([*data, CODE, "--out", str(tmp_path / "a")]) == 2
    assert "must be a new or an empty folder" in capsys.readouterr().err
    assert run([*data, "short_cycling", "--out", str(tmp_path / "b")]) == 2
    assert run([*data, CODE, "--out", str(tmp_path / "no" / "c")]) == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a"]


@pytest.fixture(scope="module")
def web(service: Service) -> Web:
    return make_web(service)


@pytest.mark.parametrize("role", ["installer", pytest.param("engineer", marks=pytest.mark.slow)])
def test_the_firm_downloads_it(web: Web, role: str) -> None:
    page = web[role].get(f"/sites/{HOME}/findings/{CODE}/pack")
    assert page.status_code == 200
    assert "Download the pack" in page.text
    assert "consistent with" in page.text
    sent = web[role].get(f"/api/v1/sites/{HOME}/findings/{CODE}/pack")
    assert sent.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(sent.content)) as archive:
        names = archive.namelist()
        assert f"{HOME}-{CODE}/README.txt" in names
        assert archive.testzip() is None
        assert PHONE.encode() not in b"".join(archive.read(n) for n in names)


def test_a_card_leads_to_its_pack(web: Web) -> None:
    page = web["engineer"].get(f"/sites/{HOME}").text
    assert f'href="/sites/{HOME}/findings/{CODE}/pack"' in page


@pytest.mark.parametrize("role", ["householder", "link", "device", "nobody"])
def test_nobody_else_gets_it(web: Web, role: str) -> None:
    for path in (f"/sites/{OWN}/findings/{CODE}/pack", f"/api/v1/sites/{OWN}/findings/{CODE}/pack"):
        assert web[role].get(path, follow_redirects=False).status_code in (303, 401, 403)
    for path in (f"/sites/{HOME}/findings/{CODE}/pack", f"/api/v1/sites/{HOME}/findings/{CODE}/pack"):
        assert web[role].get(path, follow_redirects=False).status_code in (303, 401, 403, 404)


def test_days_without_the_finding_are_told_on_the_page(web: Web) -> None:
    page = web["installer"].get(f"/sites/{HOME}/findings/low_flow/pack")
    assert page.status_code == 422
    assert "has no finding" in page.text
    assert "Download the pack" not in page.text
    wrong = web["installer"].get(f"/sites/{HOME}/findings/{CODE}/pack?from=soon")
    assert wrong.status_code == 422
    assert "must be a day" in wrong.text
