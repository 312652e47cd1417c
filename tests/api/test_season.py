"""The first season: tuning steps as jobs, pages by role, commissioning values, design table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.tuning.steps import TuningStep
from fieldfare.api.checks.sheets import FieldChange, SheetKey
from fieldfare.api.core.commissioned import FIRST as SHEET
from fieldfare.api.core.commissioned import commissioned
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.tuning import log_step, tuning
from fieldfare.api.http.app import PREFIX
from fieldfare.api.people.access import Actor
from fieldfare.api.records.maintenance_log import Job, MaintenanceLog
from fieldfare.api.records.tuning_log import checked_step, is_step, key_of, step_of, steps_of
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.dashboards.advice.diary import household_line
from tests.api.web import OTHER, OWN, Web, make_web
from tests.benchmarks.tuning_cases import badly_set

KIM = Actor("kim@heating.example", "engineer", None)
DAY = date(2026, 1, 6)
CURVE = TuningStep(DAY, "heating_curve", (56.7, 34.5), (54.7, 32.5))
FIRST, DAYS = date(2023, 11, 1), 40


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    with opened(Settings(data=tmp_path_factory.mktemp("season"), workers=1)) as service:
        yield make_web(service)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A home whose curve is 8 K too hot, six weeks after its hand-over."""
    spec = badly_set(
        random_plant(2103, meter_set="rich", hot_water=True, control="compensation", emitter="radiator")
    )
    run = simulate(spec, FIRST, DAYS)
    with opened(Settings(data=tmp_path_factory.mktemp("tuned"), workers=1)) as service:
        service.sites.add([(run.site_toml, parse_site(run.site_toml))])
        service.store.append(spec.id, run.readings)
        yield service


@pytest.mark.parametrize(
    "step",
    [
        CURVE,
        TuningStep(DAY, "set_back", (4.0,), (0.0,)),
        TuningStep(DAY, "hot_water_setpoint", (55.0,), (53.5,)),
    ],
    ids=lambda s: s.code,
)
def test_a_step_is_its_key_and_back(step: TuningStep) -> None:
    key = key_of(step)
    assert len(key) <= 48, "the column of the log"
    assert is_step(key)
    assert step_of(DAY, key) == step


@pytest.mark.parametrize("key", [None, "", "short_cycling", "winter_check_2025", "tune:magic:1.0>2.0"])
def test_other_jobs_are_no_steps(key: str | None) -> None:
    assert step_of(DAY, key) is None


@pytest.mark.parametrize(
    ("code", "before", "after", "said"),
    [
        ("magic", [1.0], [2.0], "no setting"),
        ("set_back", [1.0], [1.04], "the same"),
        ("set_back", [1.0, 2.0], [2.0], "give 1 value"),
        ("heating_curve", [50.0], [48.0], "give 2 values"),
        ("heating_curve", [50.0, 30.0], [480.0, 30.0], "between 15 and 80"),
        ("set_back", [float("nan")], [2.0], "between 0 and 15"),
    ],
)
def test_a_slip_is_told_in_one_line(code: str, before: list[float], after: list[float], said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        checked_step(DAY, code, before, after)
    assert "\n" not in str(caught.value)


def test_a_step_still_to_come_is_refused() -> None:
    with pytest.raises(InputError, match="still to come"):
        checked_step(datetime.now(UTC).date() + timedelta(9), "set_back", [4.0], [2.0])


def test_a_corrected_job_stays_a_step(web: Web) -> None:
    service = web.parts.service
    works = MaintenanceLog(service)
    row = log_step(works, service.sites.get(OTHER).site, CURVE, KIM)
    assert "Heating curve: 56.7 to 54.7 °C" in row.what
    works.change(OTHER, row.id, Job(DAY + timedelta(1), "Curve lowered, in the morning"), KIM)
    works.add(OTHER, Job(DAY + timedelta(2), "Valve changed"), KIM)
    steps, others = steps_of(service.database, OTHER, DAY, DAY + timedelta(9))
    assert steps == [replace(CURVE, day=DAY + timedelta(1))]
    assert others == [DAY + timedelta(2)]


def test_steps_are_logged_by_api_and_page_and_stand_in_the_diary(web: Web) -> None:
    url = f"{PREFIX}/sites/{OWN}/tuning"
    body = {"day": "2026-01-06", "code": "set_back", "before": [4.0], "after": [2.0]}
    assert web["engineer"].post(url, json=body).status_code == 201
    wrong = web["engineer"].post(url, json=body | {"after": [99.0]})
    assert wrong.status_code == 422
    assert "between 0 and 15" in wrong.text
    entry = web["engineer"].get(url).json()["entries"][0]
    assert (entry["code"], entry["before"], entry["after"]) == ("set_back", [4.0], [2.0])
    assert entry["effect"]["reason"]
    page = web["engineer"].get(f"/sites/{OWN}/tuning")
    assert "Night set-back: 4 to 2 K" in page.text
    works = web["engineer"].get(f"/sites/{OWN}")
    assert "Night set-back: 4 to 2 K" in works.text, "it is a job of the home"


def test_a_household_reads_its_own_line_alone(web: Web) -> None:
    away = web["householder"].get(f"/sites/{OWN}/tuning", follow_redirects=False)
    assert (away.status_code, away.headers["Location"]) == (303, f"/sites/{OWN}/advice")
    told = web["householder"].get(f"{PREFIX}/sites/{OWN}/tuning").json()
    assert (told["next"], told["entries"], told["settings"]) == (None, [], [])
    home = web["householder"].get(f"/sites/{OWN}/commissioned", follow_redirects=False)
    assert (home.status_code, home.headers["Location"]) == (303, f"/sites/{OWN}/home")
    step = {"household": True, "to": [2.0], "now": [4.0], "back": True}
    assert household_line(step).startswith("This week: set your rooms 2 °C lower at night")
    assert household_line(step | {"household": False}) == ""
    assert household_line(None) == ""


def test_the_diary_of_a_badly_set_home_begins_with_its_curve(season: Service) -> None:
    plant = season.sites.get("plant-2103")
    told = tuning(season, plant)
    step = told["next"]
    assert told["state"] == "change"
    assert step["code"] == "heating_curve"
    assert all(0.0 <= now - to <= 2.05 for now, to in zip(step["now"], step["to"], strict=True))
    assert step["saves"]["low"] > 0.0
    assert tuning(season, plant, household=True)["next"] is None, "the curve is the firm's"
    made = TuningStep(FIRST + timedelta(DAYS - 3), step["code"], tuple(step["now"]), tuple(step["to"]))
    log_step(MaintenanceLog(season), plant.site, made, KIM)
    after = tuning(season, plant)
    assert after["state"] == "watch"
    assert after["next"] is None


def test_the_sheet_is_compared_with_the_readings(season: Service) -> None:
    from fieldfare.api.checks.photos import Photos
    from fieldfare.api.checks.sheets import Sheets

    plant = season.sites.get("plant-2103")
    assert commissioned(season, plant)["values"] == []
    nominal = plant.site.heat_pump.flow_m3_per_h
    assert nominal is not None
    typed = {("flow", "rate"): f"{3.0 * nominal:.2f}", ("m_heat_output", "reading"): "1"}
    sheets = Sheets(season, Photos(season.database, season.settings.data))
    now = datetime.now(UTC)
    changes = [
        FieldChange(f"{n:032d}", item, f"found.{found}", value, "", now)
        for n, ((item, found), value) in enumerate(typed.items())
    ]
    assert {o.told for o in sheets.apply(plant, SHEET, changes, KIM)} == {"kept"}
    rows = {(r["item"], r["found"]): r for r in commissioned(season, plant)["values"]}
    flow = rows[("flow", "rate")]
    assert flow["differs"] is True
    assert flow["change"] < 0
    assert "low_flow" in flow["findings"]
    old, new = (
        [FieldChange(f"{n:032d}", "m_heat_output", "found.serial", serial, "", now)]
        for n, serial in ((90, "4711-A"), (91, "4712"))
    )
    sheets.apply(plant, SHEET, old, KIM)
    assert sheets.apply(plant, SheetKey("service", "2024"), new, KIM)[0].told == "kept"
    rows = {(r["item"], r["found"]): r for r in commissioned(season, plant)["values"]}
    serial = rows[("m_heat_output", "serial")]
    assert (serial["differs"], serial["noted"]) == (True, "4712")
    job = Job(now.date(), "Heat meter exchanged.", parts="Heat meter, serial 4713")
    MaintenanceLog(season).add("plant-2103", job, KIM)
    rows = {(r["item"], r["found"]): r for r in commissioned(season, plant)["values"]}
    assert rows[("m_heat_output", "serial")]["noted"] == "4713"
    reading = rows[("m_heat_output", "reading")]
    assert reading["today"] is not None
    assert reading["differs"] is False


def test_the_design_table_is_the_firm_s(web: Web) -> None:
    table = web["engineer"].get("/learning/design.csv")
    assert table.headers["content-type"].startswith("text/csv")
    assert table.text.startswith("quantity,grouping,building_kind")
    assert web["householder"].get("/learning/design.csv").status_code == 403
    assert "by_building" in web["engineer"].get(f"{PREFIX}/fleet/learning").json()
