"""Findings about scalding, disinfection and pressure, on tables made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.circuit_pressure import _topped, pressure_columns
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.consistency import with_known_evidence
from fieldfare.analysis.findings.episodes import Episode
from fieldfare.analysis.findings.excuses import excuses, not_fitted
from fieldfare.analysis.findings.flow import expansion_vessel
from fieldfare.analysis.findings.flow import pressure as water_pressure
from fieldfare.analysis.findings.flow.pressure_trend import at_like_temperature, drift, stretches
from fieldfare.analysis.findings.hot_water import hygiene, scald
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.physics.water import density
from fieldfare.analysis.plant.load import parse_site
from tests.analysis.heat_tables import DAYS, FIRST, SITE, check_whole, context_of, days_of, reheats_of

N = np.arange(DAYS)
WEEKLY = N % 7 == 3
UNSCHEDULED = SITE.replace("pasteurise_c = 60.0\n", "").replace("pasteurise_every_days = 7\n", "")
AT_70 = SITE.replace("pasteurise_c = 60.0", "pasteurise_c = 70.0")

# Scalding


def hot(level: float, on: Any = True, **columns: Any) -> Any:
    """Days on which the store was held at a level, and how."""
    where = np.asarray(on) & np.ones(DAYS, dtype=bool)
    base = {
        "tank_held": np.where(where, level, 50.3),
        "tank_max": np.where(where, level + 0.3, 50.6),
        "minutes_tank_hot": np.where(where & (level > 65), 300, 0),
        "electricity_immersion_kwh": np.where(where, 5.0, 0.0),
    }
    return days_of(**(base | columns))


@pytest.mark.parametrize(
    ("level", "severity"),
    [(64.0, None), (68.0, "watch"), (74.9, "watch"), (76.0, "act"), (84.9, "act"), (86.0, "urgent")],
)
def test_scalding_is_graded_by_the_stored_temperature(level: float, severity: str | None) -> None:
    found = scald.water_too_hot(context_of(hot(level, N >= 80), site=UNSCHEDULED))
    assert (found.severity if found else None) == severity
    if found is not None:
        check_whole(found)
        assert found.since == str(FIRST + 80)
        assert "tempering" in found.caution
        assert "scald" in found.home


def test_a_scheduled_disinfection_is_no_scalding() -> None:
    assert scald.water_too_hot(context_of(hot(70.5, WEEKLY), site=AT_70)) is None
    daily = scald.water_too_hot(context_of(hot(70.5), site=AT_70))
    assert check_whole(daily).severity == "watch"
    assert daily is not None
    assert daily.causes[0].cause == "disinfection_stuck"


def test_a_schedule_is_no_leave_for_more_than_it() -> None:
    found = check_whole(scald.water_too_hot(context_of(hot(78.0, WEEKLY), site=AT_70)))
    assert found.severity == "act"


@pytest.mark.parametrize(("peak", "cause"), [(200.0, "disinfection_stuck"), (830.0, "other_source")])
def test_an_immersion_heater_that_works_at_noon_is_surplus_power(peak: float, cause: str) -> None:
    """The same metered heat, at night as a programme by the clock gives it or in the early afternoon."""
    hot = np.isin(np.arange(DAYS), (DAYS - 20, DAYS - 13, DAYS - 3))
    days = days_of(
        tank_held=np.where(hot, 68.0, 50.0),
        tank_max=np.where(hot, 68.5, 50.4),
        minutes_tank_hot=np.where(hot, 90, 0),
        electricity_immersion_kwh=np.where(hot, 4.5, 0.0),
        flow_greatest=57.0,
        tank_peak_at=peak,
    )
    found = check_whole(scald.water_too_hot(context_of(days)))
    assert found.causes[0].cause == cause
    assert found.causes[0].weight > 0.5


def test_heat_that_no_known_heater_gave_comes_from_elsewhere() -> None:
    days = hot(
        88.0,
        N >= 60,
        electricity_immersion_kwh=0.0,
        tank_rise_alone=40.0,
        flow_greatest=30.0,
        tank_peak_at=860.0,
    )
    found = check_whole(scald.water_too_hot(context_of(days)))
    assert found.severity == "urgent"
    assert found.causes[0].cause == "other_source"


def test_a_sensor_that_jumps_is_told_as_one() -> None:
    days = hot(92.0, N >= 60, electricity_immersion_kwh=0.0, tank_jumps=np.where(N >= 60, 3, 0))
    found = check_whole(scald.water_too_hot(context_of(days)))
    assert found.causes[0].cause == "sensor_fault"
    assert found.severity == "act"
    assert found.confidence < 0.6


def test_what_has_ended_is_not_forgotten_at_once() -> None:
    gone = scald.water_too_hot(context_of(hot(78.0, N == 40)))
    assert gone is not None
    assert (gone.severity, gone.until) == ("watch", str(FIRST + 40))
    mild = scald.water_too_hot(context_of(hot(68.0, N == 40), site=UNSCHEDULED))
    assert mild is not None
    assert mild.severity == "note"


def test_a_store_in_fahrenheit_is_not_boiling() -> None:
    wrong = Finding("unit_mismatch", "act", str(FIRST), 0.9, "degF as degC.")
    context = replace(context_of(hot(120.0)), unreliable={"cylinder_temperature": wrong})
    with pytest.raises(NotAssessed, match="unit_mismatch"):
        scald.water_too_hot(context)


def test_doubts_about_the_unit_do_not_hide_water_that_can_be_so_hot() -> None:
    """Seen: 82 °C by an immersion heater that had welded shut was taken for a slip of the unit."""
    wrong = Finding("unit_mismatch", "act", str(FIRST), 0.9, "degF as degC.")
    context = replace(context_of(hot(82.0)), unreliable={"cylinder_temperature": wrong})
    assert check_whole(scald.water_too_hot(context)).severity == "act"


def test_a_cylinder_the_site_file_leaves_out_is_still_told() -> None:
    bare = SITE.partition("[hot_water]")[0] + "[buffer]" + SITE.partition("[buffer]")[2]
    found = check_whole(scald.water_too_hot(context_of(hot(88.0, N >= 80), site=bare)))
    assert found.severity == "urgent"


def test_a_stuck_sensor_that_shows_scalding_is_still_told() -> None:
    stuck = Finding("sensor_stuck", "act", str(FIRST), 0.9, "Stands still.")
    context = replace(
        context_of(hot(90.0, electricity_immersion_kwh=0.0)), unreliable={"cylinder_temperature": stuck}
    )
    found = check_whole(scald.water_too_hot(context))
    assert (found.severity, found.causes[0].cause) == ("act", "sensor_fault")


# Disinfection


def lukewarm(mean: float, **columns: Any) -> Any:
    base = {
        "tank_mean": mean,
        "tank_max": mean + 3.0,
        "tank_held": mean + 3.0,
        "minutes_tank_growth": 1400,
        "disinfection_min": 0.0,
    }
    return days_of(**(base | columns))


@pytest.mark.parametrize(("mean", "severity"), [(47.0, "watch"), (42.0, "act")])
def test_a_lukewarm_store_without_disinfection(mean: float, severity: str) -> None:
    found = check_whole(hygiene.disinfection_lacking(context_of(lukewarm(mean), site=UNSCHEDULED)))
    assert found.severity == severity
    assert found.causes[0].cause == "none_scheduled"
    assert found.since == str(FIRST)


def test_a_scheduled_disinfection_that_a_leak_keeps_out_of_reach_is_not_called_unscheduled() -> None:
    """80 kWh a day are more than a home draws, and the store stays below its everyday setpoint."""
    found = check_whole(hygiene.disinfection_lacking(context_of(lukewarm(42.0, heat_hot_water_kwh=80.0))))
    assert found.causes[0].cause == "diverter_passing"
    assert "diverter" in found.next_step
    for other in (
        context_of(lukewarm(42.0, heat_hot_water_kwh=7.0)),
        context_of(lukewarm(42.0, tank_max=50.0, heat_hot_water_kwh=80.0)),
        context_of(lukewarm(42.0, heat_hot_water_kwh=80.0), site=UNSCHEDULED),
    ):
        assert check_whole(hygiene.disinfection_lacking(other)).causes[0].cause == "none_scheduled"


@pytest.mark.parametrize("minutes", [61.0, 200.0])
def test_a_hold_of_an_hour_keeps_a_lukewarm_store(minutes: float) -> None:
    days = lukewarm(46.0, disinfection_min=np.where(WEEKLY, minutes, 0.0))
    assert hygiene.disinfection_lacking(context_of(days)) is None
    assert hygiene.pasteurisation_missed(context_of(days)) is None


@pytest.mark.parametrize("minutes", [1.0, 5.0, 40.0])
def test_a_touch_of_sixty_degrees_is_no_disinfection(minutes: float) -> None:
    days = lukewarm(
        46.0, disinfection_min=np.where(WEEKLY, minutes, 0.0), tank_max=np.where(WEEKLY, 60.2, 50.3)
    )
    found = check_whole(hygiene.disinfection_lacking(context_of(days)))
    assert found.causes[0].cause == "setpoint_too_low"
    missed = check_whole(hygiene.pasteurisation_missed(context_of(days)))
    assert "not held" in missed.headline
    assert f"{minutes:.0f} minutes" in missed.next_step


def test_a_store_above_the_range_of_growth_needs_no_schedule() -> None:
    days = lukewarm(57.0, minutes_tank_growth=100)
    assert hygiene.disinfection_lacking(context_of(days, site=UNSCHEDULED)) is None


@pytest.mark.parametrize(
    "weekly",
    [
        {"disinfection_most_min": 150.0, "tank_max": 58.4},
        {"disinfection_min": 30.0, "tank_max": 60.4},
        {"minutes_tank_known": 1300.0, "tank_max": 50.3},
    ],
    ids=["a sensor that reads a kelvin low", "a hold of half an hour", "readings missing that night"],
)
def test_a_run_that_may_have_been_held_is_no_more_than_a_note(weekly: dict[str, float]) -> None:
    usual = {"disinfection_min": 0.0, "tank_max": 50.3, "minutes_tank_known": 1440.0}
    days = lukewarm(46.0, **usual | {k: np.where(WEEKLY, v, usual.get(k, 0.0)) for k, v in weekly.items()})
    for check in (hygiene.disinfection_lacking, hygiene.pasteurisation_missed):
        found = check_whole(check(context_of(days)))
        assert found.severity == "note"
        assert found.visit == "none"


def test_one_run_in_doubt_among_others_is_silent() -> None:
    dose = np.where(WEEKLY, 90.0, 0.0)
    days = lukewarm(46.0, disinfection_min=np.where(np.arange(DAYS) == 38, 45.0, dose))
    assert hygiene.pasteurisation_missed(context_of(days)) is None


def test_missing_readings_hide_no_programme_that_is_off() -> None:
    gone = np.isin(np.arange(DAYS), (0, 20, 55, DAYS - 1))  # the first and the last day are hardly ever whole
    days = lukewarm(43.0, disinfection_min=0.0, minutes_tank_known=np.where(gone, 900.0, 1440.0))
    for check in (hygiene.pasteurisation_missed, hygiene.disinfection_lacking):
        assert check_whole(check(context_of(days))).severity == "act"


def test_layers_of_a_cylinder_leave_little_below_fifty_in_doubt() -> None:
    found = check_whole(hygiene.disinfection_lacking(context_of(lukewarm(49.0), site=UNSCHEDULED)))
    assert found.severity == "note"
    assert found.home == ""


def test_a_run_a_day_is_a_disinfection_that_ends() -> None:
    held = {"tank_held": 60.4, "tank_max": 60.7, "minutes_hot_enough": 300.0}
    assert scald.water_too_hot(context_of(hot(60.4, **held))) is None
    endless = scald.water_too_hot(context_of(hot(60.4, **held | {"minutes_hot_enough": 1400.0})))
    assert check_whole(endless).severity == "watch"


def test_charges_beyond_the_setpoint_are_a_note_with_their_cost() -> None:
    """2 to 2.5 % of electricity a kelvin (reference 8): 5 K of 3 kWh a day cost about 110 kWh a year."""
    days = days_of(electricity_hot_water_kwh=3.0)
    setpoint = parse_site(SITE).hot_water.setpoint_c
    found = check_whole(
        scald.water_too_hot(context_of(days, reheats_of(to_c=setpoint + 5.0, from_c=setpoint)))
    )
    assert found.severity == "note"
    assert found.causes[0].cause == "setpoint_raised"
    assert found.confidence > 0.9
    assert found.cost_kwh == pytest.approx(3.0 * 365 * (1.0 - 1.0 / (1.0 + 0.0225 * 5.0)), rel=0.02)
    every_third = np.where(np.arange(2 * DAYS) % 6 < 2, setpoint + 8.0, setpoint + 0.5)
    for to_c in (setpoint + 2.0, every_third):
        assert scald.water_too_hot(context_of(days, reheats_of(to_c=to_c))) is None


def test_heating_water_needs_no_disinfection() -> None:
    site = parse_site(SITE.replace("[hot_water]", '[hot_water]\nstored = "heating_water"'))
    for code in ("disinfection_lacking", "pasteurisation_missed"):
        assert not_fitted(code, parse_site(SITE)) is None
        assert "heating water" in str(not_fitted(code, site))
    assert not_fitted("hot_water_shortfall", site) is None


def test_an_absence_does_not_count_as_days_without() -> None:
    days = lukewarm(46.0, disinfection_min=np.where(WEEKLY & ((N < 60) | (N > 80)), 90.0, 0.0))
    context = context_of(days)
    away = (context.days["day"] < FIRST + 59) | (context.days["day"] > FIRST + 82)
    judged = replace(context, facts=replace(context.facts, days=context.days.where(away)))
    assert hygiene.disinfection_lacking(judged) is None
    assert excuses("away", "disinfection_lacking")
    assert not excuses("settling_in", "disinfection_lacking")


def test_without_a_cylinder_sensor_nothing_is_said() -> None:
    none = days_of(disinfection_min=None, tank_mean=np.nan, tank_held=None)
    for check in (
        hygiene.disinfection_lacking,
        hygiene.pasteurisation_missed,
        scald.water_too_hot,
    ):
        with pytest.raises(NotAssessed, match="needs cylinder_temperature"):
            check(context_of(none))


# Pressure


@pytest.mark.parametrize(("rise", "topped"), [(0.0, False), (0.4, True)])
def test_water_that_cools_after_a_charge_is_no_top_up(rise: float, topped: bool) -> None:
    """A circuit of little water at 0.002 bar/K: 35 K less would be a third of a bar at a usual slope."""
    minute = np.arange(3 * 1440)
    water = np.where(minute < 2000, 70.0, 35.0) + 0.5 * np.sin(minute / 30.0)
    pressure = 1.6 + 0.002 * (water - 35.0) + np.where(minute < 2000, 0.0, rise)
    day = Segments(np.array([0, 1440, 2880]), np.array([1440, 2880, 4320]))
    added = pressure_columns(day, pressure, water, np.zeros(len(minute), dtype=bool))["pressure_topped"]
    assert (float(np.sum(added)) > 0.15) is topped


@pytest.mark.parametrize(
    ("top", "low", "severity", "cause"),
    [
        (2.4, 1.2, None, ""),
        (2.7, 0.9, "watch", "vessel_empty"),
        (2.7, 2.5, "watch", "filling_loop_open"),
        (2.95, 2.7, "act", "filling_loop_open"),
    ],
)
def test_high_pressure(top: float, low: float, severity: str | None, cause: str) -> None:
    days = days_of(pressure=(top + low) / 2, pressure_max=top, pressure_min=low, pressure_swing=top - low)
    found = expansion_vessel.pressure_high(context_of(days))
    assert (found.severity if found else None) == severity
    if found is not None:
        assert check_whole(found).causes[0].cause == cause
        assert "relief valve" in found.caution


def test_a_steady_rise_is_an_open_filling_loop() -> None:
    level = 1.5 + 0.012 * np.maximum(N - 40, 0)
    days = days_of(pressure=level, pressure_max=level + 0.1, pressure_min=level - 0.1)
    found = check_whole(expansion_vessel.pressure_high(context_of(days)))
    assert found.causes[0].cause == "filling_loop_open"
    assert abs((np.datetime64(found.since) - FIRST).astype(int) - 40) <= 7


def test_a_refill_is_no_rise() -> None:
    level = np.where(N >= 45, 2.0, 1.5)
    days = days_of(pressure=level, pressure_max=level + 0.1, pressure_min=level - 0.1)
    assert expansion_vessel.pressure_high(context_of(days)) is None


@pytest.mark.parametrize(
    ("swing", "slope", "severity"),
    [(0.3, 0.012, None), (0.6, 0.025, None), (1.3, 0.09, "act"), (0.7, 0.09, "watch")],
)
def test_swings_are_told_from_a_sound_vessel(swing: float, slope: float, severity: str | None) -> None:
    days = days_of(
        pressure=1.5,
        pressure_max=1.5 + swing / 2,
        pressure_swing=swing,
        pressure_per_k=slope,
        pressure_follows=0.9,
    )
    found = expansion_vessel.pressure_swings(context_of(days))
    assert (found.severity if found else None) == severity
    if found is not None:
        assert check_whole(found).causes[0].cause == "vessel_empty"


def test_nobody_is_told_to_top_up_a_circuit_with_an_empty_vessel() -> None:
    days = days_of(
        pressure=0.6,
        pressure_min=0.2,
        pressure_max=2.7,
        pressure_swing=2.3,
        pressure_per_k=0.12,
        pressure_follows=0.9,
    )
    low = check_whole(water_pressure.pressure_low(context_of(days)))
    assert "vessel repaired first" in low.next_step
    assert "do not top it up" in low.home


def test_swings_that_do_not_follow_the_water_are_not_the_vessel() -> None:
    days = days_of(
        pressure=1.5, pressure_max=1.9, pressure_swing=0.8, pressure_per_k=0.09, pressure_follows=0.2
    )
    assert expansion_vessel.pressure_swings(context_of(days)) is None


@pytest.mark.parametrize("every", [4, 7, 9])
def test_topping_up_hides_no_leak(every: int) -> None:
    lost = 0.02 * N
    topped = np.where((N % every == 0) & (N > 0), 0.02 * every, 0.0)
    level = 1.5 - lost + np.cumsum(topped)
    days = days_of(pressure=level, pressure_min=level - 0.05, pressure_topped=topped if every == 4 else 0.0)
    found = check_whole(water_pressure.pressure_falling(context_of(days)))
    assert found.severity in ("watch", "act")
    assert found.evidence[0].value == pytest.approx(0.14, rel=0.2)
    assert "topped up" in found.headline


def empty_vessel(loss_share: float, *, gas_bar: float = 0.04, seed: int = 11) -> Table:
    """Days of a circuit whose vessel is nearly empty, with rises by warm water taken for refills.

    Boyle's law on the growth of water (density after IAPWS R7-97). gas_bar : pressure times volume of the
    gas over the circuit's volume. loss_share : water lost over the days, over the circuit's volume
    """
    rng = np.random.default_rng(seed)
    warm = 37.0 + 2.5 * np.sin(N / 4.0) + rng.normal(0.0, 1.2, DAYS)
    grown = density(warm.mean()) / density(warm) - 1.0
    gas = gas_bar / 2.8 - grown + loss_share * N / DAYS
    level = gas_bar / gas - 1.013 + 0.01 * rng.standard_normal(DAYS)
    topped = np.where(np.diff(level, prepend=level[0]) > 0.1, 0.17, 0.0)
    assert (topped > 0.0).sum() >= 3
    return days_of(pressure=level, pressure_min=level - 0.2, loop_c=warm, pressure_topped=topped)


def test_an_empty_vessel_loses_no_water() -> None:
    assert water_pressure.pressure_falling(context_of(empty_vessel(0.0))) is None


def test_an_empty_vessel_that_leaks_too_is_told() -> None:
    found = check_whole(water_pressure.pressure_falling(context_of(empty_vessel(0.006))))
    assert found.severity in ("watch", "act")
    assert "topped up" not in found.headline


def test_a_coarse_gauge_that_follows_the_water_shows_no_loss() -> None:
    """A gauge of 0.05 bar: the water cools for a week, warms again, and a warm hour passes for a refill."""
    rng = np.random.default_rng(2)
    warm = 43.0 + rng.normal(0.0, 1.0, DAYS) - 6.0 * np.exp(-(((N - 80.0) / 5.0) ** 2))
    level = np.round((1.55 + 0.012 * (warm - 43.0)) / 0.05) * 0.05
    topped = np.where(N == 86, 0.16, 0.0)
    days = days_of(pressure=level, pressure_min=level - 0.1, loop_c=warm, pressure_topped=topped)
    assert water_pressure.pressure_falling(context_of(days)) is None


def test_a_circuit_that_ran_empty_weeks_ago_has_not_come_back() -> None:
    """The gauge of an empty circuit shows a trifle above nothing from then on."""
    level = np.maximum(1.2 - 0.02 * np.maximum(N - 15, 0), 0.052)
    found = check_whole(
        water_pressure.pressure_falling(context_of(days_of(pressure=level, pressure_min=level)))
    )
    assert found.severity == "act"
    assert found.until is None


def test_a_level_that_came_back_by_itself_is_no_loss() -> None:
    level = 1.6 - 0.25 * np.exp(-(((N - 70.0) / 9.0) ** 2))
    assert water_pressure.pressure_falling(context_of(days_of(pressure=level, pressure_min=level))) is None


@pytest.mark.parametrize(("later", "sits"), [(0.007, True), (0.0, False)])
def test_a_top_up_ends_no_loss_unless_the_level_stays(later: float, sits: bool) -> None:
    """The level falls by 0.007 bar a day and is topped up twice, lastly 18 days ago; since then
    it falls on, or stays."""
    rng = np.random.default_rng(5)
    last = DAYS - 18
    since = N - np.where(last <= N, last, np.where(N >= 35, 35, 0))
    lost = np.where(last <= N, later, 0.007) * since
    level = 1.6 - lost + 0.004 * rng.standard_normal(DAYS)
    days = days_of(pressure=level, pressure_min=level)
    found = check_whole(water_pressure.pressure_falling(context_of(days)))
    assert (found.until is None) is sits
    assert (found.severity == "note") is not sits
    assert np.datetime64(found.since) <= FIRST + 10
    if sits:
        assert "topped up 2 times" in found.headline


def test_pressures_at_like_temperature_keep_a_loss_and_drop_the_water() -> None:
    days = empty_vessel(0.006)
    like = at_like_temperature(days.floats("pressure"), days.floats("loop_c"))
    lost = 0.04 / (0.04 / 2.8 + 0.006 * N / DAYS) - 1.013
    assert np.std(like - lost) < 0.5 * np.std(days.floats("pressure") - lost)


def test_level_pressure_has_no_drift() -> None:
    rng = np.random.default_rng(3)
    level = 1.5 + 0.02 * rng.standard_normal(DAYS)
    for sign in (-1, 1):
        newest_first = stretches(
            days_of()["day"],
            level,
            np.full(DAYS, 34.0),
            np.zeros(DAYS),
            refill_bar=0.12,
            empty_bar=0.05,
        )
        assert newest_first
        assert drift(newest_first, sign=sign, least=0.015, least_change=0.12) is None


# What they share


@pytest.mark.parametrize(
    "code", ["high_standing_loss", "slow_reheat", "pressure_falling", "disinfection_lacking"]
)
def test_a_cold_snap_is_no_excuse_for_cylinder_and_circuit(code: str) -> None:
    assert not excuses("cold_snap", code)
    assert excuses("cold_snap", "hot_water_shortfall")


def test_evidence_that_is_not_known_is_not_shown() -> None:
    shown = context_of().evidence("swing", np.nan, "bar", "pressure_swing_watch")
    days = Evidence("days", 3.0, "days")
    told = with_known_evidence(
        Finding("pressure_swings", "watch", "2026-01-01", 0.9, "…", evidence=(shown, days))
    )
    assert told.evidence == (days,)


@pytest.mark.parametrize(("later", "until"), [(0.03, None), (0.008, "told")])
def test_a_vessel_is_not_mended_by_water_that_was_let_out(later: float, until: str | None) -> None:
    """The same gas at a lower pressure gives a lesser slope; only more gas gives a slope like a sound
    vessel's."""
    early = N < 40
    level = np.where(early, 2.3, 1.5)
    # Boyle's law: the slope goes with the square of the absolute pressure.
    slope = np.where(early, 0.1, 0.1 * (2.5 / 3.3) ** 2 if until is None else later)
    days = days_of(
        pressure=level,
        pressure_min=level - 0.4,
        pressure_max=level + 0.5,
        pressure_swing=np.where(early, 0.9, 0.5),
        pressure_per_k=slope,
        pressure_follows=0.9,
        loop_c=36.0,
    )
    found = expansion_vessel.pressure_swings(context_of(days))
    assert found is not None
    assert (found.until is None) is (until is None)


def test_a_slide_is_dated_from_its_beginning() -> None:
    rng = np.random.default_rng(1)
    day = days_of()["day"]
    slide = 2.0 + 0.1 * np.maximum(N - 30, 0) + 0.1 * rng.standard_normal(DAYS)
    began = onset(day, slide, Episode(str(FIRST + 50), None, 40, 1.0))
    assert abs((np.datetime64(began) - FIRST).astype(int) - 30) <= 4
    step = 2.0 + 3.0 * (N >= 50) + 0.1 * rng.standard_normal(DAYS)
    assert onset(day, step, Episode(str(FIRST + 50), None, 40, 1.0)) == str(FIRST + 50)
    assert onset(day, step, Episode(str(FIRST + 2), None, 80, 1.0)) == str(FIRST + 2)


def test_water_that_cools_at_one_pressure_was_not_topped_up() -> None:
    """A circuit that stands still keeps its pressure whatever the water in the unit does; a refill raises it
    (Boyle's law)."""
    minute = np.arange(2880)
    later = minute >= 1440
    day = Segments(np.array([0, 1440]), np.array([1440, 2880]))
    flat, refilled = np.full(2880, 1.48), np.where(later, 1.78, 1.48)
    cooled, even = np.where(later, 30.0, 52.0), np.full(2880, 35.0)
    for slope in (0.0, np.nan):
        known = np.full(2, slope)
        assert _topped(day, flat, cooled, known).sum() == 0.0
        assert _topped(day, refilled, even, known).sum() == pytest.approx(0.3)


def heater_runs(**columns: Any) -> Any:
    """A weekly run of the immersion heater that the sensor below it hardly sees."""
    base = {
        "electricity_immersion_kwh": np.where(WEEKLY, 3.0, 0.0),
        "immersion_from_c": np.where(WEEKLY, 45.0, np.nan),
        "tank_max": np.where(WEEKLY, 47.5, 46.0),
    }
    return lukewarm(43.0, **(base | columns))


@pytest.mark.parametrize("rule", [hygiene.disinfection_lacking, hygiene.pasteurisation_missed])
def test_a_heater_that_runs_above_the_sensor_leaves_disinfection_unknown(rule: Any) -> None:
    """3 kWh warm 200 l by 13 K: the water above the sensor may have been disinfected."""
    with pytest.raises(NotAssessed, match=r"sensor\s+sits too low"):
        rule(context_of(heater_runs()))


@pytest.mark.parametrize(
    "columns",
    [
        {"electricity_immersion_kwh": 0.0},
        {"electricity_immersion_kwh": np.where(WEEKLY, 0.6, 0.0)},
        {"electricity_immersion_kwh": 3.0, "immersion_from_c": 45.0},
        {"tank_max": np.where(WEEKLY, 56.0, 46.0)},
    ],
    ids=["never", "too little", "daily hot water", "seen by the sensor"],
)
def test_other_heater_work_does_not_hide_a_missing_disinfection(columns: dict[str, Any]) -> None:
    assert check_whole(hygiene.disinfection_lacking(context_of(heater_runs(**columns)))).severity == "act"


def test_a_store_kept_lukewarm_by_its_site_file_is_told_as_designed() -> None:
    plain = check_whole(hygiene.disinfection_lacking(context_of(lukewarm(42.0), site=UNSCHEDULED)))
    warm = lukewarm(42.0, tank_max=49.0)
    assert not plain.as_designed  # charges end 5 K below the site file's setpoint
    assert check_whole(hygiene.disinfection_lacking(context_of(warm, site=UNSCHEDULED))).as_designed
    assert not check_whole(hygiene.disinfection_lacking(context_of(warm))).as_designed
