"""Meter placement and faults: coarse registers, heat behind the heater, cooling, forward-only meters, broken
sensors."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.data import flow_product, hypotheses, misplaced
from fieldfare.analysis.findings.data.heat_meter import heat_meter_disagrees
from fieldfare.analysis.findings.exclusions import find_exclusions
from fieldfare.analysis.findings.excuses import (
    EXCUSED,
    FAMILIES,
    FAMILY_OF,
    excuses,
    not_fitted,
)
from fieldfare.analysis.findings.judge import PLANT_RULES
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.plausible import implausible
from fieldfare.analysis.minutes.registers import change_points, counting_step
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.result import Result, analyse
from tests.analysis.plain import HEAD, every_minute, point, result_of, site_of
from tests.analysis.small_plant import Small, found

MINUTE = 60_000


@pytest.fixture
def small() -> Small:
    return Small()


def result(small: Small, more: str = "", readings: dict | None = None) -> Result:
    """The small plant's whole result, with more points if given."""
    site = small.site if not more else parse_site(small.text + more)
    given = small.readings | (readings or {})
    last = small.first + timedelta(small.days - 1)
    return analyse(site, build_facts(site, given, small.first, last), small.first, last)


def minutes(n: int) -> np.ndarray:
    return np.arange(n, dtype=np.int64) * MINUTE


def counted(watts: np.ndarray, step: float) -> np.ndarray:
    """A register's totals [kWh] at the ends of the minutes, in steps."""
    return np.floor(np.concatenate(([0.0], np.cumsum(watts))) / 60_000.0 / step + 1e-9) * step


# ---- steps of registers


@pytest.mark.parametrize(("step", "scale"), [(1.0, 1), (0.1, 1), (0.01, 1), (0.001, 3)])
def test_the_step_is_seen_though_no_rise_is_a_single_one(step, scale):
    rises = np.array([0.0, 3.0, 4.0, 5.0, 0.0, 7.0]) * step * scale
    assert counting_step(rises) == pytest.approx(step * scale)


def test_standby_counted_in_steps_is_a_small_load_and_no_run():
    """12 W in steps of 0.01 kWh move once in 50 minutes: by the minute that would be 600 W."""
    value = counted(np.full(3000, 12.0), 0.01)
    shape = change_points(minutes(3001), value, 1.0)
    power = np.diff(np.interp(minutes(3001), shape.time, shape.value)) * 60_000.0
    assert power[200:2900].max() < 15.0


@pytest.mark.parametrize("step", [0.001, 0.01, 0.1])
def test_a_run_after_a_rest_begins_when_it_began(step):
    watts = np.zeros(1200)
    watts[400:700] = 1500.0
    shape = change_points(minutes(1201), counted(watts, step), 1.0)
    power = np.diff(np.interp(minutes(1201), shape.time, shape.value)) * 60_000.0
    began = int(np.flatnonzero(power > 700.0)[0])
    assert began == pytest.approx(400, abs=max(2.0, step / 1.5 * 60.0))
    assert shape.spacing == pytest.approx(max(1.0, step * 60.0 / 1.5), abs=1.0)


def test_what_was_counted_while_nothing_was_read_is_no_rest_and_no_burst():
    """A unit of 2 kW in half-hour runs; a day without readings in which its register counts on, or stands."""
    minute = np.arange(4 * 1440)
    on = minute % 60 < 30
    gap = (minute >= 2000) & (minute < 3440)
    for works in (True, False):
        value = np.floor(np.cumsum(np.where(on & (works | ~gap), 2.0 / 60.0, 0.0)) / 0.1) * 0.1
        time = minutes(len(minute))[~gap]
        shape = change_points(time, value[~gap], 1.0, 5.0)
        assert np.diff(shape.value).max() < 30.0
        inside = np.interp(minutes(len(minute))[gap], shape.time, shape.value)
        assert np.diff(inside).max() * 60.0 < 2.5  # [kW]
        assert bool(inside[-1] - inside[0] > 20.0) is works


@pytest.mark.parametrize("works", [True, False])
def test_a_register_that_counted_through_a_silence_shows_that_the_unit_ran(small, works):
    """Nothing is read for 30 hours of heating weather; the registers after it show runs, or none."""
    small.ids = ("elec_kwh", "heat_kwh", "outdoor", "tank")
    first = int(np.argmax(small.from_day(20)))
    silent = (np.arange(len(small.time)) >= first) & (np.arange(len(small.time)) < first + 1800)
    if not works:
        for name, power in (("elec_kwh", "elec"), ("heat_kwh", "heat")):
            still = np.where(silent, 0.0, small.values[power])
            small.values[name] = small.values[name][0] + np.cumsum(still) / 60_000.0
    for name in small.ids:
        small.values[name] = np.where(silent, np.nan, small.values[name])
    stops = [f for f in small.judged().findings if f.code == "unit_stopped"]
    assert bool(stops) is not works


def test_totals_stay_whatever_the_shape():
    rng = np.random.default_rng(3)
    watts = np.where(rng.random(5000) < 0.4, 2000.0, 10.0)
    value = counted(watts, 0.1)
    shape = change_points(minutes(5001), value, 1.0)
    assert shape.value[-1] - shape.value[0] == pytest.approx(value[-1] - value[0])
    assert (np.diff(shape.time) >= 0).all()
    assert (np.diff(shape.value) >= -1e-9).all()


def test_a_coarse_register_that_nobody_read_for_days_counted_all_the_time():
    """0.9 kW in steps of 0.1 kWh, four days without a reading: not a rest and 86 kWh in some minutes."""
    time = minutes(10_001)
    value = np.floor(time / 60_000 * 0.9 / 60.0 * 10.0) / 10.0
    read = (time < 2_000 * 60_000) | (time >= 7_760 * 60_000)
    shape = change_points(time[read], value[read], 1.0)
    middle = np.interp(np.array([3_000, 5_000, 7_000]) * 60_000, shape.time, shape.value)
    assert middle == pytest.approx(np.array([3_000, 5_000, 7_000]) * 0.9 / 60.0, abs=0.3)


@pytest.mark.parametrize(("elec", "heat"), [(0.01, 1.0), (0.1, 0.1), (0.01, 0.1)])
def test_coarse_registers_count_the_runs_that_there_are(elec, heat):
    small = Small(ids=("elec_kwh", "heat_kwh", "outdoor"), days=20)
    true = int(
        ((np.diff((small.values["elec"] > 100.0).astype(int)) == 1) & small.days_between(0, 19)[1:]).sum()
    )
    for name, step in (("elec_kwh", elec), ("heat_kwh", heat)):
        small.values[name] = np.floor(small.values[name] / step + 1e-9) * step
    cycling = small.context().figures.cycling
    assert cycling.starts is None or cycling.starts == pytest.approx(true, rel=0.15)


def test_whole_kilowatt_hours_show_no_runs_and_say_so():
    small = Small(ids=("elec_kwh", "heat_kwh", "outdoor"), days=20)
    for name in ("elec_kwh", "heat_kwh"):
        small.values[name] = np.floor(small.values[name])
    cycling = small.context().figures.cycling
    assert cycling.starts is None
    assert "steps of 1 kWh" in cycling.reason


def test_where_the_register_is_coarse_the_units_own_word_shows_the_runs():
    small = Small(ids=("elec_kwh", "mode", "outdoor"), days=20)
    true = int(((np.diff((small.values["mode"] > 0).astype(int)) == 1) & small.days_between(0, 19)[1:]).sum())
    small.values["elec_kwh"] = np.floor(small.values["elec_kwh"])
    assert small.context().figures.cycling.starts == pytest.approx(true, abs=2)


# ---- heat behind the in-line heater

BIVALENT = "[design]\nbivalent_c = -5.0\n"
BEHIND = 'includes = ["backup_heater"]'


def test_heat_behind_the_heater_counts_once_at_every_boundary() -> None:
    """By hand (SEPEMO-Build 2012, D4.2): 3000 W from the unit, 500 W from the heater, both through the meter.

    H1 = 3000 / (1000 - 50), H2 = 3000 / 1000, H3 = 3500 / 1500, H4 = 3500 / 1560.
    """
    points = [
        point("heat_pump_electricity"),
        point("fan_electricity"),
        point("heat_output", extra=BEHIND),
        point("backup_heater_electricity"),
        point("circulation_pump_electricity"),
    ]
    site = site_of(points, BIVALENT)
    values = {
        "heat_pump_electricity": 1000.0,
        "fan_electricity": 50.0,
        "heat_output": 3500.0,
        "backup_heater_electricity": 500.0,
        "circulation_pump_electricity": 60.0,
    }
    given = result_of(site, every_minute(site, values)).as_dict()
    wanted = {"H1": 3000 / 950, "H2": 3.0, "H3": 3500 / 1500, "H4": 3500 / 1560}
    assert {k: given["performance"][k]["value"] for k in wanted} == pytest.approx(wanted, rel=1e-6)
    assert given["energy"]["heat_kwh"]["total"] == pytest.approx(216.0, rel=1e-3)


def test_behind_an_unmetered_heater_the_inner_boundaries_name_the_missing_meter() -> None:
    unit = point("heat_pump_electricity", extra='includes = ["backup_heater", "circulation_pump"]')
    site = site_of([unit, point("heat_output", extra=BEHIND)], BIVALENT)
    values = {"heat_pump_electricity": 1500.0, "heat_output": 3500.0}
    given = result_of(site, every_minute(site, values)).as_dict()["performance"]
    assert given["H4"]["value"] == pytest.approx(3500 / 1500)
    assert given["H2"] is None
    assert "backup_heater_electricity" in given["reasons"]["H2"]


@pytest.mark.parametrize("name", ["circulation_pump", "immersion", "house"])
def test_a_heat_meter_can_include_the_back_up_heater_alone(name):
    with pytest.raises(SiteError, match="in-line heater"):
        parse_site(HEAD + point("heat_output", extra=f'includes = ["{name}"]'))


# ---- cooling


def cooled(heat: float) -> dict:
    site = site_of([point("heat_pump_electricity"), point("heat_output"), point("operating_mode", "state")])
    n = 3 * 1440 + 1
    cools = (np.arange(n) % 1440) >= 720
    values = {
        "heat_pump_electricity": np.where(cools, 800.0, 1000.0),
        "heat_output": np.where(cools, heat, 3500.0),
        "operating_mode": np.where(cools, 4.0, 1.0),
    }
    return result_of(site, every_minute(site, values)).as_dict()


def test_cooling_stands_apart_from_heating():
    given = cooled(-2400.0)
    assert given["performance"]["H2"]["value"] == pytest.approx(3.5, rel=1e-3)
    assert given["performance"]["cooling"]["value"] == pytest.approx(3.0, rel=1e-3)
    assert given["performance"]["cooling"]["low"] < 3.0 < given["performance"]["cooling"]["high"]
    assert given["energy"]["heat_kwh"]["total"] == pytest.approx(3 * 12 * 3.5, rel=1e-3)
    assert given["energy"]["heat_kwh"]["cooling"] == pytest.approx(3 * 12 * 2.4, rel=1e-3)
    assert given["energy"]["electricity_kwh"]["cooling"] == pytest.approx(3 * 12 * 0.8, rel=1e-3)


def test_a_meter_that_counts_no_cold_gives_no_cooling_figure_and_the_reason():
    given = cooled(0.0)["performance"]
    assert given["cooling"] is None
    assert "cold" in given["reasons"]["cooling"]
    assert given["H2"]["value"] == pytest.approx(3.5, rel=1e-3)


def test_a_unit_that_never_cooled_says_so(small):
    given = small.context().figures.performance.cooling
    assert given.value is None
    assert "did not cool" in given.reason


# ---- forward-only meters


def melting(small: Small, taken: float) -> None:
    """Four minutes of defrost in every fourth hour while heating."""
    minute = (small.time // MINUTE) % 240
    melts = (minute < 4) & (small.values["mode"] == 1.0)
    small.values["mode"][melts] = 3.0
    small.values["heat"][melts] = -taken
    small.values["flow"][melts] = small.values["back"][melts] - taken / 1155.0
    small.values["rate"][melts] = 1.0
    small.ids = tuple(i for i in small.ids if i != "heat_kwh")


def test_a_net_meter_tells_what_defrosts_took(small):
    melting(small, 4000.0)
    true = float((small.values["heat"][small.days_between(0, 39)] < 0).sum()) * 4.0 / 60.0
    assert small.context().figures.defrost.heat_taken_kwh == pytest.approx(true, rel=0.02)


def test_a_forward_only_meter_gives_null_and_a_wider_interval_not_nothing(small):
    melting(small, 4000.0)
    net = result(small)
    small.values["heat"] = np.maximum(small.values["heat"], 0.0)
    forward = result(small)
    energy = forward.as_dict()["energy"]
    assert energy["heat_kwh"]["defrost_taken"] is None
    assert "flows back" in energy["reason"]
    assert "too high" in energy["reason"]
    assert forward.figures.defrost.count == net.figures.defrost.count

    def width(told: Result) -> float:
        h2 = told.figures.performance.boundaries["H2"]
        return (h2.value - h2.low) / h2.value

    assert width(forward) > width(net)
    true = net.figures.performance.boundaries["H2"].value
    assert forward.figures.performance.boundaries["H2"].low < true


# ---- readings that no sensor can give

OUTDOOR = '[site]\nid = "xx"\nname = "x"\ntimezone = "Europe/London"\n[design]\noutdoor_c = -3.0\n' + point(
    "outdoor_temperature", "gauge", "degC"
)


def left_out(values: list[float], spacing: int = 1) -> list[int]:
    site = parse_site(OUTDOOR)
    samples = Samples(minutes(len(values)) * spacing, np.array(values, dtype=float))
    return np.flatnonzero(implausible(site, site.point[0], samples)).tolist()


@pytest.mark.parametrize("bad", [-40.0, -127.0, 85.0, -50.0, 150.0])
def test_error_values_are_left_out_alone_and_held(bad):
    assert left_out([5.0, 5.1, bad, 5.0, 5.2, 5.1, 5.0]) == [2]
    assert left_out([5.0] * 3 + [bad] * 90) == list(range(3, 93))
    assert left_out([bad] * 90) == list(range(90))


def test_a_cold_winter_is_no_fault():
    values = (-14.0 + 5.0 * np.sin(np.arange(600) / 200.0)).round(1).tolist()
    assert left_out(values) == []


def test_air_at_nought_degrees_is_air():
    assert left_out([0.4, 0.2, 0.0, 0.0, 0.0, -0.1] * 30) == []


def test_a_reading_far_from_those_about_it_is_left_out():
    values = [6.0] * 40
    values[17] = 22.0
    assert left_out(values) == [17]


def test_a_broken_outdoor_sensor_is_no_cold_snap(small):
    small.values["outdoor"][small.days_between(12, 18)] = -40.0
    told = small.judged()
    assert [r.kind for r in told.recognised] == []
    assert "can't be true on 7 days" in found(told.findings, "sensor_stuck").headline
    outdoor = small.facts.days.floats("outdoor")
    assert np.nanmin(outdoor) > -10.0


def test_a_broken_outdoor_sensor_to_this_day_is_to_be_changed(small):
    small.values["outdoor"][small.from_day(30)] = -40.0
    told = small.judged()
    finding = found(told.findings, "sensor_stuck")
    assert (finding.severity, finding.until) == ("act", None)
    assert "outdoor_temperature" in told.unreliable


# ---- what recognised days excuse


def test_every_rule_about_the_plant_has_a_family_and_every_kind_its_excuses():
    assert {r.code for r in PLANT_RULES} <= FAMILY_OF.keys()
    for kind, families in EXCUSED.items():
        assert families <= FAMILIES.keys(), kind
        assert "safety" not in families, kind


def test_a_cold_snap_excuses_rooms_and_no_scald_nor_pressure(small):
    small.values["outdoor"][small.days_between(12, 14)] -= 16.0
    unusual = find_exclusions(small.site, small.facts)
    assert len(unusual.facts_for("room_below_target").days) == 36
    for code in ("water_too_hot", "pressure_low", "unit_stopped", "high_standing_loss"):
        assert len(unusual.facts_for(code).days) == 40, code
    assert excuses("cold_snap", "capacity_short")


def test_what_rests_on_a_spoiled_quantity_is_not_recognised(small):
    small.values["outdoor"][small.days_between(12, 14)] -= 16.0
    assert find_exclusions(small.site, small.facts, {"outdoor_temperature"}).periods == ()


def test_a_plant_without_hot_water_is_not_asked_for_a_cylinder():
    site = parse_site(HEAD + point("heat_pump_electricity"))
    assert "no hot water" in (not_fitted("hot_water_shortfall", site) or "")
    assert not_fitted("low_flow", site) is None
    with_tank = parse_site(HEAD + point("cylinder_temperature", "gauge", "degC"))
    assert not_fitted("hot_water_shortfall", with_tank) is None


def test_the_reason_of_a_missing_part_has_its_own_code():
    site = site_of([point("heat_pump_electricity"), point("heat_output")])
    values = {"heat_pump_electricity": 1000.0, "heat_output": 3500.0}
    told = {n.code: n for n in result_of(site, every_minute(site, values)).not_assessed}
    assert told["slow_reheat"].reason_code == "not_applicable"
    assert "cylinder_temperature" not in told["slow_reheat"].reason


# ---- one frozen room of several


def test_one_frozen_room_of_four_leaves_the_house_its_heat_loss(small):
    text = "".join(
        f'[[point]]\nid = "room{i}"\nquantity = "room_temperature"\nas = "gauge"\nunit = "degC"\nzone ='
        f' "z{i}"\n'
        for i in range(3)
    )
    readings = {}
    rng = np.random.default_rng(6)
    for i in range(3):
        value = np.round(small.values["room"] + 0.1 * i + 0.04 * rng.standard_normal(len(small.time)), 1)
        if i == 0:
            value[small.from_day(20)] = 20.4
        readings[f"room{i}"] = Samples(small.time, value)
    told = result(small, text, readings)
    assert found(told.findings, "sensor_stuck").severity == "act"
    assert "room_temperature" not in told.unreliable
    assert "room_temperature:z0" in told.unreliable
    assert "z0" not in told.figures.comfort
    assert "z1" in told.figures.comfort


# ---- misplaced meters


def test_the_weights_of_all_hypotheses_are_one_and_sound_meters_win_on_sound_facts():
    known = hypotheses.hypotheses(False)
    facts = {name: misplaced._Fact(mean, name, "-", False) for name, (mean, _) in hypotheses.SOUND.items()}
    weights = misplaced._weights(known, facts, False)
    assert sum(weights) == pytest.approx(1.0)
    assert sum(w for h, w in zip(known, weights, strict=True) if not h.cause) > 0.99


@pytest.mark.parametrize(
    ("contrast", "off_bursts", "dry_days", "least", "most"),
    [
        (0.78, 0.056, 0.08, 0.5, 0.8),  # in doubt: a note
        (0.86, 0.034, 0.36, 0.8, 1.0),
        (0.76, 0.076, 0.24, 0.8, 1.0),
        (0.97, 0.004, 0.0, 0.0, 0.05),
    ],
)
def test_a_load_at_times_is_told_though_it_shows_little_at_rest_and_little_in_heating(
    contrast, off_bursts, dry_days, least, most
):
    """A car every other night at the meter of a large unit: some of it at rest, some while the unit runs."""
    known = hypotheses.hypotheses(False)
    measured = {
        "cop_space": -0.1,
        "cop_hot": -0.1,
        "contrast": contrast,
        "off_bursts": off_bursts,
        "dry_days": dry_days,
        "follows_heat": 0.8 if least else 0.95,
    }
    facts = {name: misplaced._Fact(value, name, "-", False) for name, value in measured.items()}
    weights = misplaced._weights(known, facts, False)
    inside = sum(w for h, w in zip(known, weights, strict=True) if h.cause == "other_load_inside")
    assert least <= inside <= most


def test_two_registers_alone_share_the_blame_and_ask_for_what_parts_them():
    """Heat over electricity ten times too high: either meter may count wrong."""
    known = hypotheses.hypotheses(False)
    facts = {"cop_space": misplaced._Fact(math.log(10.0), "COP", "-", True)}
    weights = misplaced._weights(known, facts, False)
    pulse = {
        h.makes_unreliable: w
        for h, w in zip(known, weights, strict=True)
        if h.cause == "pulse_value" and w > 0.05
    }
    assert set(pulse) == {hypotheses.HEAT_METERS, hypotheses.ELECTRICITY}
    assert max(pulse.values()) < 1.5 * min(pulse.values())


@pytest.mark.parametrize("factor", [0.1, 2.5, 10.0])
def test_a_pulse_value_spoils_the_heat_and_withholds_the_figures(small, factor):
    small.pump = (
        "max_flow_c = 60.0\n[[heat_pump.rating]]\noutdoor_c = 7.0\nflow_c = 35.0\noutput_kw = 7.0\ncop ="
        " 3.9\n"
    )
    small.values["heat"] *= factor
    small.values["heat_kwh"] = 9000.0 + np.cumsum(small.values["heat"]) / 60_000.0
    told = small.judged()
    finding = found(told.findings, "meter_misplaced")
    assert finding.causes[0].cause == "pulse_value"
    assert sum(c.weight for c in finding.causes) == pytest.approx(1.0)
    assert "pulse value" in finding.next_step
    assert "heat_output" in told.unreliable


def test_meters_in_their_place_are_not_told(small):
    small.pump = (
        "max_flow_c = 60.0\n[[heat_pump.rating]]\noutdoor_c = 7.0\nflow_c = 35.0\noutput_kw = 7.0\ncop ="
        " 3.9\n"
    )
    assert [f.code for f in small.judged().findings if f.code == "meter_misplaced"] == []


@pytest.mark.parametrize("behind", [False, True])
def test_a_compressor_that_rises_with_the_heater_is_not_taken_for_the_heater(small, behind):
    """A control that adds the heater when the flow is too cool raises the compressor too: its heat follows
    its own electricity, and only what is left over may be the heater's."""
    heating = small.values["mode"] == 1.0
    since = np.zeros(len(heating), dtype=int)
    for i in np.flatnonzero(heating):
        since[i] = since[i - 1] + 1
    on = (since > 13) & ((small.time // MINUTE // 60) % 4 == 0)
    small.values["elec"] = small.values["elec"] + np.where(on, 700.0, 0.0)
    small.values["heat"] = small.values["heat"] + np.where(on, 3.4 * 700.0 + 2500.0 * behind, 0.0)
    for name, first in (("elec", 3000.0), ("heat", 9000.0)):
        small.values[f"{name}_kwh"] = first + np.cumsum(small.values[name]) / 60_000.0
    small.ids = tuple(i for i in small.ids if i != "rate")
    more = '[[point]]\nid = "heater"\nquantity = "backup_heater_electricity"\nas = "power"\nunit = "W"\n'
    told = result(small, more, {"heater": Samples(small.time, np.where(on, 2500.0, 0.0))})
    causes = [c.cause for f in told.findings if f.code == "meter_misplaced" for c in f.causes]
    assert causes[:1] == (["behind_heater"] if behind else [])


def test_a_difference_that_changes_from_day_to_day_is_no_offset():
    """Sensors 0.4 K apart read so every day; a circuit that still cools reads otherwise each day."""
    rng = np.random.default_rng(5)
    days = {"minutes_passing": np.full(40, 60.0), "loop_c": rng.uniform(22.0, 32.0, 40)}
    steady = Table(days | {"pair_offset": 0.4 + 0.02 * rng.standard_normal(40)})
    cooling = Table(days | {"pair_offset": 0.3 * rng.lognormal(0.0, 1.0, 40)})
    offset, left = flow_product.pair_offset(steady)
    assert offset == pytest.approx(0.4, abs=0.02)
    assert left < 0.15
    assert flow_product.pair_offset(cooling) == (None, flow_product._SENSOR_K)
    warmer = Table(days | {"pair_offset": 0.04 * (days["loop_c"] - 20.0) + 0.02 * rng.standard_normal(40)})
    assert flow_product.pair_offset(warmer) == (None, flow_product._SENSOR_K)


def test_switchings_that_disagree_from_day_to_day_blame_no_meter():
    """The compressor moves with the heater: a middle of 0.7 of days from -0.5 to 1.5 may be either's."""
    known = hypotheses.hypotheses(False)

    def blame(sd: float) -> float:
        facts = {"heater_seen": misplaced._Fact(0.7, "seen", "-", False, sd)}
        weights = misplaced._weights(known, facts, False)
        return sum(w for h, w in zip(known, weights, strict=True) if h.cause == "behind_heater")

    assert blame(0.0) > 0.3
    assert blame(0.6) < 0.1


def test_runs_as_brief_as_two_readings_are_no_check_of_the_heat_meter(small):
    """A run shows from two readings on (sampling theorem)."""
    facts = small.facts
    days = facts.days.with_columns(
        **{f"spacing.{q}": 5.0 for q in ("flow_rate", "flow_temperature", "return_temperature")}
    )
    brief = facts.runs.with_columns(minutes=np.full(len(facts.runs), 9.0))
    context = small.context()
    for runs, told in ((facts.runs, False), (brief, True)):
        judged = replace(context, all_days=replace(facts, days=days, runs=runs))
        assert (flow_product.blurred(judged) is not None) == told


def test_a_meter_of_whole_kilowatt_hours_is_no_check_of_brief_runs(small):
    """Half of a brief run's heat is counted in the rest after it; long runs are compared deep inside."""
    facts, context = small.facts, small.context()
    days = facts.days.with_columns(**{"spacing.heat_output": 27.0})
    long = facts.runs.with_columns(
        minutes=np.full(len(facts.runs), 90.0), pause=np.full(len(facts.runs), 90.0)
    )
    for runs, told in ((facts.runs, True), (long, False)):
        judged = replace(context, all_days=replace(facts, days=days, runs=runs))
        assert (flow_product.blurred(judged) is not None) is told


WITH_TANK = ("elec", "heat", "outdoor", "tank")


@pytest.mark.parametrize("minutes_apart", [1, 15])
@pytest.mark.parametrize(
    "ids", [WITH_TANK, (*WITH_TANK, "flow", "back"), ("elec", "heat", "outdoor", "flow", "mode")]
)
def test_a_heat_meter_in_the_heating_branch_is_told_by_charges_without_heat(small, ids, minutes_apart):
    """The cylinder warms while heat is counted in heating only; or the controls report the charge."""
    small.ids = ids
    charging = np.convolve(small.values["mode"] == 2.0, np.ones(5), "same") > 0
    small.values["heat"] = np.where(charging, 0.0, small.values["heat"])
    for name, values in small.values.items():
        small.values[name] = np.where(np.arange(len(values)) % minutes_apart == 0, values, np.nan)
    told = found(small.judged().findings, "meter_misplaced")
    assert told.causes[0].cause == "one_branch_only"
    assert "heating branch" in told.causes[0].because
    assert told.severity == "act"


@pytest.mark.parametrize("minutes_apart", [1, 15])
def test_charges_whose_heat_is_counted_place_no_meter_in_a_branch(small, minutes_apart):
    small.ids = WITH_TANK
    for name, values in small.values.items():
        small.values[name] = np.where(np.arange(len(values)) % minutes_apart == 0, values, np.nan)
    assert "meter_misplaced" not in {f.code for f in small.judged().findings}


@pytest.mark.parametrize(("house", "in_doubt"), [(-0.72, True), (0.0, False)])
def test_heat_missing_by_like_factors_casts_doubt_on_the_meter(small, monkeypatch, house, in_doubt):
    """COP in heating and for hot water at half of the rating; the house takes half of its design's heat, or
    all of it: then the unit lacks it, not the meter."""
    facts = {"cop_space": -0.65, "cop_hot": -0.65, "house": house}
    monkeypatch.setattr(
        misplaced, "_facts", lambda _: {n: misplaced._Fact(v, n, "-", True) for n, v in facts.items()}
    )
    context = small.context()
    said = Finding("performance_below_promise", "act", "2026-01-01", 0.97, "It is low.", next_step="Go on.")
    told = misplaced.weighed_against_meter(context, said)
    assert (told.severity == "watch") is in_doubt
    assert (told.confidence < 0.8) is in_doubt
    assert told.next_step.startswith("Check the heat meter first") is in_doubt
    assert told.next_step.endswith("Go on.")
    assert bool(misplaced.doubt(context)) is in_doubt


@pytest.mark.parametrize("ids", [("elec", "outdoor", "tank"), ("elec", "outdoor", "tank", "mode", "flow")])
def test_a_home_without_a_heat_meter_hears_nothing_of_one(small, ids):
    """Charges whose heat nobody measures are no charges without heat."""
    small.ids = ids
    context = small.context()
    assert np.isnan(context.facts.reheats.floats("heat")).all()
    charges = context.facts.reheats.floats("electricity") > 0.5
    assert charges.sum() > 20
    blamed = [h.makes_unreliable for _, h in misplaced._weighed(context, {}) if h.cause]
    assert blamed
    assert not any("heat_output" in quantities for quantities in blamed)
    assert "meter_misplaced" not in {f.code for f in small.judged().findings}


def long_runs_with_brief_rests(small: Small, meter_high_k: float) -> Small:
    """Heating for three hours at a time, six minutes of rest after each; water and meter every five minutes.

    meter_high_k : by so much the flow sensor of the heat meter reads high [K]
    """
    n = len(small.time)
    phase = (small.time // 60_000) % 186
    on = phase < 180
    lift = np.where(on, 5.0, 0.0)
    back = small.values["back"]
    small.values |= {
        "mode": np.where(on, 1.0, 0.0),
        "elec": np.where(on, 1700.0, 15.0),
        "rate": np.where(on, 1.0, 0.0),
        "flow": back + lift,
        "heat": np.where(on, 1155.0 * (lift + meter_high_k), 0.0),
    }
    for name in ("elec", "heat"):
        small.values[f"{name}_kwh"] = 3000.0 + np.cumsum(small.values[name]) / 60_000.0
    small.values |= {
        name: np.where(np.arange(n) % 5 == 0, small.values[name], np.nan)
        for name in ("flow", "back", "rate", "heat", "heat_kwh")
    }
    return small


@pytest.mark.parametrize(("meter_high_k", "told"), [(0.0, False), (3.0, True)])
def test_long_runs_carry_the_comparison_though_their_ends_are_blurred(small, meter_high_k, told):
    context = long_runs_with_brief_rests(small, meter_high_k).context()
    assert flow_product.blurred(context) is not None
    found = heat_meter_disagrees(context)
    assert (found is not None) == told
    if found:
        assert found.severity == "act"
        ratio = next(e.value for e in found.evidence if e.code == "heat_meter_ratio")
        assert ratio == pytest.approx(8.0 / 5.0, rel=0.02)


def test_hourly_flow_and_temperatures_are_no_check_of_the_heat_meter(small):
    small.ids = tuple(i for i in small.ids if i not in ("elec_kwh", "heat_kwh"))
    for name in ("flow", "back", "rate"):
        v = small.values[name]
        means = v[: len(v) // 60 * 60].reshape(-1, 60).mean(axis=1)
        v[:] = np.nan
        v[: len(means) * 60 : 60] = means
    told = small.judged()
    reason = {n.code: n.reason for n in told.not_assessed}["heat_meter_disagrees"]
    assert "mean flow times mean temperature difference" in reason
    assert "meter_misplaced" not in {f.code for f in told.findings if f.severity != "note"}


# ---- an interval never narrows when points are taken away


@pytest.mark.parametrize("seed", range(6))
def test_taking_points_away_never_makes_a_figure_surer(seed):
    """Random subsets of the small plant's points, each with some of them taken away again."""
    rng = np.random.default_rng(seed)
    small = Small(days=12, first=date(2025, 11, 3))
    small.values["rate"] = np.where(small.values["rate"] > 0, rng.uniform(0.5, 1.3), 0.0)
    free = [i for i in small.ids if i not in ("elec_kwh", "heat_kwh")]
    more = tuple(i for i in small.ids if i not in rng.choice(free, 2, replace=False))
    fewer = tuple(i for i in more if i not in rng.choice(free, 4, replace=False))
    widths = []
    for ids in (more, fewer):
        small.ids = ids
        p = small.context().figures.performance
        widths.append({name: e.half / e.value for name, e in p.boundaries.items() if e.value})
    for name in widths[0].keys() & widths[1].keys():
        assert widths[1][name] >= widths[0][name] * 0.995, (name, set(more) - set(fewer))
