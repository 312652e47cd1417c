"""Boilers, stoves, solar heat, cascades, surplus electricity and cooling: what is told,
and what says why not."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.advice.plan import plan
from fieldfare.analysis.answers.bill import bill
from fieldfare.analysis.answers.bill_parts import Span
from fieldfare.analysis.answers.complaint import complaint
from fieldfare.analysis.answers.hours import Question, hours_of
from fieldfare.analysis.errors import NotAssessed, SiteError
from fieldfare.analysis.figures.other_sources import may_heat_rooms
from fieldfare.analysis.findings.limits import LIMITS, limit_of
from fieldfare.analysis.minutes.cascade import MIXED, joined_mode
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.before_after import effect_of_work
from fieldfare.analysis.reports.cold_snap import outlook, parse_forecast
from fieldfare.analysis.reports.result import analyse
from fieldfare.analysis.reports.what_if import answer
from fieldfare.analysis.reports.winter_forecast import forecast
from fieldfare.dashboards.answers.present_answer import present_answer
from fieldfare.dashboards.rows.sources import source_rows
from tests.analysis.beside_home import COP, DAYS, FIRST, HEAD, LOSS_W_PER_K, PER_DAY, POINTS, Home, point

BOILER = '[[other_heat]]\nkind = "boiler"\nserves = ["space_heating"]\n'
BELOW = f"{BOILER}below_c = 0.0\n"
OTHER = point("boiler", "other_heat_output")
WATER = "[hot_water]\ncylinder_litres = 200\nsetpoint_c = 50.0\nreheat_below_c = 44.0\n"
SOLAR = f'{WATER}[[other_heat]]\nkind = "solar_thermal"\nserves = ["hot_water"]\n'
MONEY = '[cost]\ncurrency = "GBP"\ncountry = "GB"\nelectricity = 0.25\n'


def reasons(document: dict[str, Any]) -> dict[str, str]:
    return {n["code"]: n["reason"] for n in document["not_assessed"] if n["reason_code"] == "other_source"}


# ---- the site file


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ('[[other_heat]]\nkind = "stove"\nserves = ["space_heating"]\nalone = true\n', "a stove has neither"),
        (
            '[[other_heat]]\nkind = "boiler"\nserves = ["hot_water"]\nalone = true\n',
            "alone is of space heating",
        ),
        (f"{BOILER.replace('space_heating', 'hot_water')}", "no [hot_water]"),
        ("[pv]\nraises_hot_water_to_c = 75.0\n", "75 is too high; it must be at most 65"),
        (point("h2", "heat_output", more="heat_pump = 2\n"), "heat_pump.units = 1"),
        (point("h2", "heat_output", more='includes = ["other_heat"]\n'), "there is no [[other_heat]]"),
        (point("h2", "heat_output", more='includes = ["fan"]\n'), "a heat meter can include"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_reason(more: str, says: str) -> None:
    with pytest.raises(SiteError, match=says.replace("[", r"\[").replace("]", r"\]")):
        parse_site(HEAD + more)


# ---- a boiler beside


def boiler_home(more: str, *, metered: bool, alone: bool = False) -> Home:
    """A boiler that gives the half of the heat, or all of it, on every day that goes below freezing."""
    home = Home(more=more, points=(*POINTS, OTHER) if metered else POINTS)
    cold = np.repeat(home.outdoor.reshape(-1, PER_DAY).min(axis=1) < 0.0, PER_DAY)
    part = np.where(cold, 1.0 if alone else 0.5, 0.0)
    home.values["heat"] = home.need * (1.0 - part)
    home.values["elec"] = home.need * (1.0 - part) / COP + 15.0 * (part == 1.0)
    if metered:
        home.values["boiler"] = home.need * part
    return home


@pytest.mark.parametrize(("more", "metered"), [(BOILER, True), (BELOW, False)])
def test_the_house_loses_what_both_give_or_what_the_days_without_the_boiler_show(
    more: str, metered: bool
) -> None:
    document = boiler_home(more, metered=metered).result().as_dict()
    loss = document["heat_loss"]["coefficient_w_per_k"]
    assert loss["low"] < LOSS_W_PER_K < loss["high"]
    assert loss["value"] == pytest.approx(LOSS_W_PER_K, rel=0.12)
    assert document["performance"]["H2"]["value"] == pytest.approx(COP, rel=0.01), (
        "the unit's own, by its own meter"
    )
    assert document["capacity"]["margin"] is None
    assert "boiler" in document["capacity"]["reason"]
    assert {"capacity_short", "performance_below_promise"} <= reasons(document).keys()
    told = [r["words"] for r in document["recognised"] if r["kind"] == "source_beside"]
    assert told
    assert all("boiler" in words for words in told)


def test_an_undeclared_boiler_hides_the_loss_that_a_declared_one_does_not() -> None:
    """The same readings without the site file's word: the loss comes out far too low."""
    told = boiler_home("", metered=False).result().as_dict()["heat_loss"]["coefficient_w_per_k"]
    assert told is None or told["value"] < 0.75 * LOSS_W_PER_K


def test_the_boilers_share_of_the_heat_is_the_meters_own() -> None:
    home = boiler_home(BOILER, metered=True)
    inside = slice(PER_DAY, -PER_DAY)
    gave, own = (float(home.values[n][inside].sum()) for n in ("boiler", "heat"))
    found = home.result().as_dict()["other_heat"]
    assert found["share"]["value"] == pytest.approx(gave / (gave + own), abs=0.005)
    assert found["share"]["low"] < found["share"]["value"] < found["share"]["high"]
    assert found["heat_kwh"] == pytest.approx(gave / 6000.0, rel=0.01)


def test_without_meter_or_temperature_the_loss_is_not_told() -> None:
    document = boiler_home(BOILER, metered=False).result().as_dict()
    assert document["heat_loss"]["coefficient_w_per_k"] is None
    assert "other_heat.below_c" in document["heat_loss"]["reason"]
    assert document["other_heat"]["share"] is None
    assert document["other_heat"]["reason"] == "needs other_heat_output"


def test_a_meter_of_both_tells_the_house_and_not_the_heat_pump() -> None:
    home = boiler_home(BOILER, metered=False)
    home.points = (*POINTS[:1], point("heat", "heat_output", more='includes = ["other_heat"]\n'), *POINTS[2:])
    home.values["heat"] = home.need
    document = home.result().as_dict()
    loss = document["heat_loss"]["coefficient_w_per_k"]
    assert loss["low"] < LOSS_W_PER_K < loss["high"]
    assert document["performance"]["H2"] is None
    assert "also counts the boiler" in document["performance"]["reasons"]["H2"]
    assert document["energy"]["heat_kwh"]["total"] is None
    assert not [f["code"] for f in document["findings"] if f["code"] == "implausible_efficiency"]


def test_a_unit_that_rests_while_the_boiler_works_alone_has_not_stopped() -> None:
    more = f"{BELOW}alone = true\n"
    home, undeclared = (boiler_home(text, metered=False, alone=True) for text in (more, ""))
    home.points = undeclared.points = POINTS[:3]  # rooms that are warm would speak for themselves
    told = home.result()
    assert "unit_stopped" not in {f.code for f in told.findings}
    assert "the boiler works alone, and it works now" in reasons(told.as_dict())["unit_stopped"]
    found = {f.code for f in undeclared.result().findings}
    assert "unit_stopped" in found, "the readings alone look like a stop"
    may = may_heat_rooms(home.site, home.facts().days)
    assert may is not None
    assert 0.2 < may.mean() < 0.8


def test_a_frozen_house_is_told_whoever_should_heat_it() -> None:
    more = f"{BELOW}alone = true\n"
    home = boiler_home(more, metered=False, alone=True)
    end = slice(-3 * PER_DAY, None)
    home.values["heat"][end], home.values["elec"][end] = 0.0, 0.0
    home.values["room"][end] = np.linspace(18.0, 0.0, 3 * PER_DAY)
    assert "unit_stopped" in {f.code for f in home.result().findings}


def test_a_boiler_alone_leaves_the_forecast_open_and_one_that_helps_is_not_counted() -> None:
    forecast = parse_forecast(
        "time,outdoor_c\n" + "".join(f"2026-02-{n:02d}T00:00:00+00:00,-9\n" for n in range(20, 25)), "f.csv"
    )
    for more, states in ((f"{BELOW}alone = true\n", {"not_known"}), (BELOW, {"may_be_short", "holds"})):
        home = boiler_home(more, metered=False)
        told = outlook(home.site, home.result().as_dict(), forecast, home.facts())
        assert told.state in states
        assert (told.backup, "boiler" in told.reason) == (("alone" not in more), ("alone" in more))


def test_advice_is_drawn_from_days_of_the_heat_pump_alone() -> None:
    home = boiler_home(BOILER, metered=False)
    facts = home.facts()
    left = {x["code"]: x["reason"] for x in plan(home.site, facts, home.result().as_dict())["left_out"]}
    assert "heats the rooms too, and when is not known" in left["heating_curve"]


# ---- hot water from a collector


def test_solar_hot_water_spoils_what_was_drawn_and_nothing_else() -> None:
    document = Home(more=SOLAR).result().as_dict()
    assert document["hot_water"]["heat_kwh_per_day"] is None
    assert "solar collector" in document["hot_water"]["reasons"]["heat_kwh_per_day"]
    assert {"performance_below_promise"} <= reasons(document).keys()
    assert document["heat_loss"]["coefficient_w_per_k"]
    home = Home(more=SOLAR)
    left = {x["code"]: x["reason"] for x in plan(home.site, home.facts(), document)["left_out"]}
    assert "solar collector makes part" in left["hot_water_setpoint"]


# ---- two units


def two_units(*, own_heat: bool = True) -> Home:
    """Two units by turns: the first runs in even hours at a COP of 3.5, the second in odd ones at 2.5."""
    points = [point(f"e{n}", "heat_pump_electricity", more=f"heat_pump = {n}\n") for n in (1, 2)]
    points += (
        [point(f"h{n}", "heat_output", more=f"heat_pump = {n}\n") for n in (1, 2)]
        if own_heat
        else [point("heat", "heat_output")]
    )
    home = Home(pump="units = 2\n", points=(*points, *POINTS[2:]))
    hour = np.arange(len(home.time)) * 10 // 60
    for n, cop in ((1, 3.5), (2, 2.5)):
        heat = np.where(hour % 2 == n - 1, home.need, 0.0)
        home.values[f"h{n}"], home.values[f"e{n}"] = heat, np.where(heat > 0.0, heat / cop, 8.0)
    return home


def test_each_unit_has_its_own_figures_by_its_own_meters() -> None:
    home = two_units()
    document = home.result().as_dict()
    inside = slice(PER_DAY, -PER_DAY)
    for unit, n in zip(document["units"], (1, 2), strict=True):
        by_hand = home.values[f"h{n}"][inside].sum() / home.values[f"e{n}"][inside].sum()
        assert unit["performance"]["value"] == pytest.approx(by_hand, rel=0.02)
        assert unit["performance"]["low"] < by_hand < unit["performance"]["high"]
        assert unit["share_of_heat"] == pytest.approx(0.5, abs=0.03)
        assert unit["starts"] == pytest.approx(12 * 50, abs=40), "one start every second hour"
    used = sum(unit["electricity_kwh"] for unit in document["units"])
    assert document["energy"]["electricity_kwh"]["total"] == pytest.approx(used, rel=1e-6)
    whole = sum(float(home.values[f"h{n}"][inside].sum()) for n in (1, 2))
    assert document["energy"]["heat_kwh"]["total"] == pytest.approx(whole / 6000.0, rel=0.01)


def test_starts_of_the_sum_are_no_units_own() -> None:
    document = two_units().result().as_dict()
    assert document["cycling"]["starts"] is None
    assert "each unit's own" in document["cycling"]["reason"]
    assert {"short_cycling", "excessive_defrost", "low_flow", "high_standby"} <= reasons(document).keys()


def test_a_shared_heat_meter_tells_the_sum_and_no_unit() -> None:
    document = two_units(own_heat=False).result().as_dict()
    assert document["performance"]["H2"]["value"] == pytest.approx(2.0 / (1 / 3.5 + 1 / 2.5), rel=0.03)
    for unit in document["units"]:
        assert unit["performance"] is None
        assert "heat_pump = " in unit["reasons"]["performance"]
        assert unit["starts"] is not None


def test_a_meter_of_one_unit_alone_is_no_meter_of_both() -> None:
    home = two_units()
    home.points = tuple(p for p in home.points if '"h2"' not in p)
    document = home.result().as_dict()
    assert document["performance"]["H2"] is None
    assert document["units"][0]["performance"] is not None


def one_at_rest(*, busy: bool, gives: float = 3900.0) -> Home:
    """The second unit rests for the last week; the first gives so much all day, or runs every other hour."""
    home = two_units()
    week = np.arange(len(home.time)) >= (DAYS - 6) * PER_DAY
    home.values["h2"] = np.where(week, 0.0, home.values["h2"])
    home.values["e2"] = np.where(week, 8.0, home.values["e2"])
    if busy:
        given = gives + 0.1 * (home.need - float(np.mean(home.need)))
        home.values["h1"] = np.where(week, given, home.values["h1"])
        home.values["e1"] = np.where(week, given / 3.5, home.values["e1"])
    return home


def test_a_unit_at_rest_is_missed_beside_one_that_hardly_rests() -> None:
    found = next(f for f in one_at_rest(busy=True).result().findings if f.code == "unit_stopped")
    assert found.headline.startswith("Heat pump 2 has not run for 7 days")
    assert (found.severity, found.causes[0].cause) == ("act", "locked_out")
    assert "unit_stopped" not in {f.code for f in one_at_rest(busy=False).result().findings}
    assert "unit_stopped" not in {f.code for f in two_units().result().findings}


def test_a_unit_at_rest_is_not_missed_beside_one_that_runs_all_day_at_a_part_of_its_output() -> None:
    """2 kW of the 4 kW that are its half of the rating: it can do more alone."""
    codes = {f.code for f in one_at_rest(busy=True, gives=2000.0).result().findings}
    assert "unit_stopped" not in codes
    unmetered = one_at_rest(busy=True, gives=2000.0)
    unmetered.points = tuple(p for p in unmetered.points if '"heat_output"' not in p)
    found = [f for f in unmetered.result().findings if f.code == "unit_stopped"]
    assert [f.severity for f in found] in ([], ["watch"])


def test_modes_of_two_units_are_joined_and_never_averaged() -> None:
    off, heating, water, defrost = 0.0, 1.0, 2.0, 3.0
    first = np.array([off, heating, heating, water, heating, np.nan])
    second = np.array([off, off, heating, heating, defrost, heating])
    joined = joined_mode([first, second])
    assert joined[:5].tolist() == [off, heating, heating, MIXED, MIXED]
    assert np.isnan(joined[5])


# ---- surplus electricity


def test_surplus_raises_the_limits_of_what_it_raises() -> None:
    site = parse_site(f"{HEAD}[pv]\nraises_flow_k = 6.0\nraises_room_k = 1.0\n")
    assert limit_of(site, "flow_above_curve_watch_k") == LIMITS["flow_above_curve_watch_k"].default + 6.0
    assert limit_of(site, "zone_hot_k") == LIMITS["zone_hot_k"].default + 1.0
    assert limit_of(site, "flow_product_minutes") == LIMITS["flow_product_minutes"].default


def test_money_of_own_electricity_has_its_bounds_and_no_invented_sum() -> None:
    pv = "[pv]\nimmersion = true\n" + MONEY
    home = Home(
        more=pv, points=(*POINTS, point("pv", "pv_output"), point("immersion", "immersion_electricity"))
    )
    home.values["immersion"] = np.zeros(len(home.time))
    noon = np.arange(len(home.time)) % PER_DAY // 6 == 12
    home.values["pv"] = np.where(noon, 10_000.0, 0.0)
    document = home.result().as_dict()
    cost = document["cost"]
    assert cost["total"] is cost["running_cost"] is cost["co2_kg"] is None
    inside = slice(PER_DAY, -PER_DAY)
    used = home.values["elec"][inside] / 6000.0
    least, most = float(used[~noon[inside]].sum()), float(used.sum())
    assert f"between {least:.0f} and {most:.0f} kWh were bought" in cost["reasons"]["total"]
    assert f"{0.25 * most:.0f} GBP" in cost["reasons"]["total"]
    assert "immersion_use" in reasons(document)


# ---- cooling


def cooling_home(*, cools: bool) -> Home:
    """A winter's week at 24 °C: the unit takes heat out of the water from noon to six."""
    home = Home(pump="cooling = true\n" if cools else "")
    minute = np.arange(len(home.time)) % PER_DAY * 10
    hot = np.arange(len(home.time)) >= 30 * PER_DAY
    cools_now = hot & (minute >= 720) & (minute < 1080)
    home.values["out"] = np.where(hot, 24.0 + 0.02 * (minute % 60), home.values["out"])
    home.values["room"] = np.where(hot, 23.0 + 0.01 * (minute % 70), home.values["room"])
    home.values["heat"] = np.where(cools_now, -3000.0, np.where(hot, 0.0, home.need))
    home.values["elec"] = np.where(cools_now, 1000.0, np.where(hot, 12.0, home.need / COP))
    return home


def test_cooling_is_told_from_the_meters_where_no_mode_is_reported() -> None:
    document = cooling_home(cools=True).result().as_dict()
    assert document["performance"]["cooling"]["value"] == pytest.approx(3.0, rel=0.05)
    assert document["energy"]["heat_kwh"]["cooling"] == pytest.approx(3.0 * 6 * 21, rel=0.05)
    assert document["performance"]["H2"]["value"] == pytest.approx(COP, rel=0.03), "cold is no heat"
    codes = {f["code"] for f in document["findings"] if f["severity"] != "note"}
    assert not codes & {"unit_stopped", "defrost_without_frost", "excessive_defrost", "flow_return_swapped"}


def test_a_unit_that_can_not_cool_by_the_site_file_is_not_said_to() -> None:
    assert cooling_home(cools=False).result().as_dict()["performance"]["cooling"] is None


# ---- in words


def test_what_others_gave_is_told_in_words() -> None:
    rows = source_rows(boiler_home(BOILER, metered=True).result().as_dict())
    assert rows[0][0] == "Boiler"
    assert "of all heat" in rows[0][1]
    assert source_rows(boiler_home(BELOW, metered=False).result().as_dict()) == [
        ("Boiler", "Needs readings of heat from another source")
    ]
    one, two = source_rows(two_units().result().as_dict())
    assert one[0] == "Heat pump 1"
    assert "performance 3.47" in one[1]
    assert "performance 2.4" in two[1]
    assert source_rows({}) == []


# ---- answers


def asked(home: Home, question: str) -> dict[str, Any]:
    """The answer to a complaint about the last three days."""
    facts, result = home.facts(), home.result().as_dict()
    first = home.last - timedelta(2)
    here, before = facts.between(first, home.last), facts.between(home.last - timedelta(30), first)
    hours = hours_of(home.site, home.readings, here, before, result, Question(), first, home.last)
    return complaint(question, hours)


@pytest.mark.parametrize(("metered", "weight"), [(True, 0.9), (False, 0.6)])
def test_cold_rooms_in_the_boilers_hours_are_the_boilers(metered: bool, weight: float) -> None:
    home = boiler_home(f"{BELOW}alone = true\n", metered=metered, alone=True)
    home.values["room"] = home.values["room"] - np.where(np.arange(len(home.time)) > 45 * PER_DAY, 3.0, 0.0)
    if metered:
        home.values["boiler"] = home.values["boiler"] * 0.0
    document = asked(home, "cold")
    assert (document["binding"], document["weight"]) == ("other_source", weight)
    states = {s["code"]: s["state"] for s in document["steps"]}
    assert {states[c] for c in ("stopped", "output", "water_flow", "flow_temperature")} == {"unknown"}
    assert document["do"][0]["code"] == "look_at_other_source"
    assert any("carbon monoxide" in caution for caution in document["cautions"])


def test_a_unit_of_which_only_electricity_is_read_is_not_said_to_give_all_it_can() -> None:
    home = Home(points=(POINTS[0], POINTS[2]))
    home.values["elec"] = np.maximum(home.values["elec"], 500.0)
    document = asked(home, "cold")
    assert document["binding"] is None
    assert {s["code"]: s["state"] for s in document["steps"]}["output"] == "unknown"


def test_what_was_drawn_is_not_told_where_a_collector_makes_part_of_it() -> None:
    home = Home(more=SOLAR, points=(*POINTS, point("tank", "cylinder_temperature", "gauge", "degC")))
    home.values["tank"] = np.full(len(home.time), 36.0)
    steps = {s["code"]: s for s in asked(home, "hot-water")["steps"]}
    assert (steps["drawn_more"]["state"], steps["drawn_more"]["reason"]) == ("unknown", "other_makes_water")


COIL = f'{WATER}[[other_heat]]\nkind = "boiler"\nserves = ["hot_water"]\n'
TANK = point("tank", "cylinder_temperature", "gauge", "degC")


def cold_cylinder(more: str, *, boiler_w: float | None = None) -> dict[str, Any]:
    """The answer where a cylinder with a second coil stays cold and the heat pump charges it never."""
    home = Home(more=more, points=(*POINTS, TANK, *((OTHER,) if boiler_w is not None else ())))
    home.values["tank"] = np.full(len(home.time), 34.0)
    if boiler_w is not None:
        home.values["boiler"] = np.full(len(home.time), boiler_w)
    return asked(home, "hot-water")


@pytest.mark.parametrize(("boiler_w", "weight"), [(0.0, 0.9), (None, 0.6)])
def test_a_cold_cylinder_in_the_boilers_weather_is_the_boilers(boiler_w: float | None, weight: float) -> None:
    document = cold_cylinder(f"{COIL}below_c = 20.0\n", boiler_w=boiler_w)
    assert (document["binding"], document["weight"]) == ("other_source", weight)
    states = {s["code"]: s["reason"] for s in document["steps"] if s["state"] == "unknown"}
    assert states["schedule"] == states["stopped"] == "not_the_pumps_turn"
    assert document["do"][0]["code"] == "look_at_other_source"
    assert any("carbon monoxide" in caution for caution in document["cautions"])


def test_a_boiler_that_gives_is_not_blamed_and_neither_is_the_heat_pump() -> None:
    document = cold_cylinder(f"{COIL}below_c = 20.0\n", boiler_w=4000.0)
    steps = {s["code"]: s for s in document["steps"]}
    assert (steps["other_source"]["state"], steps["other_source"]["reason"]) == ("fine", "works_now")
    assert document["binding"] not in ("other_source", "schedule", "stopped", "slow")


def test_where_nobody_says_when_the_boiler_charges_no_unit_is_blamed() -> None:
    document = cold_cylinder(COIL)
    steps = {s["code"]: s for s in document["steps"]}
    assert steps["other_source"]["reason"] == steps["schedule"]["reason"] == "turn_not_told"
    assert document["binding"] is None


@pytest.mark.parametrize("more", [SOLAR, f"{COIL}below_c = -30.0\n"])
def test_a_collector_or_a_boiler_that_rests_leaves_a_cold_cylinder_to_the_heat_pump(more: str) -> None:
    assert cold_cylinder(more)["binding"] == "schedule"


def test_a_bill_beside_a_boiler_is_not_split_and_says_what_both_gave() -> None:
    home = boiler_home(BOILER + MONEY, metered=True)
    facts = home.facts()
    spans = []
    for first in (FIRST, FIRST + timedelta(25)):
        last = first + timedelta(24)
        spans.append(Span(facts.between(first, last), analyse(home.site, facts, first, last).as_dict()))
    document = bill(home.site, spans[1], spans[0], "year")
    assert document["parts"] == []
    now, before = (s.facts.days.total("electricity_total_kwh") for s in reversed(spans))
    assert document["difference"]["kwh"] == pytest.approx(now - before)
    assert document["other_heat_kwh"]["now"] == pytest.approx(spans[1].facts.days.total("heat_other_kwh"))
    period = {"from": "2026-01-26", "to": "2026-02-19"}
    lead = " ".join(present_answer({**document, "period": period}, "Elm")["lead"])
    assert "not split by cause" in lead
    assert "can't be trusted" not in lead


# ---- what rests on the heat pump's own days


def test_before_and_after_leave_the_boilers_days_out() -> None:
    home = boiler_home(BELOW, metered=False)
    days = home.facts().days
    told = effect_of_work(days, FIRST + timedelta(25), home.site)
    alone = int((~may_heat_rooms(home.site, days)).sum())  # type: ignore[operator]
    assert told.days_before + told.days_after <= alone < len(days)
    unknown = effect_of_work(days, FIRST + timedelta(25), boiler_home(BOILER, metered=False).site)
    assert unknown.electricity_percent.value is None
    assert "when is not known" in (unknown.reason or "")


def test_a_winters_electricity_is_not_forecast_where_a_boiler_gives_part_of_it() -> None:
    home = boiler_home(BOILER, metered=True)
    told = forecast(home.site, home.result().as_dict(), [])
    assert told.heat_kwh.value is not None, "the house's own need is known"
    assert told.electricity_kwh.value is None
    assert "boiler" in told.electricity_kwh.reason


def test_a_what_if_about_shared_hot_water_is_refused() -> None:
    home = Home(more=SOLAR)
    with pytest.raises(NotAssessed, match="solar collector makes part"):
        answer(home.site, home.facts(), home.result().as_dict(), "hot_water_c", 48.0)


@pytest.mark.parametrize("colder_k", [0.0, 3.0])
def test_a_unit_that_rests_while_the_boiler_works_alone_is_not_what_makes_it_cold(colder_k: float) -> None:
    """Warm rooms lack nothing; in cold ones too little of the boiler's heat arrives."""
    home = boiler_home(f"{BELOW}alone = true\n", metered=True, alone=True)
    home.values["room"] = home.values["room"] - np.where(
        np.arange(len(home.time)) > 45 * PER_DAY, colder_k, 0.0
    )
    document = asked(home, "cold")
    assert document["binding"] == ("other_source" if colder_k else "as_set")


def test_a_unit_that_rests_in_rooms_as_warm_as_set_did_not_stop() -> None:
    home = Home()
    evening = np.arange(len(home.time)) % PER_DAY >= PER_DAY // 2
    home.values["heat"] = np.where(evening, 0.0, 2.0 * home.need)
    home.values["elec"] = np.where(evening, 15.0, 2.0 * home.need / COP)
    steps = {s["code"]: s for s in asked(home, "cold")["steps"]}
    assert (steps["stopped"]["state"], steps["stopped"]["reason"]) == ("fine", "rooms_warm")
    home.values["room"] = home.values["room"] - np.where(np.arange(len(home.time)) > 45 * PER_DAY, 3.0, 0.0)
    assert asked(home, "cold")["binding"] == "stopped"


def test_electricity_of_cooling_is_no_standby_of_the_heating() -> None:
    home = cooling_home(cools=True)
    facts, result = home.facts(), home.result().as_dict()
    document = bill(home.site, Span(facts, result), None, "design")
    cooled = facts.days.total("electricity_cooling_kwh")
    assert cooled > 50.0
    assert {"part": "cooling", "reason": "cooling"} in document["untold"]
    assert document["now"]["kwh"] == pytest.approx(
        facts.days.total("electricity_total_kwh") - cooled, rel=0.03
    )
    standby = next(p for p in document["parts"] if p["code"] == "standby")
    assert standby["kwh"]["value"] < 0.3 * cooled
    document["period"] = {"from": "2026-01-01", "to": "2026-02-19"}
    assert any("Cooling" in text for text in present_answer(document, "Elm")["unknown"])
