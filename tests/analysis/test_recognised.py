"""Unusual days without a fault are recognised, and exactly the affected days are excluded."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.exclusions import find_exclusions
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.faults.plant import with_fault
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.analysis.small_plant import FIRST, Small


@pytest.fixture
def small() -> Small:
    return Small()


def dates(table: Table) -> list[date]:
    return [table.day(row) for row in range(len(table))]


def told(small: Small):
    facts = small.facts
    unusual = find_exclusions(small.site, facts)
    spells, judged = unusual.periods, unusual.facts_for("room_below_target")
    gone = sorted(set(dates(facts.days)) - set(dates(judged.days)))
    for name in ("runs", "reheats", "defrosts", "notices"):
        assert not set(dates(getattr(judged, name))) & set(gone), name
    return spells, [(d - FIRST).days for d in gone]


def day_text(n: int) -> str:
    return f"{FIRST + timedelta(n):%Y-%m-%d}"


def test_usual_weeks_hold_nothing_unusual(small):
    assert told(small) == ((), [])


def test_days_colder_than_the_design_are_left_out_with_the_day_after(small):
    small.values["outdoor"][small.days_between(12, 14)] -= 16.0
    spells, gone = told(small)
    assert [(s.kind, s.since, s.until) for s in spells] == [("cold_snap", day_text(12), day_text(14))]
    assert "not a fault" in spells[0].words
    assert gone == [12, 13, 14, 15]


def test_without_a_design_temperature_cold_is_only_cold(small):
    small.design = ""
    small.values["outdoor"][small.days_between(12, 14)] -= 16.0
    assert told(small) == ((), [])


def test_the_design_margin_can_be_set_for_a_site(small):
    small.limits = "snap_below_design_k = 15.0"
    small.values["outdoor"][small.days_between(12, 14)] -= 16.0
    assert told(small)[0] == ()


def test_a_fortnight_away_by_the_target(small):
    away = small.days_between(10, 23)
    small.values["target"][away] -= 4.0
    small.values["room"][away] -= 3.5
    spells, gone = told(small)
    assert [(s.kind, s.since, s.until) for s in spells] == [("away", day_text(10), day_text(23))]
    assert "4.0 K lower" in spells[0].words
    assert gone == list(range(10, 26))


def nobody_draws(small: Small, first: int, last: int) -> None:
    """No reheat, and a cylinder that cools by itself."""
    away = small.days_between(first, last)
    small.values["mode"][away & (small.values["mode"] == 2.0)] = 0.0
    small.values["elec"][away & (small.values["elec"] > 1700.0)] = 15.0
    small.values["tank"][away] = 20.0 + 28.0 * np.exp(-np.arange(away.sum()) / 7000.0)


def test_away_without_a_target_needs_cool_rooms_and_no_hot_water(small):
    small.ids = tuple(i for i in small.ids if i != "target")
    nobody_draws(small, 10, 20)
    assert told(small)[0] == (), "rooms as warm as ever: hot water is off, nobody need be away"
    small.values["room"][small.days_between(12, 20)] -= 3.0
    spells, gone = told(small)
    assert [(s.kind, s.since, s.until) for s in spells] == [("away", day_text(10), day_text(20))]
    assert gone == list(range(10, 23))


def test_cool_rooms_alone_are_a_fault_to_be_found(small):
    small.values["room"][small.days_between(10, 23)] -= 4.0
    assert told(small) == ((), [])


def test_hot_water_that_fails_while_people_draw_is_no_absence(small):
    small.ids = tuple(i for i in small.ids if i not in ("target", "room"))
    nobody_draws(small, 10, 15)
    day = (small.time // 60_000) % 1440
    drawn = small.days_between(10, 15)
    small.values["tank"][drawn] = np.where(day[drawn] < 430, 38.0, 18.0)  # a shower each morning
    assert [s.kind for s in told(small)[0] if s.kind == "away"] == []


def test_a_night_set_back_is_no_absence(small):
    night = ((small.time // 60_000) % 1440) < 360
    small.values["target"][night] -= 3.0
    assert told(small) == ((), [])


def test_a_party_is_one_day_and_the_next(small):
    extra = (
        (small.time >= small.time[0] + 20 * 86_400_000)
        & ((small.time // 60_000) % 1440 >= 1150)
        & small.days_between(19, 19)
    )
    small.values["mode"][extra], small.values["elec"][extra], small.values["heat"][extra] = (
        2.0,
        1900.0,
        5100.0,
    )
    for name in ("elec", "heat"):
        small.values[f"{name}_kwh"] = 1000.0 + np.cumsum(small.values[name]) / 60_000.0
    spells, gone = told(small)
    assert [(s.kind, s.since) for s in spells] == [("party", day_text(19))]
    assert gone == [19, 20]


def test_more_hot_water_from_a_day_on_is_a_habit(small):
    late = ((small.time // 60_000) % 1440 >= 1150) & small.from_day(20)
    small.values["mode"][late], small.values["elec"][late], small.values["heat"][late] = 2.0, 1900.0, 5100.0
    for name in ("elec", "heat"):
        small.values[f"{name}_kwh"] = 1000.0 + np.cumsum(small.values[name]) / 60_000.0
    assert told(small) == ((), [])


def without_power(small: Small, begin_h: float, hours: float, day: int = 15) -> None:
    start = small.time[0] + int((day + 1) * 86_400_000 + begin_h * 3_600_000)
    off = (small.time >= start) & (small.time < start + int(hours * 3_600_000))
    for name in ("elec", "heat", "rate", "mode"):
        small.values[name][off] = 0.0
    for name in ("elec", "heat"):
        small.values[f"{name}_kwh"] = 1000.0 + np.cumsum(small.values[name]) / 60_000.0


def test_a_service_is_a_day_without_power_in_working_hours(small):
    without_power(small, 9.0, 6.0)
    spells, gone = told(small)
    assert [(s.kind, s.since) for s in spells] == [("serviced", day_text(15))]
    assert "6 working hours" in spells[0].words
    assert gone == [15]


@pytest.mark.parametrize(("standby_w", "serviced"), [(12.0, True), (0.0, False)])
def test_no_power_is_no_sign_of_a_service_where_the_meter_shows_none_at_any_rest(small, standby_w, serviced):
    for name, running in (("elec", 1500.0), ("heat", 5000.0), ("rate", 1.0), ("mode", 1.0)):
        small.values[name][:] = running
        at_night = (small.time // 60_000) % 1440 < 60
        small.values[name][at_night] = standby_w if name == "elec" else 0.0
    without_power(small, 9.0, 6.0)
    assert ("serviced" in {s.kind for s in told(small)[0]}) is serviced


@pytest.mark.parametrize(("begin_h", "hours"), [(18.0, 8.0), (9.0, 40.0)])
def test_power_that_is_lost_at_night_or_for_long_is_a_fault_to_be_found(small, begin_h, hours):
    without_power(small, begin_h, hours)
    assert told(small) == ((), [])


def test_power_lost_in_frost_is_a_fault_to_be_found(small):
    without_power(small, 9.0, 6.0)
    small.values["outdoor"][small.days_between(15, 15)] = -2.0
    assert "serviced" not in {s.kind for s in told(small)[0]}


def test_the_first_weeks_are_left_out_where_enough_remains():
    small = Small(about=f"handed_over = {FIRST}\n", days=80)
    spells, gone = told(small)
    assert [(s.kind, s.since, s.until) for s in spells] == [("settling_in", day_text(0), day_text(41))]
    assert gone == list(range(42))


def test_where_there_is_nothing_but_the_first_weeks_they_are_judged(small):
    small.about = f"handed_over = {FIRST}\n"
    spells, gone = told(small)
    assert [s.kind for s in spells] == ["settling_in"]
    assert gone == []


def test_summer_is_told_and_kept():
    small = Small(first=date(2025, 6, 20))
    small.values["outdoor"] += 14.0
    heating = (small.values["mode"] == 1.0) & small.from_day(2)
    small.values["elec"][heating], small.values["mode"][heating] = 15.0, 0.0
    for late in range(3):  # the heat meter follows by two minutes
        small.values["heat"][np.roll(heating, late)] = 0.0
    small.values["heat_kwh"] = 9000.0 + np.cumsum(small.values["heat"]) / 60_000.0
    spells, gone = told(small)
    assert [(s.kind, s.since, s.until) for s in spells] == [("summer", "2025-06-22", "2025-07-29")]
    assert gone == []


def test_a_fault_that_was_there_in_the_first_weeks_is_dated_from_them() -> None:
    begun = date(2023, 10, 10)
    spec = with_fault(random_plant(3105), "flow_temperature_above_curve", "curve_set_high")
    sim = simulate(replace(spec, faults=tuple(replace(f, start=begun) for f in spec.faults)), begun, 110)
    text = re.sub(r"handed_over = .*\n", "", sim.site_toml).replace(
        "[site]\n", f"[site]\nhanded_over = {begun}\n", 1
    )
    site, last = parse_site(text), begun + timedelta(109)
    result = analyse(site, build_facts(site, sim.readings, begun, last), begun, last)
    assert "settling_in" in {r.kind for r in result.recognised}
    found = next(f for f in result.findings if f.code == "flow_temperature_above_curve")
    assert found.since < f"{begun + timedelta(14)}"
