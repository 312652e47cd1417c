"""Commissioned against today: a simulated home with known values, unchanged and changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.commissioned.compare import BY_HAND, NOT_NOTED, Noted, Register, compared, hand_half
from fieldfare.analysis.commissioned.serials import serials_in
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import items_for
from fieldfare.analysis.tuning.steps import TuningStep
from fieldfare.collector.simulated.design.spec import PlantSpec
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.dashboards.checks.commissioned import present_commissioned
from fieldfare.dashboards.checks.lists import built_in, filled

FIRST, DAYS = date(2024, 1, 1), 35


@pytest.fixture(scope="module")
def home() -> tuple[PlantSpec, Site, Facts]:
    spec = random_plant(2104, meter_set="rich", hot_water=True, control="compensation", emitter="radiator")
    run = simulate(spec, FIRST, DAYS)
    site = parse_site(run.site_toml)
    return spec, site, build_facts(site, run.readings, FIRST, FIRST + timedelta(DAYS - 1))


def sheet(site: Site, values: dict[tuple[str, str], str]) -> list[dict[str, Any]]:
    """A commissioning sheet with these values in it."""
    return [
        filled(
            item,
            site,
            {
                "state": "done",
                "at": "2024-01-01T10:00:00+00:00",
                "values": {f.id: values[(item.id, f.id)] for f in item.found if (item.id, f.id) in values},
            },
        )
        for item in items_for(built_in(), "commissioning", site)
    ]


def handed_over(spec: PlantSpec) -> dict[tuple[str, str], str]:
    """What a careful person would have read of this plant, by the simulator's own settings."""
    curve, water = spec.control.curve, spec.hot_water
    assert water is not None
    return {
        ("flow", "rate"): f"{spec.heat_pump.flow_m3_per_h:.2f}",
        ("pressure", "cold"): f"{spec.cold_pressure_bar:.1f}",
        ("curve_set", "cold_outdoor"): f"{curve[0][0]:.0f}",
        ("curve_set", "cold_flow"): f"{curve[0][1]:.1f}",
        ("hot_water_set", "setpoint"): f"{water.setpoint_c:.0f}",
        ("hot_water_set", "reheat"): f"{water.reheat_below_c:.0f}",
        ("vessel", "precharge"): "1.0",
        ("strainer", "state"): "clean",
    }


def rows_of(
    home: tuple[PlantSpec, Site, Facts], changed: dict[tuple[str, str], str], **more: Any
) -> dict[tuple[str, str], dict[str, Any]]:
    spec, site, facts = home
    told = compared(site, facts, sheet(site, handed_over(spec) | changed), more.pop("registers", {}), **more)
    return {(row["item"], row["found"]): row for row in told}


def test_a_plant_as_it_was_handed_over_differs_in_nothing(home: tuple[PlantSpec, Site, Facts]) -> None:
    rows = rows_of(home, {})
    measured = {key: row for key, row in rows.items() if row["today"] is not None}
    assert set(measured) >= {
        ("flow", "rate"),
        ("pressure", "cold"),
        ("curve_set", "cold_flow"),
        ("hot_water_set", "setpoint"),
        ("hot_water_set", "reheat"),
    }
    assert not {key: (r["commissioned"], r["today"]) for key, r in measured.items() if r["differs"]}


@pytest.mark.parametrize(
    ("key", "factor", "shift", "code", "means"),
    [
        (("flow", "rate"), 1.0 / 0.82, 0.0, "low_flow", "strainer"),
        (("pressure", "cold"), 1.0, 0.6, "pressure_falling", "loses water"),
        (("curve_set", "cold_flow"), 1.0, -5.0, "flow_temperature_above_curve", "raised"),
        (("hot_water_set", "setpoint"), 1.0, 5.0, "reheat_incomplete", "lowered"),
    ],
)
def test_what_changed_since_is_told_with_what_it_may_mean(
    home: tuple[PlantSpec, Site, Facts],
    key: tuple[str, str],
    factor: float,
    shift: float,
    code: str,
    means: str,
) -> None:
    then = float(handed_over(home[0])[key]) * factor + shift
    row = rows_of(home, {key: f"{then:.2f}"})[key]
    assert row["differs"] is True
    assert (row["change"] < 0) is (shift > 0 or factor > 1)
    assert means in row["means"]
    assert code in row["findings"]


def test_what_hands_alone_can_read_says_so(home: tuple[PlantSpec, Site, Facts]) -> None:
    rows = rows_of(home, {("m_heat_pump_electricity", "serial"): "00123-A"})
    for key in (("vessel", "precharge"), ("strainer", "state"), ("m_heat_pump_electricity", "serial")):
        assert rows[key]["differs"] is None
        assert rows[key]["today"] is None
        assert rows[key]["reason"] == (NOT_NOTED if key[1] == "serial" else BY_HAND)
    assert rows[("m_heat_pump_electricity", "serial")]["commissioned"] == "00123-A"


def test_a_step_of_the_diary_is_a_change_on_purpose(home: tuple[PlantSpec, Site, Facts]) -> None:
    key = ("curve_set", "cold_flow")
    then = float(handed_over(home[0])[key]) + 6.0
    step = TuningStep(FIRST + timedelta(3), "heating_curve", (then, 30.0), (then - 6.0, 28.0))
    row = rows_of(home, {key: f"{then:.1f}"}, steps=[step])[key]
    assert row["differs"]
    assert row["tuned"] == ("2024-01-04",)
    raised = TuningStep(step.day, step.code, step.after, step.before)
    assert rows_of(home, {key: f"{then:.1f}"}, steps=[raised])[key]["tuned"] == (), "it went the other way"
    newest = TuningStep(FIRST + timedelta(DAYS - 2), step.code, step.before, step.after)
    untold = rows_of(home, {key: f"{then:.1f}"}, steps=[newest])[key]
    assert untold["today"] is None, "days before the step tell of another setting"


@pytest.mark.parametrize(
    ("typed", "at_first", "differs", "means"),
    [
        ("812", (811.0, 815.0), False, ""),
        ("8120", (811.0, 815.0), True, "another meter"),
        ("812", None, False, ""),
        ("5000", None, True, "exchanged"),
    ],
)
def test_a_meter_reading_is_held_against_the_counter(
    home: tuple[PlantSpec, Site, Facts],
    typed: str,
    at_first: tuple[float, float] | None,
    differs: bool,
    means: str,
) -> None:
    key = ("m_heat_pump_electricity", "reading")
    seen = Register("hp_elec_kwh", at_first, 1900.0, FIRST + timedelta(DAYS - 1))
    row = rows_of(home, {key: typed}, registers={"hp_elec_kwh": seen})[key]
    assert row["differs"] is differs
    assert means in row["means"]


@pytest.mark.parametrize(
    ("serial", "restart", "day", "differs", "means"),
    [
        ("0012 3a", "", 0, False, ""),
        ("98765", "reset", 0, True, "began anew"),
        ("98765", "jumped", 0, True, "began anew"),
        ("98765", "", 0, True, "went on without a step"),
        ("98765", "", -400, True, "longer ago"),
    ],
    ids=["same", "reset", "jumped", "unseen", "before"],
)
def test_another_serial_number_is_told_with_what_the_running_total_shows(
    home: tuple[PlantSpec, Site, Facts], serial: str, restart: str, day: int, differs: bool, means: str
) -> None:
    spec, site, facts = home
    key = ("m_heat_output", "serial")
    point = next(p for p in site.point if p.quantity == "heat_output" and p.form == "register")
    names = ("day", "time", "point", "kind", "amount")
    made = Table({name: facts.notices[name][:0] for name in names})
    if restart:
        at = np.datetime64("2024-01-20", "us")
        of_it = {"day": at, "time": 0, "point": point.id, "kind": restart, "amount": 5.0}
        made = Table({name: np.array([of_it[name]]) for name in names})
    items = sheet(site, handed_over(spec) | {key: "123-A"})
    for item in items:
        item["at"] = (datetime.fromisoformat(item["at"]) + timedelta(day)).isoformat()
    noted = {key: Noted(serial, FIRST + timedelta(30))}
    told = compared(site, replace(facts, notices=made), items, {}, noted=noted)
    row = next(r for r in told if (r["item"], r["found"]) == key)
    assert (row["differs"], row["noted"], row["noted_day"]) == (differs, serial, "2024-01-31")
    assert means in row["means"]


HEAT, POWER = ("m_heat_output", "serial"), ("m_heat_pump_electricity", "serial")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Heat meter exchanged, new serial 4712-B.", {HEAT: "4712-B"}),
        ("Heat meter exchanged: old serial 4711, new serial number: 4712", {HEAT: "4712"}),
        ("New electricity meter (s/n EM/99). Strainer cleaned.", {POWER: "EM/99"}),
        ("Heat meter serial 11. Electricity meter serial 22.", {HEAT: "11", POWER: "22"}),
        ("Meter exchanged, serial 4712.", {}),
        ("Serial communication of the heat meter mended.", {}),
    ],
)
def test_a_serial_number_in_the_text_of_a_job_is_of_the_meter_that_it_names(
    text: str, found: dict[tuple[str, str], str]
) -> None:
    assert serials_in(text, [HEAT, POWER]) == found
    assert serials_in("Meter exchanged, serial 4712.", [HEAT]) == {HEAT: "4712"}


def test_an_exchanged_meter_of_power_alone_lets_the_figures_go_on(
    home: tuple[PlantSpec, Site, Facts],
) -> None:
    spec, site, facts = home
    site = site.model_copy(update={"point": tuple(p for p in site.point if p.form != "register")})
    key = (next(i.id for i in items_for((), "service", site)), "serial")
    items = sheet(site, handed_over(spec) | {key: "123-A"})
    told = compared(site, facts, items, {}, noted={key: Noted("4711", FIRST)})
    assert "figures go on" in next(r for r in told if (r["item"], r["found"]) == key)["means"]


def test_a_typed_value_is_as_sure_as_its_instrument_and_its_digits(
    home: tuple[PlantSpec, Site, Facts],
) -> None:
    # EN 837-1 class 2.5 over 4 bar is 0.1 bar; one decimal adds half a digit: (0.1^2 + 0.05^2)^0.5 = 0.112.
    assert hand_half(home[1], 1.5, "bar", "1.5") == pytest.approx(0.1118, abs=1e-3)
    # EN 1434-1: at most 5 % of the flow.
    assert hand_half(home[1], 1.0, "m3/h", "1.000") == pytest.approx(0.05, abs=1e-3)


def test_a_slip_of_the_finger_is_not_compared(home: tuple[PlantSpec, Site, Facts]) -> None:
    assert ("pressure", "cold") not in rows_of(home, {("pressure", "cold"): "160"})


def test_meters_are_listed_by_quantity_with_room_for_three() -> None:
    spec = random_plant(2104, meter_set="rich", hot_water=True)
    site = parse_site(simulate(spec, FIRST, 1).site_toml)
    items = {i.id: i for i in items_for(built_in(), "commissioning", site) if i.id.startswith("m_")}
    assert [f.id for f in items["m_heat_output"].found] == ["serial", "reading"]
    total = next(p for p in site.point if p.id == "heat_kwh")
    twice = site.model_copy(
        update={"point": (*site.point, *(total.model_copy(update={"id": f"h{n}"}) for n in range(4)))}
    )
    more = {i.id: i for i in items_for(built_in(), "commissioning", twice)}
    assert len(more["m_heat_output"].found) == 6
    assert not [i for i in items_for(built_in(), "winter", site) if i.id.startswith("m_")]
    assert all(len(i.id) <= 32 for i in items.values())


def test_the_words_put_what_differs_first(home: tuple[PlantSpec, Site, Facts]) -> None:
    spec, site, facts = home
    then = f"{spec.heat_pump.flow_m3_per_h / 0.7:.2f}"
    values = compared(site, facts, sheet(site, handed_over(spec) | {("flow", "rate"): then}), {})
    told = present_commissioned(
        {"values": values, "open": ["low_flow"], "from": "2024-01-01", "to": "2024-02-04"}, site
    )
    flow = next(r for r in told["differs"] if r["item"] == "flow")
    assert "lower" in flow["change"]
    assert [f["open"] for f in flow["findings"]] == [True, False]
    assert "under pressure" in told["caution"]
    assert {r["name"] for r in told["unknown"]} >= {"Pre-charge", "Found"}
