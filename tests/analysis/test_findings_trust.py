"""Findings about the data: each fires on wrong data and stays silent on unusual data."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.figures.period import Figures
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.data.clocks import clock_offset
from fieldfare.analysis.findings.data.gaps import data_gap
from fieldfare.analysis.findings.data.heat_meter import heat_meter_disagrees
from fieldfare.analysis.findings.data.limits import LIMITS_DATA
from fieldfare.analysis.findings.data.meters import implausible_efficiency
from fieldfare.analysis.findings.data.outdoor import outdoor_sensor_biased
from fieldfare.analysis.findings.data.registers import register_reset
from fieldfare.analysis.findings.data.stuck_sensors import sensor_stuck, still_days
from fieldfare.analysis.findings.data.swapped import flow_return_swapped
from fieldfare.analysis.findings.data.units import unit_mismatch
from fieldfare.analysis.findings.exclusions import find_exclusions
from fieldfare.analysis.findings.judge import DATA_RULES
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.physics.sun import clear_noon, half_day, solar_noon
from fieldfare.analysis.physics.water import antifreeze_over_reading
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.dashboards.text.words import finding_title
from tests.analysis.small_plant import ALL, FIRST, Small, found

CODES = {
    "data_gap",
    "sensor_stuck",
    "register_reset",
    "unit_mismatch",
    "flow_return_swapped",
    "clock_offset",
    "implausible_efficiency",
    "heat_meter_disagrees",
    "outdoor_sensor_biased",
    "meter_misplaced",
}


@pytest.fixture
def small() -> Small:
    return Small()


def day_text(n: int) -> str:
    return f"{FIRST + timedelta(n):%Y-%m-%d}"


def test_sound_data_have_no_finding_above_note(small):
    told = small.judged()
    assert [f.headline for f in told.findings if f.code in CODES and f.severity != "note"] == []
    assert told.unreliable == {}


def test_every_code_about_the_data_has_its_rule_and_every_limit_its_reason():
    assert {r.code for r in DATA_RULES} == CODES
    for name, limit in LIMITS_DATA.items():
        assert LIMITS[name] is limit
        assert len(limit.source) > 15, name
        assert limit.meaning, name


# ---- gaps


@pytest.mark.parametrize(("first", "severity"), [(30, "watch"), (10, "note")])
def test_a_gap_of_five_days_that_is_over_is_watched_until_it_has_held_for_a_fortnight(small, first, severity):
    """The gateway may fail again; later nothing is left to do, and every figure shows its coverage."""
    for v in small.values.values():
        v[small.days_between(first, first + 4)] = np.nan
    finding = data_gap(small.context())
    assert (finding.severity, finding.since, finding.until) == (
        severity,
        day_text(first),
        day_text(first + 4),
    )
    assert finding.evidence[0].value == pytest.approx(120.0 if severity == "watch" else 0.0, abs=1.0)
    assert finding.evidence[1].value == pytest.approx(120.0, abs=1.0)
    assert "5 days" in finding.headline


def test_short_gaps_that_come_back_add_up(small):
    for day in range(28, 38, 3):
        for v in small.values.values():
            v[day * 1440 + 300 : day * 1440 + 300 + 14 * 60] = np.nan
    assert data_gap(small.context()).severity == "watch"


def test_a_gateway_that_fails_every_few_weeks_is_not_well_after_a_fortnight():
    """Two days lost every eighteen: the last time sixteen days ago. Once alone says nothing any more."""
    for begins, severity in (((6, 24, 42), "watch"), ((42,), "note")):
        small = Small(days=60)
        for first in begins:
            for v in small.values.values():
                v[small.days_between(first, first + 1)] = np.nan
        assert data_gap(small.context()).severity == severity


def test_a_gap_of_half_a_month_stays_to_be_watched(small):
    for v in small.values.values():
        v[small.days_between(6, 20)] = np.nan
    finding = data_gap(small.context())
    assert (finding.severity, finding.evidence[0].limit_name) == ("watch", "gap_long_days")


def test_half_a_day_is_a_note(small):
    for v in small.values.values():
        v[20 * 1440 : 20 * 1440 + 700] = np.nan
    assert data_gap(small.context()).severity == "note"


def test_silence_to_this_day_wants_a_call(small):
    for v in small.values.values():
        v[small.from_day(36)] = np.nan
    finding = data_gap(small.context())
    assert (finding.severity, finding.until, finding.visit) == ("act", None, "call")
    assert "power" in finding.home


def test_days_before_the_first_reading_are_no_gap(small):
    for v in small.values.values():
        v[~small.from_day(8)] = np.nan
    assert data_gap(small.context()) is None


def test_one_silent_sensor_is_named(small):
    small.values["room"][small.from_day(33)] = np.nan
    finding = data_gap(small.context())
    assert "room" in finding.headline
    assert "all points" not in finding.headline
    assert (finding.severity, finding.since) == ("act", day_text(33))


def test_a_point_that_is_sent_only_when_it_changes_is_not_silent(small):
    room = small.values["room"]
    moved = np.concatenate(([True], np.abs(np.diff(np.round(room))) > 0.0))
    room[~moved] = np.nan
    small.values["target"][1:] = np.nan
    assert data_gap(small.context()) is None


def test_quiet_days_of_a_point_that_is_sent_on_change_are_no_gap(small):
    """It comes every hour on five days on which nothing happens: it was heard on each of them."""
    quiet = small.days_between(10, 14) & (small.time // 60_000 % 60 != 0)
    small.values["room"][quiet] = np.nan
    small.values["room"][small.days_between(10, 14) & ~quiet] = 20.0
    small.values["target"][quiet] = np.nan
    assert data_gap(small.context()) is None


@pytest.mark.parametrize(("hours", "severity"), [(48.0, "watch"), (80.0, "note")])
def test_the_gaps_limit_can_be_set_for_a_site(small, hours, severity):
    for v in small.values.values():
        v[small.days_between(30, 32)] = np.nan
    small.limits = f"gap_watch_hours = {hours}"
    finding = data_gap(small.context())
    assert (finding.severity, finding.evidence[0].limit) == (severity, hours)


# ---- stuck sensors


@pytest.mark.parametrize("point", ["back", "outdoor", "room", "tank", "rate", "pressure", "heat", "elec_kwh"])
def test_a_sensor_that_keeps_one_value_is_stuck(small, point):
    small.values[point][small.from_day(25)] = (
        small.values[point][small.from_day(25)][0] if point != "heat" else 4200.0
    )
    finding = sensor_stuck(small.context())
    assert (finding.severity, finding.until) == ("act", None)
    assert finding.since in (day_text(25), day_text(26))
    assert finding.headline.startswith(point)


def test_a_coarse_pressure_gauge_that_stands_between_its_steps_is_not_stuck(small):
    small.values["pressure"] = np.round(1.54 + 0.04 * np.sin(np.arange(len(small.time)) / 90.0), 1)
    small.values["pressure"][small.from_day(25)] = 1.5
    assert sensor_stuck(small.context()) is None


def test_a_pressure_that_stands_at_the_relief_valve_is_too_high_and_no_stuck_sensor(small):
    """Relief valves of dwellings open at 3 bar (EN 12828, from memory) and hold the pressure there."""
    small.values["pressure"][small.from_day(30)] = 3.0
    assert sensor_stuck(small.context()) is None
    assert found(small.judged().findings, "pressure_high").severity == "act"


def test_what_a_stuck_sensor_measures_spoils_the_findings_that_read_it(small):
    small.values["back"][small.from_day(25)] = 85.0
    told = small.judged()
    assert "85" in found(told.findings, "sensor_stuck").headline
    assert "return_temperature" in told.unreliable
    reasons = {n.code: n.reason for n in told.not_assessed}
    for code in ("flow_return_swapped", "heat_meter_disagrees", "implausible_efficiency"):
        assert "sensor_stuck" in reasons[code]
    assert not any(
        f.code in ("unit_mismatch", "clock_offset") and f.severity != "note" for f in told.findings
    )


def test_a_stuck_stretch_that_is_over_is_a_note(small):
    small.values["outdoor"][small.days_between(12, 15)] = 4.0
    finding = sensor_stuck(small.context())
    assert (finding.severity, finding.since, finding.until) == ("note", day_text(12), day_text(15))


@pytest.mark.parametrize(("noise_k", "told"), [(0.05, True), (0.8, False)])
def test_an_outdoor_sensor_that_moves_by_its_noise_alone_is_stuck(small, noise_k, told):
    since = small.days_between(15, 39)
    rng = np.random.default_rng(7)
    small.values["outdoor"][since] = np.round(3.0 + rng.uniform(-noise_k, noise_k, since.sum()), 2)
    judged = small.judged()
    assert ("outdoor_temperature" in judged.unreliable) == told
    if told:
        finding = found(judged.findings, "sensor_stuck")
        assert (finding.severity, finding.since, finding.until) == ("act", day_text(15), None)
        assert "within 0.1 K" in finding.headline


def sent_on_change(small: Small, point: str, step: float, beat_h: int = 6) -> None:
    """Send a point only where it has changed by a step, and as a sign of life."""
    value = np.round(small.values[point] / step) * step
    new = np.concatenate(([True], np.diff(value) != 0.0))
    beat = small.time % (beat_h * 3_600_000) == 0
    small.values[point] = np.where(new | beat, value, np.nan)


@pytest.mark.parametrize(("last", "severity", "until"), [(39, "act", None), (34, "watch", 34)])
def test_a_sensor_that_sends_changes_only_is_stuck_by_their_absence(small, last, severity, until):
    small.values["outdoor"][small.days_between(15, last)] = 9.0
    sent_on_change(small, "outdoor", 0.5)
    finding = sensor_stuck(small.context())
    assert (finding.severity, finding.until) == (severity, until and day_text(until))
    assert finding.since in (day_text(15), day_text(16))


def test_a_sensor_that_sends_changes_only_may_keep_still_for_two_days(small):
    small.values["outdoor"][small.days_between(15, 16)] = 9.0
    sent_on_change(small, "outdoor", 0.5)
    assert sensor_stuck(small.context()) is None


def test_days_of_a_sensor_that_was_stuck_are_not_judged_by_it(small):
    small.values["outdoor"][small.days_between(12, 20)] = 9.0
    context = small.context()
    still = still_days(context)
    assert set(still) == {"outdoor_temperature"}
    assert still["outdoor_temperature"].nonzero()[0].tolist() == list(range(12, 21))
    exclusions = replace(find_exclusions(small.site, context.facts), still=still)
    judged = exclusions.facts_for("defrost_without_frost", frozenset({"outdoor_temperature"})).days["day"]
    assert not np.isin(context.days["day"][12:21], judged).any()
    assert len(exclusions.facts_for("pressure_low", frozenset({"system_pressure"})).days) == len(context.days)


def test_a_coarse_sensor_that_seldom_moves_is_not_stuck(small):
    """Whole degrees of a heavy house: two or three changes a day, some days none."""
    rng = np.random.default_rng(8)
    steps = np.cumsum(rng.choice([-1, 0, 0, 1], 41 * 4)) % 3
    small.values["room"] = np.repeat(20.0 + steps, 360)[: len(small.time)]
    assert sensor_stuck(small.context()) is None


@pytest.mark.parametrize("hours", [1, 4, 12, 18])
def test_a_day_that_has_hardly_begun_is_not_stuck(small, hours):
    """Air that is as damp at midnight as at six."""
    last = small.from_day(39)
    begun = last & (np.cumsum(last) <= hours * 60)
    small.values["outdoor"][begun] = small.values["outdoor"][begun][0]
    for values in small.values.values():
        values[last & ~begun] = np.nan
    assert sensor_stuck(small.context()) is None


def pumped(small: Small, rate: float) -> None:
    """From day 20 on the pump never stops: the flow sensor shows one value, the meter's own heat as it is."""
    small.values["rate"][small.from_day(20)] = rate


def test_a_pump_that_never_stops_again_has_no_stuck_flow_sensor(small):
    pumped(small, 1.0)
    assert sensor_stuck(small.context()) is None


def test_a_flow_that_the_heat_meter_belies_is_stuck(small):
    pumped(small, 0.6)
    finding = sensor_stuck(small.context())
    assert (finding.severity, finding.until) == ("act", None)
    assert finding.headline.startswith("rate")


def test_a_flow_that_agrees_in_charges_is_not_stuck(small):
    """A heater after the unit's sensors and before the heat meter: more heat than flow and temperatures
    give while the rooms are heated, as much while the cylinder is charged, where the heater has no part."""
    pumped(small, 1.0)
    heating = small.from_day(20) & (small.values["mode"] == 1.0)
    small.values["heat"][heating] += 2400.0
    assert sensor_stuck(small.context()) is None
    pumped(small, 0.6)
    assert sensor_stuck(small.context()) is not None


@pytest.mark.parametrize("point", ["elec", "rate"])
def test_a_point_that_sent_a_single_reading_breaks_nothing(point):
    small = Small(days=6)
    only = np.flatnonzero(np.isfinite(small.values[point]))[4000]
    kept = small.values[point][only]
    small.values[point][:] = np.nan
    small.values[point][only] = kept
    small.judged()


def test_a_site_of_one_reading_in_all_breaks_nothing():
    small = Small(ids=("elec",), days=2)
    small.values["elec"][np.arange(len(small.time)) != 2000] = np.nan
    small.judged()


def test_a_daily_mean_sent_all_day_is_not_stuck(small):
    day = (small.time - small.time[0]) // 86_400_000
    small.values["outdoor"] = np.round(5.0 + 3.0 * np.sin(day / 3.0))
    assert sensor_stuck(small.context()) is None


def test_water_that_stands_still_is_not_stuck(small):
    """A unit at rest for a week: nothing runs, nothing moves."""
    off = small.days_between(20, 27)
    for name, value in (
        ("elec", 12.0),
        ("heat", 0.0),
        ("flow", 20.0),
        ("back", 20.0),
        ("rate", 0.0),
        ("mode", 0.0),
    ):
        small.values[name][off] = value
    for name in ("elec_kwh", "heat_kwh"):
        small.values[name] = 100.0 + np.cumsum(small.values[name.removesuffix("_kwh")]) / 60_000.0
    assert sensor_stuck(small.context()) is None


# ---- registers


def reset(small: Small, name: str, days: list[int]) -> None:
    for d in days:
        v, after = small.values[name], small.from_day(d)
        v[after] -= v[after][0]


def test_one_reset_is_a_note_three_are_a_watch_many_are_an_act():
    for days, severity in (([20], "note"), ([10, 20, 30], "watch"), (list(range(5, 40, 5)), "act")):
        small = Small(ids=("elec_kwh", "heat_kwh", "outdoor"))
        reset(small, "elec_kwh", days)
        context = small.context()
        finding = register_reset(context)
        assert (finding.severity, finding.since) == (severity, day_text(days[0]))
        assert finding.evidence[0].value == len(days)
        assert context.all_days.days["electricity_total_kwh"].sum() == pytest.approx(
            small.values["elec"][1440:].sum() / 60_000.0, rel=0.01
        )


def test_a_register_at_the_end_of_its_range_is_a_note():
    small = Small(ids=("elec_kwh", "heat_kwh"))
    small.values["elec_kwh"] = (small.values["elec_kwh"] - 3000.0 + 9900.0) % 10_000.0
    finding = register_reset(small.context())
    assert finding.severity == "note"
    assert "end of its range" in finding.headline


def test_without_a_running_total_resets_cannot_be_told():
    with pytest.raises(NotAssessed, match="running total"):
        register_reset(Small(ids=("elec", "heat", "outdoor")).context())


# ---- units


SLIPS = {
    "kW sent as W": ("elec", lambda v: v / 1000.0, "kW"),
    "W sent as kW": ("heat", lambda v: v, "W"),
    "MWh sent as kWh": ("heat_kwh", lambda v: v / 1000.0, "MWh"),
    "Wh sent as kWh": ("elec_kwh", lambda v: v * 1000.0, "Wh"),
    "degF sent as degC": ("outdoor", lambda v: v * 1.8 + 32.0, "degF"),
    "room degF sent as degC": ("room", lambda v: v * 1.8 + 32.0, "degF"),
    "tank degF sent as degC": ("tank", lambda v: v * 1.8 + 32.0, "degF"),
    "l/min sent as m3/h": ("rate", lambda v: v * 1000.0 / 60.0, "l/min"),
    "l/h sent as m3/h": ("rate", lambda v: v * 1000.0, "l/h"),
    "l/s sent as m3/h": ("rate", lambda v: v / 3.6, "l/s"),
    "kPa sent as bar": ("pressure", lambda v: v * 100.0, "kPa"),
    "psi sent as bar": ("pressure", lambda v: v * 14.504, "psi"),
}


# A unit that is declared wrong is wrong from the first day; all others may also come with a change of the
# gateway.
CASES = [(slip, begins) for slip in SLIPS for begins in (0, 25) if not (begins and slip.startswith("W sent"))]


@pytest.mark.parametrize(("slip", "begins"), CASES)
def test_a_wrong_unit_is_named_with_the_right_one(slip, begins):
    point, wrong, right = SLIPS[slip]
    small = Small(units={"heat": "kW"} if slip == "W sent as kW" else {})
    wrongly = small.from_day(begins) if begins else np.ones(len(small.time), dtype=bool)
    small.values[point] = np.where(wrongly, wrong(small.values[point]), small.values[point])
    context = small.context()
    finding = unit_mismatch(context)
    assert finding is not None
    assert finding.headline.startswith(f"{point} ")
    assert f"sends {right} " in finding.headline
    assert (finding.severity, finding.visit) == ("act", "setting")
    if begins:
        assert finding.since == day_text(begins)
    rule = next(r for r in DATA_RULES if r.code == "unit_mismatch")
    quantity = context.site.find_point(point).quantity
    assert rule.makes_unreliable(context, finding) == {quantity}


def test_a_unit_at_rest_is_no_wrong_unit():
    """Only standby all winter: a few watts are what they are."""
    small = Small(ids=("elec", "outdoor"))
    rng = np.random.default_rng(3)
    small.values["elec"] = 8.0 + rng.standard_normal(len(small.time))
    assert unit_mismatch(small.context()) is None


def test_a_cylinder_drawn_empty_is_no_wrong_unit(small):
    small.values["tank"] = 15.0 + 0.1 * (small.values["tank"] - 44.0)
    assert unit_mismatch(small.context()) is None


def test_celsius_sent_where_fahrenheit_is_declared_is_named():
    small = Small(units={"room": "degF"})
    finding = unit_mismatch(small.context())
    assert finding is not None
    assert "sends degC though the site file says degF" in finding.headline


def test_a_hot_summer_is_no_fahrenheit():
    small = Small(ids=("elec", "outdoor", "flow", "mode"), first=date(2025, 7, 1))
    small.values["outdoor"] += 24.0
    heating = small.values["mode"] == 1.0
    small.values["elec"][heating], small.values["flow"][heating], small.values["mode"][heating] = (
        12.0,
        26.0,
        0.0,
    )
    assert unit_mismatch(small.context()) is None


def test_a_cold_snap_is_no_celsius_taken_for_fahrenheit(small):
    small.values["outdoor"][small.days_between(10, 16)] -= 22.0
    assert unit_mismatch(small.context()) is None


def test_pressure_that_is_lost_is_no_wrong_unit(small):
    small.values["pressure"] = np.round(np.linspace(1.5, 0.02, len(small.time)), 2)
    assert unit_mismatch(small.context()) is None


def test_figures_that_rest_on_a_wrong_unit_are_withheld():
    small = Small()
    for name in ("heat", "heat_kwh"):
        small.values[name] /= 1000.0
    facts = small.facts
    document = analyse(small.site, facts, FIRST, FIRST + timedelta(small.days - 1)).as_dict()
    assert document["performance"]["H2"] is None
    assert "heat_output can't be trusted (unit_mismatch" in document["performance"]["reasons"]["H2"]
    assert document["energy"]["heat_kwh"]["total"] is None
    assert document["energy"]["electricity_kwh"]["total"] == pytest.approx(
        small.values["elec"][1440:].sum() / 60_000.0, rel=0.01
    )
    assert document["heat_loss"]["coefficient_w_per_k"] is None
    assert document["performance"]["by_day"][0]["H2"] is None
    assert "efficiency_below_expected" in {n["code"] for n in document["not_assessed"]}


def test_a_wrong_clock_leaves_totals_and_withholds_what_happened_when():
    small = Small()
    delayed(small, ("elec", "elec_kwh"), 60)
    document = analyse(small.site, small.facts, FIRST, FIRST + timedelta(small.days - 1)).as_dict()
    assert document["performance"]["H2"]["value"] == pytest.approx(3.2, abs=0.3)
    assert document["performance"]["hot_water"] is None
    assert "clock_offset" in document["performance"]["reasons"]["hot_water"]
    assert document["energy"]["electricity_kwh"]["total"] > 0
    assert document["energy"]["electricity_kwh"]["hot_water"] is None
    assert document["cycling"]["starts"] is None
    assert "clock_offset" in {n["code"]: n["reason"] for n in document["not_assessed"]}["short_cycling"]


@pytest.mark.parametrize(("minutes", "kept"), [(7, True), (60, False)])
def test_a_clock_some_minutes_off_leaves_what_is_judged_by_whole_days(minutes, kept):
    small = Small(days=60, design="outdoor_c = -3.0\nheat_loss_kw = 6.0\nspf_space = 9.0\n")
    delayed(small, ("heat", "heat_kwh"), minutes)
    told = small.judged()
    assert "heat_output" in told.unreliable
    withheld = {n.code for n in told.not_assessed if "clock_offset" in n.reason}
    by_day = {"heat_loss_above_design", "heat_loss_below_design", "performance_below_promise"}
    assert (not by_day & withheld) is kept
    assert bool([f for f in told.findings if f.code == "performance_below_promise"]) is kept
    assert "slow_reheat" in withheld


def test_a_stuck_room_sensor_withholds_comfort_and_the_house():
    small = Small()
    small.values["room"][:] = 20.0
    document = analyse(small.site, small.facts, FIRST, FIRST + timedelta(small.days - 1)).as_dict()
    assert document["comfort"]["zones"] == {}
    assert document["heat_loss"]["ratio"] is None
    assert "room_temperature can't be trusted" in document["heat_loss"]["reason"]
    assert document["performance"]["H2"] is not None


# ---- swapped


def test_swapped_sensors_are_told_with_the_day(small):
    after = small.from_day(25)
    flow, back = small.values["flow"].copy(), small.values["back"].copy()
    small.values["flow"][after], small.values["back"][after] = back[after], flow[after]
    finding = flow_return_swapped(small.context())
    assert (finding.severity, finding.since) == ("act", day_text(25))
    assert finding.evidence[0].value > 2.0


def test_a_unit_that_cools_has_the_colder_flow_by_right():
    small = Small(first=date(2025, 7, 1), ids=tuple(i for i in Small().ids if i != "mode"))
    small.values["outdoor"] += 20.0
    small.values["flow"], small.values["back"] = small.values["back"], small.values["flow"]
    with pytest.raises(NotAssessed, match="no run is long enough"):
        flow_return_swapped(small.context())


def test_without_both_temperatures_swapping_is_not_assessed():
    told = Small(ids=("elec", "heat", "outdoor", "flow")).judged()
    assert {n.code: n.reason for n in told.not_assessed}["flow_return_swapped"] == "needs return_temperature"


# ---- clocks


def delayed(small: Small, names: tuple[str, ...], minutes: int, begins: int = -1) -> None:
    for name in names:
        v = small.values[name]
        small.values[name] = np.where(small.from_day(begins), np.roll(v, minutes), v)


@pytest.mark.parametrize("minutes", [25, 60, -90, 360])
def test_an_electricity_meter_at_another_time_is_named_with_its_lag(small, minutes):
    delayed(small, ("elec", "elec_kwh"), minutes, 10)
    finding = clock_offset(small.context())
    assert finding.since in (day_text(9), day_text(10), day_text(11))
    assert "elec" in finding.headline
    assert f"{'late' if minutes > 0 else 'early'}" in finding.headline
    assert abs(finding.evidence[0].value) == pytest.approx(abs(minutes), abs=6)
    assert finding.severity == ("act" if abs(minutes) >= 60 else "watch")


def test_a_heat_meter_at_another_time_is_not_blamed_on_the_electricity(small):
    delayed(small, ("heat", "heat_kwh"), 60)
    told = small.judged()
    assert "heat" in found(told.findings, "clock_offset").headline
    assert "heat_output" in told.unreliable
    assert "heat_pump_electricity" not in told.unreliable


def test_what_water_takes_to_follow_is_no_clock(small):
    delayed(small, ("heat", "heat_kwh", "flow", "back"), 2)
    assert clock_offset(small.context()) is None


@pytest.mark.parametrize("minutes", [6, 9, 14])
def test_a_heat_meter_some_minutes_late_is_told_by_its_runs(small, minutes):
    delayed(small, ("heat", "heat_kwh"), minutes)
    finding = clock_offset(small.context())
    assert finding.severity == "watch"
    assert finding.evidence[0].value == pytest.approx(minutes + 1.0, abs=1.5)


def test_the_clocks_limit_can_be_set_for_a_site(small):
    delayed(small, ("elec", "elec_kwh"), 25)
    small.limits = "clock_minutes = 40.0\nclock_edge_minutes = 40.0"
    assert clock_offset(small.context()) is None


def test_a_whole_plant_in_the_wrong_zone_is_told_by_its_air():
    small = Small(ids=("elec", "heat", "outdoor"))
    delayed(small, small.ids, -6 * 60)
    finding = clock_offset(small.context())
    assert "early" in finding.headline
    assert finding.evidence[0].value / 60.0 == pytest.approx(-6.0, abs=1.5)
    told = small.judged()
    assert {n.code for n in told.not_assessed} >= {"outdoor_sensor_biased"}
    assert told.unreliable == {}


def with_set_back(small: Small, begins_h: float) -> None:
    """A target that falls each evening by the clock on the wall, an hour later or earlier from the clock
    change on."""
    local = pd.to_datetime(small.time, unit="ms", utc=True).tz_convert("Europe/London")
    hour = local.hour.to_numpy() + local.minute.to_numpy() / 60.0
    changed = local >= pd.Timestamp("2026-03-29 02:00", tz="Europe/London")
    begin = np.where(changed, begins_h, 22.0)
    small.values["target"] = np.where((hour >= begin) | (hour < 6.0), 17.0, 20.0)


@pytest.mark.parametrize(("begins_h", "word"), [(23.0, "later"), (21.0, "earlier")])
def test_a_clock_that_was_not_changed_over_is_told_by_the_set_back(begins_h, word):
    small = Small(first=date(2026, 3, 10))
    with_set_back(small, begins_h)
    finding = clock_offset(small.context())
    assert (finding.severity, finding.since) == ("note", "2026-03-29")  # as likely the heating's own clock
    assert word in finding.headline


@pytest.mark.parametrize("begins_h", [22.0, 20.0])
def test_a_set_back_that_keeps_its_time_or_gets_another_is_no_clock(begins_h):
    small = Small(first=date(2026, 3, 10))
    with_set_back(small, begins_h)
    assert clock_offset(small.context()) is None


def test_without_anything_to_compare_clocks_are_not_assessed():
    with pytest.raises(NotAssessed, match="latitude"):
        clock_offset(Small(ids=("elec",)).context())


# ---- impossible efficiency


@pytest.mark.parametrize(
    ("factor", "words"), [(4.0, "physics"), (2.2, "any heat pump"), (0.15, "electric heater")]
)
def test_efficiency_that_no_unit_has(small, factor, words):
    for name in ("heat", "heat_kwh"):
        small.values[name] *= factor
    finding = implausible_efficiency(small.context())
    assert finding.severity == "act"
    assert words in finding.headline
    title = finding_title("implausible_efficiency")
    assert not {"higher", "lower", "above", "below"} & set(title.split()), "one name for both sides"


@pytest.mark.parametrize(
    "ids",
    [
        ("elec", "elec_kwh", "heat", "heat_kwh", "outdoor", "mode", "tank"),
        ("elec", "elec_kwh", "heat_kwh"),
        ("elec", "elec_kwh", "heat", "heat_kwh", "outdoor"),
    ],
    ids=["mode known", "registers alone", "running told by power"],
)
def test_a_performance_of_135_is_never_in_order(ids):
    """A clamp on the wrong wire: so little that the unit seems at rest while the heat meter counts."""
    small = Small(ids=ids, days=12)
    for name in ("elec", "elec_kwh"):
        small.values[name] *= 3.27 / 135.0
    last = FIRST + timedelta(11)
    told = analyse(small.site, small.facts, FIRST, last).as_dict()
    assert told["verdict"]["verdict"] in ("act", "urgent")
    because = next(b for b in told["verdict"]["because"] if b["code"] == "implausible_efficiency")
    assert "more than any heat pump reaches" in because["says"]
    assert told["performance"]["H2"] is None
    assert "implausible_efficiency" in told["performance"]["reasons"]["H2"]


def test_heat_of_an_unmetered_heater_behind_the_unit_is_no_efficiency():
    """The unit rests, the in-line heater carries the house, and the heat meter behind it counts its heat."""
    small = Small(ids=("elec", "elec_kwh", "heat", "heat_kwh", "outdoor"), days=12)
    for name in ("elec", "elec_kwh"):
        small.values[name] *= 3.27 / 135.0
    site = parse_site(
        small.text.replace(
            'quantity = "heat_output"', 'quantity = "heat_output"\nincludes = ["backup_heater"]'
        )
    )
    facts = build_facts(site, small.readings, FIRST, FIRST + timedelta(11))
    with pytest.raises(NotAssessed):
        implausible_efficiency(Context(site, facts, facts, Figures(site, facts)))


def test_a_good_unit_on_a_mild_day_is_believed(small):
    for name in ("heat", "heat_kwh"):
        small.values[name] *= 1.25
    assert implausible_efficiency(small.context()) is None


def test_an_hour_of_resistance_heat_is_no_impossible_efficiency(small):
    small.values["heat"][small.days_between(9, 9)] *= 0.1
    assert implausible_efficiency(small.context()) is None


# ---- heat meter against flow


def test_a_heat_meter_that_counts_a_fifth_less_disagrees(small):
    for name in ("heat", "heat_kwh"):
        small.values[name] *= 0.8
    told = small.judged()
    finding = found(told.findings, "heat_meter_disagrees")
    assert (finding.severity, finding.causes) == ("watch", ())
    assert "20 % less" in finding.headline
    assert {"heat_output"} <= told.unreliable.keys()


def test_a_heat_meter_within_its_class_agrees(small):
    for name in ("heat", "heat_kwh"):
        small.values[name] *= 1.02
    assert heat_meter_disagrees(small.context()) is None


def without_heat_meter(return_off_k: float) -> Small:
    """Heat from flow rate and temperatures; a pump that never stops, and a return sensor that is off."""
    small = Small(ids=tuple(name for name in ALL if not name.startswith("heat")))
    small.values["rate"] = np.ones(len(small.time))
    lift = small.values["heat"] / 1155.0
    small.values["flow"] = small.values["back"] + lift
    small.values["back"] = small.values["back"] + return_off_k
    return small


@pytest.mark.parametrize(("return_off_k", "words"), [(1.5, "too low"), (-1.5, "too high")])
def test_two_sensors_that_differ_at_rest_tell_of_calculated_heat(return_off_k, words):
    told = without_heat_meter(return_off_k).judged()
    finding = found(told.findings, "heat_meter_disagrees")
    assert finding.severity in ("watch", "act")
    assert words in finding.headline
    assert "differ by 1.5 K" in finding.headline
    assert "heat meter" not in finding.headline + finding.next_step
    assert "heat_output" in told.unreliable
    codes = {f.code for f in told.findings}
    assert not codes & {"efficiency_below_expected", "performance_below_promise"}


def test_two_sensors_that_agree_at_rest_are_believed():
    assert heat_meter_disagrees(without_heat_meter(0.1).context()) is None


def test_calculated_heat_is_less_certain_than_metered():
    """Two sensors of class B (IEC 60751) on pipes against a pair in one meter of class 2 (EN 1434-1)."""
    metered, calculated = (s.context().days for s in (Small(), without_heat_meter(0.0)))
    share = [d.total("heat_pair_error_kwh") / d.total("heat_total_kwh") for d in (metered, calculated)]
    assert share[1] > 4.0 * share[0]


def with_antifreeze(corrected: bool) -> Small:
    small = Small(pump='antifreeze = "propylene_glycol"\nantifreeze_percent = 30.0\n')
    share = float(antifreeze_over_reading(35.0, 30.0, fluid="propylene_glycol", percent=30.0))
    # Flow times temperatures is calculated with the mixture: the same flow carries less heat.
    small.values["flow"] = small.values["back"] + (small.values["flow"] - small.values["back"]) * (
        1.0 + share
    )
    if not corrected:
        for name in ("heat", "heat_kwh"):
            small.values[name] *= 1.0 + share
    return small


def test_antifreeze_that_the_meter_takes_for_water_is_named_with_its_share():
    told = with_antifreeze(corrected=False).judged()
    finding = found(told.findings, "heat_meter_disagrees")
    assert finding.severity == "watch"
    assert (finding.causes[0].cause, finding.causes[0].weight) == ("antifreeze_uncorrected", 1.0)
    assert "agrees" in finding.causes[0].because
    assert finding.evidence[0].value == pytest.approx(0.05, abs=0.015)
    assert "harmful" in finding.caution
    assert told.unreliable == {}, "the figures allow for it"


def test_a_meter_that_allows_for_antifreeze_though_the_file_does_not_say_so_is_a_note():
    finding = heat_meter_disagrees(with_antifreeze(corrected=True).context())
    assert finding.severity == "note"


def test_antifreeze_is_known_from_the_file_alone():
    small = with_antifreeze(corrected=False)
    small.ids = ("elec_kwh", "heat_kwh", "outdoor")
    finding = heat_meter_disagrees(small.context())
    assert (finding.severity, finding.causes[0].cause) == ("watch", "antifreeze_uncorrected")


def test_without_flow_rate_the_heat_meter_is_not_checked():
    with pytest.raises(NotAssessed, match="flow_rate"):
        heat_meter_disagrees(Small(ids=("elec", "heat", "outdoor")).context())


# ---- outdoor sensor


def sunny(small: Small, at_500: float, side_h: float = 0.0) -> np.ndarray:
    """What a wall in the sun adds at each minute [K], on days half of which are bright."""
    day = pd.to_datetime(small.time, unit="ms")
    n = day.day_of_year.to_numpy()
    minute = (small.time // 60_000) % 1440
    noon, half = solar_noon(n, small.longitude), half_day(n, 52.0)
    height = np.clip(np.cos((minute - noon - 60.0 * side_h) / half * np.pi / 2.0), 0.0, None)
    height[np.abs(minute - noon) > half] = 0.0
    bright = np.where((small.time // 86_400_000) % 3 < 2, 1.0, 0.2)
    return at_500 * height * bright * np.asarray(clear_noon(n, 52.0)) / 500.0


def in_spring() -> Small:
    small = Small(ids=("elec", "heat", "outdoor"), first=date(2026, 1, 20), days=90)
    n = pd.to_datetime(small.time, unit="ms").day_of_year.to_numpy()
    minute = (small.time // 60_000) % 1440
    noon, half = solar_noon(n, small.longitude), half_day(n, 52.0)
    # The air's own course after Parton and Logan (1981): a sine by day, a decay by night.
    span = 2.0 * half + 2.0 * 111.6
    since = minute - (noon - half)
    by_day = np.sin(np.pi * np.clip(since, 0.0, 2.0 * half) / span)
    at_dusk = np.sin(np.pi * 2.0 * half / span)
    since_dusk = np.where(since > 2.0 * half, since - 2.0 * half, since + 1440.0 - 2.0 * half)
    by_night = at_dusk * np.exp(-2.2 * since_dusk / (1440.0 - 2.0 * half))
    course = np.where((since >= 0) & (since <= 2.0 * half), by_day, by_night)
    days = (small.time - small.time[0]) / 86_400_000
    small.values["outdoor"] = np.round(4.0 + 2.0 * np.sin(days / 6.0) + 7.0 * course, 1)
    return small


@pytest.mark.parametrize(("at_500", "side_h"), [(8.0, 0.0), (8.0, -2.5), (15.0, 0.0)])
def test_a_sensor_in_the_sun_is_told(at_500, side_h):
    small = in_spring()
    small.values["outdoor"] = np.round(small.values["outdoor"] + sunny(small, at_500, side_h), 1)
    told = small.judged()
    finding = found(told.findings, "outdoor_sensor_biased")
    assert finding.severity in ("watch", "act")
    assert finding.visit == "drive"
    assert "outdoor_temperature" in told.unreliable


def test_a_shaded_sensor_is_believed():
    assert outdoor_sensor_biased(in_spring().context()) is None


def test_large_swings_of_the_air_itself_are_believed():
    small = in_spring()
    small.values["outdoor"] = np.round(6.0 + 1.8 * (small.values["outdoor"] - 6.0), 1)
    assert outdoor_sensor_biased(small.context()) is None


def test_midwinter_is_too_dark_to_tell():
    small = Small(ids=("elec", "outdoor"), first=date(2025, 11, 25), days=40)
    with pytest.raises(NotAssessed, match="too low"):
        outdoor_sensor_biased(small.context())


def test_without_a_place_the_sun_is_unknown():
    small = in_spring()
    site = small.site
    nowhere = site.model_copy(
        update={"site": site.site.model_copy(update={"latitude": None, "longitude": None})}
    )
    facts = small.facts
    context = small.context()
    with pytest.raises(NotAssessed, match="latitude"):
        outdoor_sensor_biased(type(context)(nowhere, facts, facts, context.figures))
