"""Findings about the heating water's temperature and flow, on tables made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.flow import buffer, falling_flow, water_flow
from fieldfare.analysis.findings.heat import curve
from fieldfare.analysis.findings.heat.cool_water import flow_temperature_below_curve as cool_water_rule
from tests.analysis.operation_tables import CURVE, DAYS, FIRST, check_whole, context_of, days_of
from tests.analysis.site_text import WHOLE

# Flow temperature


@pytest.mark.parametrize(("above", "severity"), [(2.5, "note"), (4.5, "watch"), (8.0, "act")])
def test_a_curve_set_high_is_graded_by_kelvin(above: float, severity: str) -> None:
    days = days_of(
        flow=CURVE + above,
        above_curve=above,
        target_flow=CURVE + above,
        target_above_curve=above,
        expected_curve_actual_kwh=20.0,
    )
    found = check_whole(curve.flow_temperature_above_curve(context_of(days)))
    assert found.severity == severity
    assert found.causes[0].cause == "curve_set_high"
    assert found.visit == "setting"
    assert curve.no_weather_compensation(context_of(days)) is None


def test_overshoot_of_what_is_asked_is_no_high_curve() -> None:
    days = days_of(flow=CURVE + 4.0, above_curve=4.0)
    assert curve.flow_temperature_above_curve(context_of(days)) is None


def test_a_fixed_flow_is_told_from_a_high_curve() -> None:
    days = days_of(
        flow=48.0,
        target_flow=48.0,
        above_curve=48.0 - CURVE,
        target_above_curve=48.0 - CURVE,
        expected_curve_actual_kwh=21.0,
    )
    high = check_whole(curve.flow_temperature_above_curve(context_of(days)))
    assert high.causes[0].cause == "manual_override"
    fixed = check_whole(curve.no_weather_compensation(context_of(days)))
    assert fixed.severity == "act"
    assert "48" in fixed.headline


def test_a_hand_setting_is_dated() -> None:
    late = np.arange(DAYS) >= 30
    flow = np.where(late, 50.0, CURVE)
    days = days_of(flow=flow, target_flow=flow, above_curve=flow - CURVE, target_above_curve=flow - CURVE)
    found = check_whole(curve.flow_temperature_above_curve(context_of(days)))
    assert found.since == "2025-12-01"
    assert found.causes[0].cause == "manual_override"
    assert found.until is None


def test_one_kind_of_weather_cannot_show_compensation() -> None:
    with pytest.raises(NotAssessed, match="too similar"):
        curve.no_weather_compensation(context_of(days_of(outdoor_steady=np.full(DAYS, 4.0))))
    text = WHOLE.replace("[heating_curve]\npoints = [[-3.0, 46.0], [15.0, 28.0]]", "")
    with pytest.raises(NotAssessed, match="heating_curve"):
        curve.flow_temperature_above_curve(context_of(site=text))


def test_heat_on_warm_days() -> None:
    warm = np.full(DAYS, 20.0)
    days = days_of(outdoor=warm, minutes_heating_warm=200, heat_heating_warm_kwh=6.0)
    found = check_whole(curve.heating_out_of_season(context_of(days)))
    assert found.severity == "act"
    assert found.cost_kwh == pytest.approx(
        (DAYS - 1) * 6.0 * 20.0 / 80.0
    )  # the first has no warm day before it
    assert curve.heating_out_of_season(context_of(days_of(outdoor=warm, minutes_heating_warm=5))) is None
    with pytest.raises(NotAssessed, match="warm days"):
        curve.heating_out_of_season(context_of())


def test_warm_rooms_need_no_heat_in_mild_air() -> None:
    """At 16 °C outdoors a house whose rooms are 3 K over the design's has no use for heat; one at 20 may."""
    mild = {"outdoor": np.full(DAYS, 16.0), "minutes_heating_warm": 200, "heat_heating_warm_kwh": 6.0}
    found = check_whole(curve.heating_out_of_season(context_of(days_of(**mild, room=24.0))))
    assert found.severity == "act"
    with pytest.raises(NotAssessed, match="warm days"):
        curve.heating_out_of_season(context_of(days_of(**mild, room=20.0), site=WHOLE))


# Water flow


@pytest.mark.parametrize(("share", "severity"), [(0.75, "note"), (0.62, "watch"), (0.45, "act")])
@pytest.mark.parametrize(("jitter", "cause"), [(0.06, "strainer_or_air"), (0.003, "pump_setting")])
def test_low_flow_by_its_share_and_air_by_its_restlessness(
    share: float, severity: str, jitter: float, cause: str
) -> None:
    flow = 1.45 * share
    days = days_of(
        flow_rate=flow, flow_rate_top=flow, flow_rate_hot_water=flow, flow_jitter=jitter, lift=4.0 / share
    )
    found = check_whole(water_flow.low_flow(context_of(days)))
    assert found.severity == severity
    assert found.causes[0].cause == cause


def test_a_steady_flow_that_fell_slowly_is_the_strainer() -> None:
    """Dirt is as steady as a setting; a setting does not go down week by week."""
    flow = 1.45 * np.interp(np.arange(DAYS), [0, DAYS // 3, DAYS - 1], [1.0, 1.0, 0.5])
    days = days_of(
        flow_rate=flow,
        flow_rate_top=flow,
        flow_rate_hot_water=flow,
        flow_jitter=0.003,
        lift=4.0 * 1.45 / flow,
    )
    first = check_whole(water_flow.low_flow(context_of(days))).causes[0]
    assert first.cause == "strainer_or_air"
    assert first.weight > 0.8
    assert "air" not in first.because


@pytest.mark.parametrize(("share", "told"), [(0.65, False), (0.4, True)])
def test_a_flow_seen_while_charging_alone_is_the_coils(share: float, told: bool) -> None:
    """Coil and valve take a part of the flow: in summer, with charges alone, it says nothing of the rest."""
    flow = 1.45 * share
    heats = np.arange(DAYS) < 3
    days = days_of(
        minutes_steady=np.where(heats, 700, 0),
        flow_rate=np.where(heats, 1.45, np.nan),
        flow_rate_top=np.where(heats, 1.45, np.nan),
        flow_rate_hot_water=flow,
        lift=np.where(heats, 4.0, np.nan),
        heat_power=np.where(heats, 6000.0, np.nan),
    )
    charges = Table({"day": days["day"], "minutes": 60.0, "heat": 8.0, "flow_rate": flow, "lift": 11.0})
    context = context_of(days)
    found = water_flow.low_flow(replace(context, facts=replace(context.facts, reheats=charges)))
    assert (found is not None) is told


def test_a_pump_that_holds_the_difference_is_no_low_flow() -> None:
    heat = 2500.0 + 1500.0 * (1.0 + np.sin(np.arange(DAYS) / 3.0))
    flow = heat / 1155.0 / 5.0
    days = days_of(flow_rate=flow, flow_rate_top=flow, flow_rate_hot_water=np.nan, heat_power=heat, lift=5.0)
    assert water_flow.low_flow(context_of(days)) is None


def test_a_pump_at_its_least_speed_with_the_nominal_difference_is_no_low_flow() -> None:
    """4.8 K of 5.3 K with half of the nominal flow: seen on a sound plant whose pump modulates, no source."""
    days = days_of(flow_rate=0.72, flow_rate_top=0.74, flow_rate_hot_water=0.73, lift=4.6, heat_power=3800.0)
    assert water_flow.low_flow(context_of(days)) is None


@pytest.mark.parametrize(("charging", "told"), [(0.75, True), (1.35, False)], ids=["one speed", "follows"])
def test_charges_tell_whether_the_pump_holds_one_speed(charging: float, told: bool) -> None:
    """Heating at one output shows no elasticity; a charge asks for nearly twice as much heat."""
    low = days_of(
        flow_rate=0.75, flow_rate_top=0.77, flow_rate_hot_water=charging, lift=5.5, heat_power=4750.0
    )
    charges = Table(
        {
            "day": low["day"],
            "minutes": 40.0,
            "heat": 9.0 * 40.0 / 60.0 + 0.02 * (np.arange(DAYS) % 5),
            "flow_rate": charging,
            "lift": 9.0 / 1.155 / charging,
        }
    )
    context = context_of(low)
    found = water_flow.low_flow(replace(context, facts=replace(context.facts, reheats=charges)))
    assert (found is not None and found.severity != "note" and found.confidence >= 0.9) is told


def test_a_low_flow_is_dated_from_where_it_began_to_fall() -> None:
    """It passes the limit three weeks after it began to fall."""
    rng = np.random.default_rng(2)
    flow = 1.45 * (1.0 - np.clip(np.arange(DAYS) - 15, 0, 30) / 30 * 0.4) + 0.005 * rng.standard_normal(DAYS)
    lift = 4.0 * 1.45 / flow
    days = days_of(flow_rate=flow, flow_rate_top=flow, flow_rate_hot_water=flow, lift=lift)
    found = check_whole(water_flow.low_flow(context_of(days)))
    begun = (np.datetime64(found.since) - FIRST) / np.timedelta64(1, "D")
    assert 10 <= begun <= 20


def test_flow_is_had_from_heat_and_difference_where_no_meter_shows_it() -> None:
    days = days_of(lift=9.0, heat_power=6000.0, flow_rate=None, flow_rate_top=None, flow_rate_hot_water=None)
    found = check_whole(water_flow.low_flow(context_of(days)))
    assert "from heat and difference" in found.evidence[0].label


def test_a_meter_that_counts_coarsely_gives_the_flow_of_the_day() -> None:
    """55 kWh in 900 minutes of heating at 9 K are 0.35 m3/h (1.155 kWh a m3 and kelvin)."""
    days = days_of(
        lift=9.0,
        heat_power=np.nan,
        heat_space_kwh=55.0,
        flow_rate=None,
        flow_rate_top=None,
        flow_rate_hot_water=None,
        **{"spacing.heat_output": 30.0},
    )
    found = check_whole(water_flow.low_flow(context_of(days)))
    assert found.evidence[0].value == pytest.approx(55.0 / 15.0 / 1.155 / 9.0, abs=0.01)
    assert "day's heat" in found.evidence[0].label


def test_a_slide_of_the_flow_is_clogging_and_a_step_is_a_setting_or_air() -> None:
    slide = 1.45 * (1.0 - np.clip(np.arange(DAYS) - 10, 0, 45) / 45 * 0.35)
    found = check_whole(falling_flow.falling_flow(context_of(days_of(flow_rate_hot_water=slide))))
    assert found.severity == "act"
    assert "2025-11-10" < found.since < "2025-12-01"
    late = np.arange(DAYS) >= 30
    step = {"flow_rate_hot_water": np.where(late, 0.95, 1.45)}
    for jitter, cause in ((0.02, "pump_setting"), (np.where(late, 0.07, 0.0), "strainer_or_air")):
        found = check_whole(falling_flow.falling_flow(context_of(days_of(**step, flow_jitter=jitter))))
        assert found.severity == "act"  # two thirds of the nominal flow
        assert found.since == str(FIRST + np.timedelta64(30, "D"))
        assert found.causes[0].cause == cause
    small = np.where(late, 1.30, 1.45)
    assert falling_flow.falling_flow(context_of(days_of(flow_rate_hot_water=small))) is None
    assert falling_flow.falling_flow(context_of()) is None


def test_valves_that_close_in_spring_are_no_clogging() -> None:
    heat = np.linspace(9000.0, 3000.0, DAYS) + 600.0 * np.sin(np.arange(DAYS))
    days = days_of(flow_rate=1.0 + heat / 20000.0, heat_power=heat, flow_rate_hot_water=np.nan)
    assert falling_flow.falling_flow(context_of(days)) is None


def test_mixing_at_the_buffer() -> None:
    found = check_whole(buffer.buffer_mixing(context_of(days_of(buffer_drop=2.0, lift=4.0, beyond_lift=2.0))))
    assert found.severity == "watch"
    assert "2.0 times" in found.causes[0].because
    assert buffer.buffer_mixing(context_of()) is None
    # A pump turned up a month ago loses 2 K now, and 0.9 K in the season's middle.
    late = np.arange(DAYS) >= DAYS - 30
    grown = days_of(buffer_drop=np.where(late, 2.0, 0.9), lift=4.0, beyond_lift=np.where(late, 2.0, 3.2))
    assert "loses 2.0 K" in check_whole(buffer.buffer_mixing(context_of(grown))).headline
    text = WHOLE.replace('[buffer]\nlitres = 50\narrangement = "series"', "")
    with pytest.raises(NotAssessed, match="no buffer"):
        buffer.buffer_mixing(context_of(site=text))


# Water cooler than the curve


def cool_water(below: Any, **columns: Any) -> Any:
    """So many kelvin below the designed curve; asked for so, and rests for a third of the time."""
    return days_of(
        **{
            "flow": CURVE - below,
            "above_curve": -below,
            "target_flow": CURVE - below,
            "target_above_curve": -below,
            "minutes_running": 900,
        }
        | columns
    )


COLD_ROOMS = {"room_day.house": 17.5, "deficit.house": 3.0}


def test_water_far_below_the_curve_with_cold_rooms_is_a_curve_set_low() -> None:
    found = check_whole(cool_water_rule(context_of(cool_water(8.5, **COLD_ROOMS))))
    assert found.severity == "act"
    assert found.causes[0].cause == "curve_too_low"
    assert found.changes == (("flow_temperature", "raise"),)
    # EN 442: (34 - 17.5) over (42.5 - 17.5) K, to the power of 1.3.
    heat = next(e.value for e in found.evidence if e.label.startswith("heat that emitters give"))
    assert heat == pytest.approx((1.0 - 8.5 / (np.median(CURVE) - 17.5)) ** 1.3, abs=0.03)


def test_water_that_never_gets_as_warm_as_asked_is_not_reached() -> None:
    missed = cool_water(8.0, target_flow=CURVE, target_above_curve=0.0, minutes_running=1420)
    found = check_whole(cool_water_rule(context_of(missed)))
    assert found.severity == "watch"
    assert found.causes[0].cause == "flow_not_reached"
    assert not found.changes


def test_cool_water_is_no_fault_where_rooms_are_warm_and_a_question_where_none_is_measured() -> None:
    warm = cool_water(8.0, **{"room_day.house": 20.4, "deficit.house": 0.1})
    assert cool_water_rule(context_of(warm)) is None
    asked = check_whole(cool_water_rule(context_of(cool_water(8.0))))
    assert asked.severity == "note"
    assert "Ask the householder" in asked.next_step


@pytest.mark.parametrize(
    "days",
    [
        cool_water(0.0, **COLD_ROOMS),
        cool_water(4.0, **COLD_ROOMS),
        cool_water(np.where(np.arange(DAYS) % 20 == 3, 9.0, 0.0), **COLD_ROOMS),
        cool_water(8.0, minutes_steady=20, **COLD_ROOMS),
    ],
    ids=["at the curve", "within a third less heat", "a day now and then", "hardly heating"],
)
def test_water_is_not_called_cool_for_little(days: Any) -> None:
    try:
        found = cool_water_rule(context_of(days))
    except NotAssessed:
        found = None
    assert found is None
