"""Advice: predictions against simulations of the changed plant, and invariants for any home."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta
from itertools import pairwise

import numpy as np
import pytest

from fieldfare.analysis.advice.backup import Bivalent
from fieldfare.analysis.advice.balance import _Zones
from fieldfare.analysis.advice.buffer import mixing
from fieldfare.analysis.advice.cheaper_hours import best_charging_hour, dear_hours
from fieldfare.analysis.advice.curve import curve_effect, lowest_curve
from fieldfare.analysis.advice.heating_days import HeatingDays
from fieldfare.analysis.advice.limits import LIMITS_ADVICE
from fieldfare.analysis.advice.plan import HOUSEHOLD_SETS, Advice, _are_rooms_cold, plan, without_contrary
from fieldfare.analysis.advice.pump import least_pump_share
from fieldfare.analysis.advice.room_response import (
    FOLLOWS_K,
    RoomResponse,
    _opens,
    changed,
    held_by_thermostat,
    opened_after,
)
from fieldfare.analysis.advice.rooms import unless_idle
from fieldfare.analysis.advice.saving import EFFICIENCY_KEEPS, around_ends, cop_over
from fieldfare.analysis.advice.set_back import night_of
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.comfort import comfort
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.physics.emitters import HeatEmitter, output_kw
from fieldfare.analysis.physics.hot_water import GROWTH_C
from fieldfare.analysis.plant.cost import Cost, TariffBand
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import analyse
from fieldfare.analysis.reports.what_if import answer
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.benchmarks.advice_cases import CASES, outcome
from tests.benchmarks.advice_simulators import changed as set_plant
from tests.benchmarks.advice_simulators import shifted

FIRST, DAYS = date(2023, 12, 1), 60


@pytest.fixture(scope="module")
def home() -> tuple[Site, Facts, dict]:
    spec = set_plant(
        random_plant(2101, meter_set="rich", hot_water=True, control="compensation"), shifted(-6.0)
    )
    run = simulate(spec, FIRST, DAYS)
    site = parse_site(run.site_toml)
    last = FIRST + timedelta(DAYS - 1)
    facts = build_facts(site, run.readings, FIRST, last)
    return site, facts, analyse(site, facts, FIRST, last).as_dict()


def one_day(load_kw: float = 4.0, room: float = 20.0) -> HeatingDays:
    def of(value: float) -> np.ndarray:
        return np.array([value])

    return HeatingDays(
        np.array([0]),
        of(0.0),
        of(42.5),
        of(2.5),
        of(42.5),
        of(0.0),
        of(load_kw),
        of(30.0),
        of(0.0),
        of(1.0),
        of(room),
        of(20.0),
        {},
        True,
    )


@pytest.mark.parametrize("case", [CASES[0], CASES[2], CASES[4]], ids=lambda c: c.name)
def test_a_curve_lowered_as_advised_does_what_was_told(case: object) -> None:
    found = outcome(case, 1702)  # type: ignore[arg-type]
    assert found.told is not None, found.reason
    assert found.saving_right, (found.told.saves, found.saved)
    assert found.room_right, (found.told.room, found.fell)


@pytest.mark.parametrize("name", ["curve 6 K high, as advised", "heater released at 8 °C, then as advised"])
def test_advice_does_what_was_told_at_homes_of_another_simulator(name: str) -> None:
    """Its controls follow the room, as many do: a lower curve is made good in part."""
    found = outcome(next(c for c in CASES if c.name == name), 2, "c")
    assert found.told is not None, found.reason
    assert found.saving_right, (found.told.saves, found.saved)
    assert found.room_right in (True, None), (found.told.room, found.fell)


def test_with_valves_that_never_move_the_room_falls_by_the_balance_of_en_442() -> None:
    # By hand: 4 kW at 20 K excess (exponent 1.3), loss 0.2 kW/K, water 5 K cooler. The fall solves
    # 4 ((20 - 5 + fall) / 20)^1.3 = 4 - 0.2 fall (the small change of flow less return left out: 2.5 K each).
    response = RoomResponse(
        1.3, 4.0 / 20.0**1.3, np.array([1.0]), 1.0, 20.0, {}, 0.2, 0.2, 0.2, True, full_doubt=0.0
    )
    after = changed(one_day(), response, 5.0)
    fall = float(after.fall[0])
    gives = output_kw(
        HeatEmitter(4.0, 20.0, "radiator"),
        after.flow[0],
        after.flow[0] - 5.0 * after.load_kw[0] / 4.0,
        20.0 - fall,
        mean="arithmetic",
    )
    assert gives == pytest.approx(4.0 - 0.2 * fall, abs=0.01)
    assert 2.5 < fall < 4.0


def test_valves_half_open_in_a_room_where_any_would_be_shut_never_move(
    home: tuple[Site, Facts, dict],
) -> None:
    """EN 215: thermostatic valves are shut 2 K above their set temperature."""
    rng = np.random.default_rng(3)
    outdoor = rng.uniform(-4.0, 8.0, 60)
    opened, warmer = 0.7 - 0.01 * outdoor, 3.9 + 0.02 * rng.standard_normal(60)
    assert _opens(home[0], opened, warmer, outdoor) == FOLLOWS_K
    assert _opens(home[0], opened, warmer - 3.9, outdoor) < 1.0


def test_valves_of_a_cold_zone_stay_open_until_it_is_warm() -> None:
    """By the balance of heat, without an exchange between the zones: what the emitter gives at the new water
    is what the room loses then."""
    zones = _Zones(
        room=np.array([20.0, 17.0]),
        target=np.array([20.0, 20.0]),
        weight=np.array([0.5, 0.5]),
        sheet=np.array([0.02, 0.02]),
        exponent=np.array([1.3, 1.3]),
        supply=40.0,
        flow=0.8,
        load=3.0,
        loss=0.3,
        conducts=0.0,
        opens_k=0.2,
    )
    strength, now, then = zones.sheet, np.array([0.94, 0.06]), np.array([0.5, 0.5])
    after = zones.rooms_with(strength, now, then)
    gained = zones.emitted(strength, then * zones.flow, after) - zones.emitted(
        strength, now * zones.flow, zones.room
    )
    assert 17.5 < after[1] < 20.0
    assert 0.15 * (after[1] - 17.0) == pytest.approx(gained[1], abs=1e-3)
    assert abs(after[0] - 20.0) < 0.5, "the other valve makes up for what its zone loses"


@pytest.mark.parametrize(("acts", "value", "low"), [(True, 1.0, 0.6), (False, 0.5, 0.0)])
def test_a_set_temperature_that_may_do_nothing_is_told_as_half(acts: bool, value: float, low: float) -> None:
    found = around_ends(*unless_idle(1.0, [[0.6, 1.4]], acts=acts))
    assert found.value == value
    assert found.low is not None
    assert found.low <= low + 1e-9


@pytest.mark.parametrize("cooler_k", [1.0, -1.0])
def test_a_held_room_follows_its_set_temperature_by_the_loss_of_the_house(cooler_k: float) -> None:
    """ISO 13790, steady state: 0.2 kW/K of 4 kW is a twentieth of the heat for each kelvin."""
    response = RoomResponse(1.3, 8.0 / 20.0**1.3, np.array([0.5]), 0.5, 0.2, {}, 0.2, 0.2, 0.2, True)
    after = changed(one_day(), response, 0.0, cooler_k=cooler_k)
    assert after.fall[0] == pytest.approx(cooler_k, abs=0.1)
    assert after.load_kw[0] == pytest.approx(4.0 - 0.2 * after.fall[0], abs=1e-6)
    unmeasured = replace(response, known=False)
    assert changed(one_day(), unmeasured, 0.0, cooler_k=cooler_k).load_kw[0] == 4.0 - 0.2 * cooler_k


def test_the_night_of_a_set_back_is_that_of_one_mass_of_heat() -> None:
    """The closed form against steps of a minute: loss 0.2 kW/K of 4 kW, 0.3 K/h, half the emitters used."""
    response = RoomResponse(1.3, 8.0 / 20.0**1.3, np.array([0.5]), 0.5, 0.2, {}, 0.2, 0.2, 0.2, True)
    night = night_of(one_day(), response, 2.0, 7.0, 0.3)
    fall, falls, back = 0.0, [], 0
    for minute in range(24 * 60):
        if minute < 7 * 60:
            fall = min(fall + 0.3 * (1.0 - 0.05 * fall) / 60.0, 2.0)
        elif fall > 0.0:
            gives = 2.0 * (1.0 + 1.3 * fall / 20.0)  # EN 442, excess of 20 K, small falls
            fall = max(fall - 0.3 * (gives - (1.0 - 0.05 * fall)) / 60.0, 0.0)
            back += 1
        falls.append(fall)
    assert night.fall[0] == pytest.approx(np.mean(falls), rel=0.01)
    assert night.recovery_h[0] == pytest.approx(back / 60.0, rel=0.02)


def test_a_degree_cooler_is_held_against_what_protects_health(home: tuple[Site, Facts, dict]) -> None:
    """WHO Housing and health guidelines (2018): 18 °C."""
    near, far = (answer(*home, "rooms_warmer_k", k) for k in (-1.0, -3.0))
    assert near["saves_kwh"]["value"] < far["saves_kwh"]["value"]
    healthy = {limit["limit"]: limit for limit in far["limits"]}["every room stays warm enough for health"]
    rooms = home[1].days.mean("room")
    assert healthy["holds"] is (rooms - 3.0 >= 18.0)
    assert "18 °C" in far["caution"]
    warmer = answer(*home, "rooms_warmer_k", 1.0)
    assert warmer["saves_kwh"]["value"] < 0.0
    assert warmer["caution"] == ""


def test_a_valve_opens_towards_what_the_emitters_give_and_shuts_towards_nothing() -> None:
    """EN 442 at less water: an emitter at half its flow still gives most of its heat, so the last opening of
    a valve adds little."""
    opened = np.array([0.5, 0.5, 0.5])
    after = opened_after(opened, np.array([0.05, 1.0, 20.0]), 2.0)
    assert after[0] == pytest.approx(0.5 * (1.0 + 0.05 / 2.0), rel=1e-3)  # as steep as the valves stand
    assert after[1] < 0.5 * np.exp(1.0 / 2.0)
    assert after[2] == pytest.approx(1.0, abs=1e-6)
    assert opened_after(opened[:1], np.array([-50.0]), 2.0)[0] < 1e-6
    assert opened_after(np.array([1.3]), np.array([1.0]), 2.0)[0] >= 1.3, "never shuts as the room cools"


def test_water_that_overshoots_its_target_is_not_what_the_emitters_get() -> None:
    """A unit of one speed runs above its target and rests below it: emitters get the mean of both."""
    response = RoomResponse(1.3, 8.0 / 20.0**1.3, np.array([0.5]), 0.5, 2.0, {}, 0.2, 0.2, 0.2, True)
    falls = [float(changed(replace(one_day(), over=over), response, 5.0).fall[0]) for over in (0.0, 4.0)]
    assert falls[1] > falls[0]


def test_a_unit_whose_runs_end_before_the_water_is_hot_has_a_thermostat(
    home: tuple[Site, Facts, dict],
) -> None:
    day = one_day()
    short = replace(day, gap=np.array([6.0]), share=np.array([0.5]))
    assert held_by_thermostat(home[0], short)
    assert not held_by_thermostat(home[0], replace(short, share=np.array([0.98]))), "a unit at its limit"
    assert not held_by_thermostat(home[0], replace(short, gap=np.array([0.0])))


def test_the_gain_of_cooler_water_is_less_sure_without_rating_points(home: tuple[Site, Facts, dict]) -> None:
    site, facts, result = home
    pump = site.heat_pump.model_copy(update={"rating": site.heat_pump.rating[:1]})
    few = site.model_copy(update={"heat_pump": pump})
    sure, unsure = (curve_effect(s, facts, result, 3.0).saves for s in (site, few))
    assert unsure.half / abs(unsure.value or 1.0) > sure.half / abs(sure.value or 1.0)


def test_a_thermostat_with_emitters_to_spare_holds_the_room() -> None:
    response = RoomResponse(1.3, 8.0 / 20.0**1.3, np.array([0.5]), 0.5, 0.2, {}, 0.2, 0.2, 0.2, True)
    assert changed(one_day(), response, 5.0).fall[0] < 0.2
    # Beyond what is spare the room falls all the same.
    assert changed(one_day(), response, 14.0).fall[0] > 1.0


def test_no_curve_goes_below_a_room_whose_set_temperature_nobody_reads(
    home: tuple[Site, Facts, dict],
) -> None:
    """What the rooms have is then all that is known of what is wanted."""
    site, facts, result = home
    site = site.model_copy(update={"design": site.design.model_copy(update={"indoor_c": 25.0})})
    days = facts.days
    unread = {n: np.full(len(days), np.nan) for n in days.names if n == "target" or n.startswith("target.")}
    unread_facts = replace(facts, days=days.with_columns(**unread))
    with pytest.raises(NotAssessed, match="no lower curve"):
        lowest_curve(site, unread_facts, result)
    zones = curve_effect(site, unread_facts, result, 3.0).zones
    assert zones
    assert not any(zone.target_read for zone in zones)
    assert any(zone.target_read for zone in curve_effect(*home, 3.0).zones)


def test_a_zone_s_set_temperature_is_its_own_alone(home: tuple[Site, Facts, dict]) -> None:
    """Another zone's, or the home's, is not called the set temperature of a zone that has none read."""
    site, facts, result = home
    days = facts.days
    names = [n for n in days.names if n.startswith("room.")]
    for name in names:
        zone = name.removeprefix("room.")
        unread = {f"target.{zone}": np.nan, f"minutes_asked.{zone}": 0.0}
        less = days.with_columns(**unread)
        assert np.isfinite(less.floats("target")).any(), "the home's is read"
        told = {z.zone: z for z in curve_effect(site, replace(facts, days=less), result, 3.0).zones}
        known = comfort(less)
        assert {z: t.target_read for z, t in told.items()} == {z: known[z].target_c is not None for z in told}
        assert told[zone].target_read is False


def test_the_lowest_curve_goes_down_two_kelvin_a_week_and_holds_every_zone(
    home: tuple[Site, Facts, dict],
) -> None:
    found = lowest_curve(*home)
    most = LIMITS_ADVICE["advice_step_k"].default
    ends = [tuple(p[1] for p in found.points_now), *found.steps]
    for before, after in pairwise(ends):
        assert all(-0.06 <= b - a <= most + 0.06 for b, a in zip(before, after, strict=True))
    assert found.steps[-1] == pytest.approx([p[1] for p in found.points], abs=0.06)
    for zone in found.effect.zones:
        assert zone.days_short <= LIMITS_ADVICE["advice_days_short"].default + 0.05
    assert found.effect.room.value is not None
    assert found.effect.room.value > 0.5


def test_what_if_and_advice_share_one_rule(home: tuple[Site, Facts, dict]) -> None:
    told = answer(*home, "lower_curve_k", 6.0)
    rooms = next(x for x in told["limits"] if x["limit"] == "rooms hold their targets")
    assert rooms["holds"] is not None
    assert "set temperature" in rooms["says"]
    assert told["saves_kwh"]["low"] < told["saves_kwh"]["value"] < told["saves_kwh"]["high"]


def test_a_lower_curve_and_a_deeper_set_back_are_never_both_advised() -> None:
    curve = Advice("heating_curve", 45.0, 42.0, "°C", Estimate(200.0, 100.0, 300.0))
    deeper = Advice("set_back", 0.0, 2.0, "K", Estimate(90.0, 50.0, 130.0))
    kept, left = without_contrary([curve, deeper])
    assert [a.code for a in kept] == ["heating_curve"]
    assert [x.code for x in left] == ["set_back"]
    kept, left = without_contrary([replace(curve, saves=Estimate(50.0, 0.0, 100.0)), deeper])
    assert [a.code for a in kept] == ["set_back"]
    shallower = replace(deeper, now=3.0, to=1.0, saves=Estimate(-60.0, -90.0, -30.0))
    assert len(without_contrary([curve, shallower])[0]) == 2


def test_no_advice_goes_into_the_range_of_legionella_and_households_see_their_own(
    home: tuple[Site, Facts, dict],
) -> None:
    told = plan(*home)
    for advice in told["advice"]:
        if advice["code"].startswith("hot_water"):
            assert advice["unit"] == "h" or advice["to"] >= GROWTH_C[1]
            assert "Legionella" in advice["caution"]
    own = plan(*home, household=True)
    assert {x["code"] for part in ("advice", "left_out") for x in own[part]} <= HOUSEHOLD_SETS


def priced(site: Site, *bands: tuple[int, int, float]) -> Site:
    """The home with bands of (from hour, to hour, price per kWh) over 0.20."""
    told = tuple(
        TariffBand.model_validate({"from": time(a), "to": time(b), "price": price}) for a, b, price in bands
    )
    return site.model_copy(update={"cost": Cost(electricity=0.20, band=told)})


def test_dear_hours_are_sat_out_where_rooms_hold_and_save_the_difference_of_price(
    home: tuple[Site, Facts, dict],
) -> None:
    site, facts, result = home
    found = dear_hours(priced(site, (17, 18, 0.50)), facts, result)
    most = float(np.nansum(facts.runs.floats("electricity"))) * 0.30
    assert found.from_hour == 17
    assert found.money.high is not None
    assert (
        0.0 < found.money.high < most / 4.0
    )  # two hours of a day and no more than a quarter of its electricity
    assert found.room.high is not None
    assert found.room.high <= LIMITS_ADVICE["advice_rest_fall_k"].default * 1.5
    twice = dear_hours(priced(site, (17, 18, 0.80)), facts, result)
    assert twice.money.high == pytest.approx(2.0 * found.money.high)


@pytest.mark.parametrize(
    ("bands", "why"),
    [
        ((), "do not differ"),
        (((1, 5, 0.10),), "no band is dearer"),
        (((8, 20, 0.50),), "too long"),
    ],
    ids=["one price", "a cheap band", "half the day"],
)
def test_dear_hours_are_refused_with_the_reason(
    home: tuple[Site, Facts, dict], bands: tuple[tuple[int, int, float], ...], why: str
) -> None:
    with pytest.raises(NotAssessed, match=why):
        dear_hours(priced(home[0], *bands), home[1], home[2])


def test_the_cylinder_is_charged_in_the_cheapest_hours_where_prices_differ(
    home: tuple[Site, Facts, dict],
) -> None:
    site, facts, result = home
    cheap = best_charging_hour(priced(site, (2, 5, 0.05)), facts, result)
    assert cheap.hour == 2
    assert cheap.money is not None
    assert cheap.money.value is not None
    assert cheap.money.value > 0.0
    assert "Legionella" in cheap.caution
    assert best_charging_hour(site, facts, result).hour in range(10, 17)


def test_only_a_parallel_buffer_can_mix(home: tuple[Site, Facts, dict]) -> None:
    with pytest.raises(NotAssessed, match="no parallel buffer"):
        mixing(home[0].model_copy(update={"buffer": None}), home[1], home[2])


def test_a_buffer_that_mixes_saves_what_cooler_water_saves() -> None:
    """By hand: 6 K lost of which 0.5 K stay, at 2 °C and 42 °C: the second law between -6 and 45 °C gives
    318.15 / 51 = 6.24, at 5.5 K less lift 312.65 / 45.5 = 6.87: 9.2 %, of which 75 to 100 % are kept."""
    spec = random_plant(2102, meter_set="full", hot_water=False, control="compensation", buffer="parallel")
    assert spec.buffer is not None
    mixed = replace(spec.buffer, secondary_flow_m3_per_h=2.5 * spec.heat_pump.flow_m3_per_h)
    run = simulate(replace(spec, buffer=mixed), FIRST, DAYS)
    site = parse_site(run.site_toml)
    last = FIRST + timedelta(DAYS - 1)
    facts = build_facts(site, run.readings, FIRST, last)
    found = mixing(site, facts, analyse(site, facts, FIRST, last).as_dict())
    assert found.drop_k > 2.0
    used = facts.days.total("electricity_space_kwh")
    assert found.saves.value is not None
    per_kelvin = found.saves.value / used / (found.drop_k - found.left_k)
    assert 0.015 < per_kelvin < 0.03  # Staffell 2012: 2.2 to 2.5 % of the COP a kelvin of flow


@pytest.mark.parametrize(("lift", "share"), [(2.0, 0.7), (3.4, 0.7), (5.0, None), (9.0, None), (10.0, 2.0)])
def test_pump_speed_follows_the_difference_of_flow_and_return(
    home: tuple[Site, Facts, dict], lift: float, share: float | None
) -> None:
    found = least_pump_share(home[0], lift)
    assert found is None if share is None else found == pytest.approx(share, abs=0.02)


@pytest.mark.parametrize("lift", [25.0, 35.0, 45.0, 50.0])
def test_gain_of_cooler_water_follows_staffell(home: tuple[Site, Facts, dict], lift: float) -> None:
    """Staffell et al. (2012), air source: COP = 6.81 - 0.121 dT + 0.00063 dT2."""
    cop = 6.81 - 0.121 * lift + 0.00063 * lift**2
    per_kelvin = (0.121 - 2.0 * 0.00063 * lift) / cop
    pump = home[0].heat_pump.model_copy(update={"rating": ()})
    unrated = home[0].model_copy(update={"heat_pump": pump})
    air = np.array([2.0])
    gain = 1.0 - float(cop_over(unrated, air, air + lift, air, air + lift - 1.0)[0])
    assert EFFICIENCY_KEEPS[0] < gain / per_kelvin < EFFICIENCY_KEEPS[1]


@pytest.mark.parametrize(
    ("carries", "designed", "sets"), [(-15.0, -9.0, -9.0), (-3.0, -9.0, -3.0), (-15.0, None, -15.0)]
)
def test_the_bivalent_point_is_the_designed_one_unless_the_unit_is_short(
    carries: float, designed: float | None, sets: float
) -> None:
    """The finding about the heater sets the designed point; advice sets another only where that is short."""
    assert Bivalent(1.7, carries, designed, Estimate(10.0, 5.0, 15.0)).sets_c == sets


@pytest.mark.parametrize(
    ("severity", "below", "cold"), [("note", 0.1, False), ("watch", 0.1, True), ("note", 0.9, True)]
)
def test_more_warmth_is_advised_for_rooms_that_the_verdict_finds_cold_alone(
    severity: str, below: float, cold: bool
) -> None:
    site = Site.model_construct(limits={}, pv=None)
    finding = {"code": "room_below_target", "severity": severity, "until": None}
    result = {"findings": [finding], "comfort": {"zones": {"upper": {"share_below_target": below}}}}
    assert _are_rooms_cold(site, result) is cold
