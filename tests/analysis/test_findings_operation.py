"""Findings about starts, defrosts and rests, on hand-made tables and a few simulated plants."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.table import Table, joined
from fieldfare.analysis.figures.operation import defrosting
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.cycling import starts
from fieldfare.analysis.findings.cycling.limits import LIMITS_CYCLING
from fieldfare.analysis.findings.defrost import excess, without_frost
from fieldfare.analysis.findings.defrost.causes import defrost_causes
from fieldfare.analysis.findings.defrost.limits import LIMITS_DEFROST
from fieldfare.analysis.findings.electric import idle
from fieldfare.analysis.findings.electric.limits import LIMITS_ELECTRIC
from fieldfare.analysis.findings.excuses import FAMILY_OF
from fieldfare.analysis.findings.flow import buffer, water_flow
from fieldfare.analysis.findings.flow.limits import LIMITS_FLOW
from fieldfare.analysis.findings.grading import graded_by_confidence
from fieldfare.analysis.findings.heat import curve
from fieldfare.analysis.findings.heat.limits import LIMITS_HEAT
from fieldfare.analysis.findings.judge import PLANT_RULES
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import random_plant, simulate, with_fault
from tests.analysis.operation_tables import (
    CAUSES,
    CURVE,
    DAYS,
    EIGHT_COATS_KG,
    FIRST,
    OWN_PUMP_METER,
    check_whole,
    context_of,
    days_of,
    defrosts_of,
    runs_of,
    with_limits,
)
from tests.analysis.site_text import WHOLE

RULES = tuple(r for r in PLANT_RULES if FAMILY_OF[r.code] in ("operation", "curve"))
# Short cycling


@pytest.mark.parametrize(
    ("columns", "cause"),
    [
        ({"ended_by": "call", "flow_max": 32.0}, "thermostat_chopping"),
        ({"ended_by": "unknown", "flow_max": 31.0, "flow_after": 0.0}, "thermostat_chopping"),
        ({"flow_end": 40.0, "return_end": 37.0}, "low_water_volume"),
        ({"flow_rate": 0.6, "lift": 8.0}, "flow_restriction"),
    ],
)
def test_short_runs_are_found_and_what_ends_them_is_told(columns: dict[str, Any], cause: str) -> None:
    days = days_of(lift=columns.get("lift", 4.0))
    found = check_whole(starts.short_cycling(context_of(days, runs_of(5, 8, 40, **columns))))
    assert found.severity == "act"
    assert found.causes[0].cause == cause
    assert found.cost_kwh is not None
    assert found.cost_kwh > 0


def test_a_pump_that_follows_the_output_restricts_nothing() -> None:
    """Heat is flow times difference: with the nominal difference or less the flow is as wide as the heat
    asks (EN 14511)."""
    found = check_whole(starts.short_cycling(context_of(runs=runs_of(5, 8, 40, flow_rate=0.6, lift=3.0))))
    assert found.causes[0].cause != "flow_restriction"
    assert found.cost_money == pytest.approx(found.cost_kwh * 0.27)


def test_an_on_off_unit_swings_about_the_curve_it_holds() -> None:
    """Runs and rests of an hour each: water that passes the resting unit at 37 to 32 °C (mean 34.5) makes up
    half of the time, and the mean of both is what the control holds."""
    days = days_of(above_curve=4.3, target_above_curve=np.nan)
    swings = {"flow": 42.4, "return_end": 41.0, "flow_start": 33.0, "target_flow": np.nan}
    on_off = runs_of(60, 60, 8, **swings)
    assert curve.flow_temperature_above_curve(context_of(days, on_off)) is None
    stands = on_off.with_columns(flow_after=np.zeros(len(on_off)))
    assert check_whole(curve.flow_temperature_above_curve(context_of(days, stands))).severity == "watch"
    hot = days_of(above_curve=9.0, target_above_curve=np.nan)
    assert check_whole(curve.flow_temperature_above_curve(context_of(hot, on_off))).severity != "note"


def test_a_wide_difference_in_brief_runs_alone_is_no_restriction() -> None:
    """The return of a brief run is still cold; in steady heating the same flow gives the nominal
    difference."""
    runs = runs_of(5, 8, 40, flow_rate=0.6, lift=8.0)
    found = check_whole(starts.short_cycling(context_of(days_of(lift=4.0), runs)))
    assert found.causes[0].cause != "flow_restriction"


def test_a_unit_that_could_run_through_is_stopped_by_its_call() -> None:
    """At twice the least output nothing but a call ends a run; a pump that goes on after it shows nothing."""
    runs = runs_of(5, 8, 40, ended_by="unknown", flow_max=np.nan)
    for load_kw, cause in ((5.2, "thermostat_chopping"), (1.3, "low_water_volume")):
        days = days_of(heat_space_kwh=24.0 * load_kw)
        found = check_whole(starts.short_cycling(context_of(days, runs)))
        told = [c.cause for c in found.causes]
        assert (told[0] == cause) is (load_kw > 2.6) or cause in told


def test_a_unit_too_big_is_told_by_its_lowest_output() -> None:
    site = WHOLE.replace("min_output_kw = 2.6", "min_output_kw = 7.0")
    found = check_whole(starts.short_cycling(context_of(runs=runs_of(15, 15, 40), site=site)))
    assert found.causes[0].cause == "oversized_for_mild_load"


FIXED_SPEED = WHOLE.replace("min_output_kw = 2.6", "min_output_kw = 8.5")


@pytest.mark.parametrize(
    ("minutes", "pause", "per_day", "too_often"),
    [(22, 38, 24, False), (20, 24, 30, False), (4, 6, 100, True)],
    ids=["one an hour", "runs of 20 minutes", "ten minutes from start to start"],
)
def test_a_unit_of_one_speed_has_to_switch_and_is_judged_by_wear(
    minutes: int, pause: int, per_day: int, too_often: bool
) -> None:
    """At half load rests are as long as runs (cycling law); 2 to 3 starts an hour are what makers allow
    (reference 9.4). A unit that turns down would run through."""
    days, runs = days_of(outdoor=np.full(DAYS, 2.0), heat_space_kwh=96.0), runs_of(minutes, pause, per_day)
    found = starts.short_cycling(context_of(days, runs, site=FIXED_SPEED))
    assert (found is not None and found.severity != "note" and found.confidence > 0.9) is too_often
    assert starts.short_cycling(context_of(days, runs)) is not None


def test_a_speed_that_knows_full_and_nothing_shows_a_unit_of_one_speed() -> None:
    runs = runs_of(20, 24, 30)
    speed = {"minutes_running": 600, "minutes_full_speed": 585}
    assert starts.short_cycling(context_of(days_of(outdoor=np.full(DAYS, 2.0), **speed), runs)) is None


def test_a_unit_of_one_speed_may_start_often_by_its_counter() -> None:
    days = days_of(compressor_starts_counted=35.0, compressor_hours_counted=12.0)
    assert starts.short_cycling(context_of(days, site=FIXED_SPEED)) is None
    assert starts.short_cycling(context_of(days)) is not None


def test_the_weather_shows_in_the_mean_of_runs_and_rests() -> None:
    """Runs give 33 °C in any weather, as their output makes it; the control holds the mean of run and rest,
    by longer rests. With the same rests in any weather the flow is fixed."""
    level = days_of(flow=np.full(DAYS, 40.0), target_flow=np.nan, target_above_curve=np.nan)
    held = np.repeat(CURVE, 20)
    follows = runs_of(
        20, 40, 20, flow=40.0, return_end=40.0 - 1.5 * (40.0 - held), flow_start=40.0 - 1.5 * (40.0 - held)
    )
    steady = runs_of(20, 40, 20, flow=40.0, return_end=37.0, flow_start=35.0)
    assert curve.no_weather_compensation(context_of(level, follows)) is None
    assert check_whole(curve.no_weather_compensation(context_of(level, steady))).severity != "note"


@pytest.mark.parametrize(
    ("minutes", "pause", "per_day"),
    [(45, 40, 14), (30, 30, 20), (12, 60, 7), (5, 8, 3)],
    ids=["a usual winter", "two an hour at most", "few", "hardly any"],
)
def test_a_healthy_season_does_not_cycle(minutes: int, pause: int, per_day: int) -> None:
    assert starts.short_cycling(context_of(runs=runs_of(minutes, pause, per_day))) is None


def test_mild_days_may_cycle_where_cold_ones_may_not() -> None:
    runs = runs_of(11, 12, 30)
    mild = days_of(outdoor=np.full(DAYS, 12.5))
    assert starts.short_cycling(context_of(mild, runs)) is None
    cold = days_of(outdoor=np.full(DAYS, 2.0))
    assert check_whole(starts.short_cycling(context_of(cold, runs))).severity != "note"


def test_cycling_that_is_over_is_a_note_with_its_end() -> None:
    runs = runs_of(5, 8, 40)
    later = runs_of(60, 40, 10)
    runs = joined([runs.where(runs["day"] < FIRST + 20), later.where(later["day"] >= FIRST + 20)])
    found = check_whole(starts.short_cycling(context_of(runs=runs)))
    assert (found.severity, found.until) == ("note", "2025-11-20")


def test_a_counter_alone_tells_too_many_starts() -> None:
    few = days_of(compressor_starts_counted=15.0, compressor_hours_counted=14.0)
    many = days_of(compressor_starts_counted=60.0, compressor_hours_counted=10.0)
    assert starts.short_cycling(context_of(few)) is None
    found = check_whole(starts.short_cycling(context_of(many)))
    assert found.severity == "act"
    assert "counter" in found.headline
    with pytest.raises(NotAssessed, match="compressor_starts"):
        starts.short_cycling(context_of(days_of()))


def test_silence_of_coarse_readings_is_no_all_clear() -> None:
    coarse = days_of(**{"spacing.heat_pump_electricity": 15.0, "spacing.operating_mode": 15.0})
    with pytest.raises(NotAssessed, match="every 15 minutes can't show short runs"):
        starts.short_cycling(context_of(coarse, runs_of(60, 40, 10)))


# Defrosts


@pytest.mark.parametrize(
    ("days", "columns", "cause"),
    [
        ({}, {}, "coil_airflow"),
        ({"expected_steady_kwh": 15.0, "load_share_top": 0.7}, {}, "low_refrigerant_symptom"),
        ({}, {"minutes": 9, "heat_taken": 0.15, "a_day": 8}, "insufficient_defrost_heat"),
    ],
)
def test_defrosts_beyond_what_the_frost_asks_for(
    days: dict[str, Any], columns: dict[str, Any], cause: str
) -> None:
    given: dict[str, Any] = {"a_day": 24, "minutes": 2, "heat_taken": 0.12, "locked": True} | columns
    table = defrosts_of(38.0, 90.0, **given)
    found = check_whole(
        excess.excessive_defrost(
            context_of(days_of(expected_steady_kwh=19.5) if not days else days_of(**days), defrosts=table)
        )
    )
    assert found.severity in ("watch", "act")
    assert found.causes[0].cause == cause
    assert "licensed" in found.caution
    assert "R290 burns" in found.caution


@pytest.mark.parametrize(
    ("steady", "cause"), [(18.2, "coil_airflow"), (16.0, "low_refrigerant_symptom")], ids=["sound", "lost"]
)
def test_defrosts_as_soon_as_the_lock_ends_are_the_air_where_nothing_is_lost(
    steady: float, cause: str
) -> None:
    """A charge so low has cost a tenth and more by then (common practice, no source)."""
    # Eight of nine at 35 minutes, the unit's own lock: otherwise the same.
    ends = np.resize([35.0] * 8 + [60.0], len(defrosts_of(0, 0, 30)))
    days = days_of(expected_steady_kwh=steady, expected_used_steady_kwh=18.0, load_share_top=0.7)
    table = defrosts_of(35.0, 60.0, 30, locked=True).with_columns(since_last=ends)
    found = check_whole(excess.excessive_defrost(context_of(days, defrosts=table)))
    assert found.severity == "act"
    assert found.causes[0].cause == cause


@pytest.mark.parametrize(
    ("a_day", "taken"),
    [(8, 0.22), (4, 0.08), (11, 0.26)],
    ids=["as due", "few and light", "often, but whole coats"],
)
def test_defrosts_that_the_weather_explains(a_day: int, taken: float) -> None:
    context = context_of(defrosts=defrosts_of(60.0, 150.0, a_day, heat_taken=taken))
    found = excess.excessive_defrost(context)
    assert found is None or found.severity == "note"
    assert without_frost.defrost_without_frost(context) is None


def test_a_dear_winter_of_defrosts_is_found() -> None:
    """15 and more a day where the weather explains 4, an eighth of the heat: seen on a plant, no source."""
    coats = EIGHT_COATS_KG / 2.0
    days = days_of(frost_least=0.4 * coats, frost_usual=coats, frost_most=2.5 * coats)
    table = defrosts_of(35.0, 280.0, 17, locked=True, heat_taken=0.25, electricity=0.05)
    found = check_whole(excess.excessive_defrost(context_of(days, defrosts=table)))
    assert found.severity == "act"
    assert found.cost_kwh is not None
    assert found.cost_kwh > 100.0


def test_a_unit_that_began_to_defrost_twice_as_often_is_told_with_the_day() -> None:
    """Each frosty day has three, from the fiftieth day on nine: few by a usual coil, and three times its
    own."""
    coats = EIGHT_COATS_KG * (1.0 + 0.3 * np.sin(np.arange(DAYS)))
    days = days_of(frost_least=0.4 * coats, frost_usual=coats, frost_most=2.5 * coats)
    few, many = defrosts_of(80.0, 150.0, 3), defrosts_of(35.0, 60.0, 9, locked=True)
    begins = FIRST + 50
    table = joined([few.where(few["day"] < begins), many.where(many["day"] >= begins)])
    found = check_whole(excess.excessive_defrost(context_of(days, defrosts=table)))
    assert found.severity in ("watch", "act")
    assert found.confidence > 0.9
    assert abs(np.datetime64(found.since) - begins) <= np.timedelta64(8, "D")


@pytest.mark.parametrize(("fell", "first"), [(-0.17, "low_refrigerant_symptom"), (-0.02, "coil_airflow")])
def test_what_a_unit_lost_against_its_own_days_tells_refrigerant_from_air(fell: float, first: str) -> None:
    causes = defrost_causes(context_of(), defrosts_of(35.0, 60.0, 9), slow=False, sooner=2.0, fell=fell)
    assert causes[0].cause == first
    assert "its own earlier performance" in causes[0].because


def test_a_timer_is_a_note_and_no_fault() -> None:
    table = defrosts_of(70.0, 90.0).with_columns(since_last=70.0)
    found = excess.excessive_defrost(context_of(defrosts=table))
    assert found is not None
    assert (found.severity, found.causes) == ("note", ())
    assert "by the clock, every 70 minutes" in found.headline
    assert without_frost.defrost_without_frost(context_of(defrosts=table)) is None


def test_a_timer_that_takes_a_tenth_of_the_heat_for_little_frost_is_more_than_a_note() -> None:
    """A defrost an hour on days whose frost makes two coats: six in seven are for nothing."""
    coats = EIGHT_COATS_KG / 4.0
    days = days_of(frost_least=0.4 * coats, frost_usual=coats, frost_most=2.5 * coats)
    table = defrosts_of(60.0, 20.0, 24, heat_taken=0.6, electricity=0.1).with_columns(since_last=60.0)
    found = check_whole(excess.excessive_defrost(context_of(days, defrosts=table)))
    assert found.severity == "watch"
    assert found.confidence >= 0.9
    assert found.visit == "setting"
    assert found.cost_kwh is not None
    assert found.home
    cheap = excess.excessive_defrost(context_of(days, defrosts=table.with_columns(heat_taken=0.05)))
    assert cheap is not None
    assert cheap.severity == "note"


def test_defrosts_sampled_every_five_minutes_are_judged_by_their_number() -> None:
    """Those seen are the least there are: gross excess shows, a usual number stays silent."""
    apart = "readings are 5 minutes apart"
    gross = defrosts_of(25.0, 30.0, 32, locked=True)
    found = check_whole(excess.excessive_defrost(context_of(defrosts=gross, sampled=apart)))
    assert found.severity in ("watch", "act")
    assert found.cost_kwh is None
    assert [e.value for e in found.evidence if e.label == "length of a defrost"] == [None]
    usual = context_of(defrosts=defrosts_of(60.0, 150.0, 6), sampled=apart)
    assert excess.excessive_defrost(usual) is None
    assert without_frost.defrost_without_frost(usual) is None


def test_a_sampled_signal_bounds_the_count() -> None:
    """A defrost of 2 minutes, the shortest usual one, is seen by two readings in five (common practice)."""
    coarse = {f"spacing.{q}": 5.0 for q in ("operating_mode", "flow_temperature", "flow_rate")}
    context = context_of(days_of(**coarse), defrosts=defrosts_of(60.0, 150.0, 6))
    figure = defrosting(context.site, context.facts)
    seen = len(context.facts.defrosts)
    assert (figure.count, figure.count_least, figure.count_most) == (None, seen, round(2.5 * seen))
    assert figure.reason
    without = context_of(
        days_of(**coarse | {"spacing.operating_mode": 15.0}), defrosts=context.facts.defrosts
    )
    assert defrosting(without.site, without.facts).count_most is None


def test_without_a_meter_that_counts_backwards_the_rate_alone_is_judged() -> None:
    table = defrosts_of(95.0, 90.0, 6, heat_taken=0.0, minutes=4)
    assert excess.excessive_defrost(context_of(defrosts=table)) is None
    soon = context_of(defrosts=defrosts_of(35.0, 90.0, 30, locked=True, heat_taken=0.0))
    assert without_frost.defrost_without_frost(soon) is None
    assert "defrosts 30 times" in check_whole(excess.excessive_defrost(soon)).headline


@pytest.mark.parametrize(
    ("columns", "steady", "cause"),
    [
        ({"heat_taken": 0.03, "electricity": 0.02}, 19.5, "sensor_fault"),
        ({}, 15.0, "low_refrigerant_symptom"),
    ],
)
def test_defrosts_in_air_that_frosts_no_coil(columns: dict[str, Any], steady: float, cause: str) -> None:
    table = defrosts_of(40.0, 0.0, outdoor=9.0, frosting=False, **columns)
    found = check_whole(
        without_frost.defrost_without_frost(context_of(days_of(expected_steady_kwh=steady), defrosts=table))
    )
    assert found.severity == "act"
    assert found.causes[0].cause == cause


def test_frost_of_a_colder_hour_may_be_melted_at_8_degrees() -> None:
    """What counts is the frost since the last defrost, not the air at the time of the next."""
    warm = defrosts_of(60.0, 90.0, outdoor=8.0, frosting=False)
    assert without_frost.defrost_without_frost(context_of(defrosts=warm)) is None


def test_a_few_odd_defrosts_are_a_note() -> None:
    odd = defrosts_of(40.0, 0.0, outdoor=9.0, frosting=False).where(slice(0, 40, 10))
    found = without_frost.defrost_without_frost(context_of(defrosts=odd))
    assert found is not None
    assert found.severity == "note"


def test_a_brine_source_has_no_defrosts_to_judge() -> None:
    site = WHOLE.replace('source = "air"', 'source = "brine"')
    with pytest.raises(NotAssessed, match="not air"):
        excess.excessive_defrost(context_of(defrosts=defrosts_of(30, 50), site=site))


# Rest


@pytest.mark.parametrize(("watts", "severity"), [(50.0, None), (90.0, "watch"), (200.0, "act")])
def test_power_at_rest(watts: float, severity: str | None) -> None:
    found = idle.high_standby(context_of(days_of(rest_power=watts), site=OWN_PUMP_METER))
    assert (found and found.severity) == severity


def test_a_high_draw_on_too_few_days_at_rest_is_not_silence() -> None:
    """A unit that runs all winter rests on five days; lastly it draws 120 W more than before."""
    calm = np.where(np.isin(np.arange(DAYS), (3, 4, 5, DAYS - 3, DAYS - 2)), 60.0, 0.0)
    power = np.where(np.arange(DAYS) > DAYS // 2, 140.0, 20.0)
    days = days_of(rest_power=power, minutes_calm=calm)
    with pytest.raises(NotAssessed, match="only 2 days show a draw of 140 W"):
        idle.high_standby(context_of(days, site=OWN_PUMP_METER))
    gone = days_of(rest_power=power[::-1], minutes_calm=calm)
    assert idle.high_standby(context_of(gone, site=OWN_PUMP_METER)) is None


def test_short_runs_blurred_by_coarse_readings_are_no_standby() -> None:
    coarse = {"spacing.heat_pump_electricity": 15.0}
    steady = days_of(rest_power=np.tile([110.0, 120.0], DAYS // 2), **coarse)
    assert idle.high_standby(context_of(steady, site=OWN_PUMP_METER)) is not None
    blurred = days_of(rest_power=np.tile([60.0, 130.0, 240.0], DAYS // 3), **coarse)
    with pytest.raises(NotAssessed, match="short runs"):
        idle.high_standby(context_of(blurred, site=OWN_PUMP_METER))
    running = days_of(rest_power=480.0, **coarse)
    with pytest.raises(NotAssessed, match="too few days with the unit at rest"):
        idle.high_standby(context_of(running, site=OWN_PUMP_METER))


def test_a_floor_that_steps_up_is_standby_from_the_step_on() -> None:
    """Quarter-hours of a unit that runs most of the day: many days share the least value, others don't."""
    coarse = {"spacing.heat_pump_electricity": 15.0}
    floor = np.where(np.arange(DAYS) < 50, 16.0, 160.0)
    partly = np.arange(DAYS) % 4 == 1
    power = np.where(partly, floor + 40.0 + 3.0 * np.arange(DAYS) % 97, floor)
    found = idle.high_standby(context_of(days_of(rest_power=power, **coarse), site=OWN_PUMP_METER))
    assert check_whole(found).headline == "The unit draws 160 W at standby."
    assert abs((np.datetime64(found.since) - FIRST).astype(int) - 50) <= 1


@pytest.mark.parametrize("spacing", [5.0, 15.0])
def test_a_unit_that_never_rests_for_a_reading_shows_no_standby(spacing: float) -> None:
    """Short runs in every reading: what is drawn on average is far above any unit's standby."""
    merged = days_of(rest_power=720.0, **{"spacing.heat_pump_electricity": spacing})
    with pytest.raises(NotAssessed, match="too few days with the unit at rest"):
        idle.high_standby(context_of(merged, site=OWN_PUMP_METER))


@pytest.mark.parametrize(("heat", "told"), [(40.0, True), (70.0, False)])
def test_runs_longer_than_their_heat_hold_rests(heat: float, told: bool) -> None:
    """Readings of 5 minutes merge runs of 8 with their rests. At 2.6 kW or more 40 kWh take 15 hours, not 24:
    not cleared, but not assessed. 70 kWh take all day."""
    merged = runs_of(1430.0, 10.0, 1)
    days = days_of(
        minutes_running=1430,
        minutes_heating=1430,
        heat_total_kwh=heat,
        heat_space_kwh=heat,
        running_spacing_min=5.0,
        **{"spacing.heat_pump_electricity": 5.0, "spacing.operating_mode": None},
    )
    context = context_of(days, merged, site=WHOLE.partition("[limits]")[0])
    if told:
        with pytest.raises(NotAssessed, match="can't count runs"):
            starts.short_cycling(context)
    else:
        assert starts.short_cycling(context) is None


def test_hours_of_part_running_are_no_floor() -> None:
    """By the hour, a unit that hardly rests has lowest hours of any size above its standby."""
    hourly = {"spacing.heat_pump_electricity": 60.0}
    shared = days_of(lowest_hour=np.tile([110.0, 110.0, 480.0], DAYS // 3), **hourly)
    assert idle.high_standby(context_of(shared, site=OWN_PUMP_METER)) is not None
    scattered = days_of(
        lowest_hour=np.sort(np.tile([10.0, 20.0, 80.0, 100.0, 480.0], DAYS // 5)) + 5.0, **hourly
    )
    found = idle.high_standby(context_of(scattered, site=OWN_PUMP_METER))
    assert found is None
    rising = days_of(lowest_hour=20.0 + 9.0 * np.arange(DAYS), **hourly)
    with pytest.raises(NotAssessed, match="too few days with the unit at rest"):
        idle.high_standby(context_of(rising, site=OWN_PUMP_METER))
    # Steps of a register make some mild days' part running alike, too.
    steps = np.where(np.arange(DAYS) % 6 == 0, 300.0, 700.0 + 100.0 * (np.arange(DAYS) % 7))
    with pytest.raises(NotAssessed, match="too few days with the unit at rest"):
        idle.high_standby(context_of(days_of(lowest_hour=steps, **hourly), site=OWN_PUMP_METER))


def test_a_pump_inside_the_meter_is_taken_out_or_allowed_for() -> None:
    text = WHOLE.replace('quantity = "circulation_pump_electricity"', 'quantity = "fan_electricity"')
    assert 'includes = ["circulation_pump"]' in text
    still = days_of(rest_power=110.0, still_power=25.0)
    assert idle.high_standby(context_of(still, site=text)) is None
    always = days_of(rest_power=110.0, still_power=np.nan, minutes_still=0)
    assert idle.high_standby(context_of(always, site=text)) is None
    assert idle.high_standby(context_of(days_of(rest_power=190.0, still_power=np.nan), site=text)) is not None


@pytest.mark.parametrize(("arrangement", "told"), [("series", True), ("parallel", False)])
def test_a_pump_beyond_a_parallel_buffer_is_no_standby(arrangement: str, told: bool) -> None:
    """Water that stands still in the unit says nothing of the pump of the other side, which this meter
    counts."""
    text = WHOLE.replace('quantity = "circulation_pump_electricity"', 'quantity = "fan_electricity"')
    text = text.replace('arrangement = "series"', f'arrangement = "{arrangement}"')
    assert f'arrangement = "{arrangement}"' in text
    found = idle.high_standby(context_of(days_of(rest_power=110.0, still_power=80.0), site=text))
    assert (found is not None) == told


def test_a_pump_that_never_rests() -> None:
    days = days_of(minutes_unasked=600, minutes_unasked_pumped=590)
    head, limits, tail = WHOLE.partition("[limits]")
    calling = f'{head}[[point]]\nid = "call"\nquantity = "heat_call"\nas = "state"\n{limits}{tail}'
    # Nobody knows whether the curve keeps the pump running in the season, with calls or without.
    for text in (calling, WHOLE):
        unsure = check_whole(idle.pump_always_on(context_of(days, site=text)))
        assert unsure.severity == "note"
        assert unsure.confidence < 0.5
    # Before, it rested between calls: then something was changed.
    switched = np.where(np.arange(DAYS) < DAYS // 2, 5, 590)
    told = idle.pump_always_on(
        context_of(days_of(minutes_unasked=600, minutes_unasked_pumped=switched), site=calling)
    )
    assert graded_by_confidence(context_of(days, site=calling), check_whole(told)).severity == "watch"
    assert idle.pump_always_on(context_of()) is None
    with pytest.raises(NotAssessed):
        idle.pump_always_on(context_of(days_of(minutes_unasked=np.nan, minutes_unasked_pumped=np.nan)))


@pytest.mark.parametrize(("times", "severity"), [(0.9, "note"), (1.5, "watch")])
def test_a_pump_that_turns_in_summer_is_told_by_what_it_costs(times: float, severity: str) -> None:
    """Costs of 0.9 and 1.5 times what matters: the pump's power is worked out backwards."""
    hours = 10.0
    watts = times * LIMITS_ELECTRIC["idle_pump_kwh"].default * 1000.0 / 365.0 / hours
    days = days_of(
        minutes_unasked=hours * 60.0,
        minutes_unasked_pumped=hours * 60.0,
        unasked_pump_power=watts,
        outdoor=20.0,
        outdoor_steady=20.0,
        minutes_heating=0,
    )
    context = context_of(days)
    found = graded_by_confidence(context, check_whole(idle.pump_always_on(context)))
    assert found.cost_kwh == pytest.approx(times * LIMITS_ELECTRIC["idle_pump_kwh"].default, rel=0.01)
    assert found.severity == severity


def test_standby_is_told_by_its_probable_cost_in_a_year_and_not_in_a_winter() -> None:
    """A winter in which the unit hardly rests says little of the hours at rest in a year."""
    winter = context_of(days_of(rest_power=72.0, minutes_rest=40), site=OWN_PUMP_METER)
    found = check_whole(idle.high_standby(winter))
    assert found.confidence < winter.limit("finding_chance")
    assert graded_by_confidence(winter, found).severity == "watch"
    assert found.cost_kwh is not None
    # 32 W beyond the usual 40, in the half of a year and more that is summer or pauses.
    assert 100.0 < found.cost_kwh < 32.0 * 8.766


# Limits, needs, and whole plants


@pytest.mark.parametrize(
    ("check", "days", "limits"),
    [
        (idle.high_standby, {"still_power": 90.0}, {"standby_watch_w": 100.0}),
        (
            buffer.buffer_mixing,
            {"buffer_drop": 2.0, "beyond_lift": 2.0},
            {"buffer_drop_watch_k": 3.0, "buffer_drop_note_k": 2.5},
        ),
        (
            water_flow.low_flow,
            {"flow_rate": 0.9, "flow_rate_top": 0.9, "flow_rate_hot_water": 0.9, "lift": 7.0},
            {"low_flow_note_share": 0.5},
        ),
    ],
)
def test_a_limit_of_the_site_file_counts(
    check: Callable[[Context], Finding | None], days: dict[str, Any], limits: dict[str, float]
) -> None:
    assert check(context_of(days_of(**days))) is not None
    assert check(context_of(days_of(**days), site=with_limits(**limits))) is None


def test_every_limit_has_a_source_and_is_used() -> None:
    folder = Path(water_flow.__file__).parents[1]
    code = "".join(p.read_text() for p in folder.rglob("*.py") if not p.name.startswith("limits"))
    for name, limit in {
        **LIMITS_CYCLING,
        **LIMITS_DEFROST,
        **LIMITS_ELECTRIC,
        **LIMITS_FLOW,
        **LIMITS_HEAT,
    }.items():
        assert len(limit.source) > 20
        assert limit.meaning
        assert limit.unit
        assert f'"{name}"' in code


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.code)
def test_without_its_meters_a_finding_says_what_it_needs(rule: Rule) -> None:
    whole = days_of()
    bare = Table({name: whole[name] for name in ("day", "minutes_total", "outdoor")})
    with pytest.raises(NotAssessed, match="needs"):
        rule.run(context_of(bare))


def plant_result(
    code: str | None, cause: str | None = None, *, meters: str = "rich", days: int = 45, seed: int = 33
) -> Any:
    spec = random_plant(seed, "mild", meters)
    if code:
        spec = with_fault(spec, code, cause, "plain")
    first = date(2023, 11, 20)
    sim = simulate(spec, first, days)
    site, last = parse_site(sim.site_toml), first + timedelta(days - 1)
    return analyse(site, build_facts(site, sim.readings, first, last), first, last)


def test_a_healthy_simulated_plant_has_nothing_above_a_note() -> None:
    result = plant_result(None)
    mine = [f for f in result.findings if f.code in {r.code for r in RULES}]
    assert not [f.code for f in mine if f.severity != "note"]


@pytest.mark.parametrize(
    ("code", "cause", "meters"),
    [
        ("short_cycling", "thermostat_chopping", "rich"),
        ("short_cycling", "thermostat_chopping", "full"),
        ("defrost_without_frost", "sensor_fault", "no_room"),
        ("low_flow", "strainer_or_air", "no_cylinder"),
        ("high_standby", None, "basic"),
    ],
)
def test_a_plain_fault_of_a_simulated_plant_is_found_with_its_cause(
    code: str, cause: str | None, meters: str
) -> None:
    found = next(f for f in plant_result(code, cause, meters=meters).findings if f.code == code)
    assert check_whole(found).severity in ("watch", "act")
    assert cause is None or found.causes[0].cause == cause


def test_the_rules_keep_to_the_contract() -> None:
    assert {r.code for r in RULES} == {*CAUSES, "high_standby", "pump_always_on", "heating_out_of_season"}
