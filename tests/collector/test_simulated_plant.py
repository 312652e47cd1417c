"""Simulated plants conserve energy, behave like healthy installations, and are reproducible."""

from dataclasses import replace
from datetime import date

import numpy as np
import psychrolib
import pytest

from fieldfare.collector.simulated.design.schedule import span_of
from fieldfare.collector.simulated.design.sizing import CLIMATES, design_plant, measured_climate
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.collector.simulated.step.engine import run_plant
from fieldfare.collector.simulated.truth import spf_of

J_PER_KWH = 3.6e6
VARIED = [
    {"seed": 1, "climate": "continental", "emitter": "underfloor", "buffer": "series"},
    {"seed": 2, "climate": "upland", "emitter": "mixed", "buffer": "parallel"},
    {"seed": 3, "climate": "mild", "control": "compensation", "buffer": "parallel"},
    {"seed": 4, "climate": "continental", "control": "thermostat", "buffer": "none"},
    {"seed": 5, "climate": "mild", "emitter": "fan_coil", "buffer": "none", "hot_water": False},
]


@pytest.fixture(scope="module")
def season():
    """A healthy plant's whole heating season with perfect meters."""
    return simulate(random_plant(12, "mild", "hourly", meter_errors=False), date(2024, 10, 1), 210)


@pytest.mark.parametrize(
    "kind", VARIED, ids=lambda k: f"{k['climate']}-{k.get('emitter', 'any')}-{k['buffer']}"
)
def test_heat_balances_of_house_water_slab_and_cylinder_close(kind):
    kind = dict(kind)
    climate = CLIMATES[kind.pop("climate")]
    spec = design_plant(kind.pop("seed"), climate, **kind)
    trace = run_plant(spec, span_of(date(2025, 1, 10), 40, climate.timezone))
    before, after, flowed = trace.balance
    through = [trace.days[name].sum() for name in ("house_loss", "emitted", "emitted", "coil_heat")]
    assert through[0] > 1e9
    for i in range(4):
        assert abs(after[i] - before[i] - flowed[i]) <= 1e-6 * max(through[i], 1e8)


def test_unit_heat_goes_to_emitters_cylinder_and_outdoors(season):
    k = season.truth.kwh
    stored = 30.0  # a whole warm water loop holds less
    assert k["heat"] + k["backup"] == pytest.approx(
        k["emitted"] + k["heat_hot_water"], abs=stored + 0.01 * k["heat"]
    )
    # each reheat leaves pipes and exchanger hot, about 70 kJ/K by 30 K, which the heating then uses
    pipes = 0.6 * len(season.truth.reheats)
    given = k["heat_hot_water"] + k["immersion"] - k["draw_heat"] - k["cylinder_loss"]
    assert -5.0 < given < pipes


def test_house_loses_its_coefficient_times_the_difference(season):
    # fabric stores and sun on walls move a day's figure; over a season they nearly cancel
    days = season.truth.days
    degree_hours = sum(24.0 * (d["room_c"][0] - d["outdoor_c"]) for d in days)
    assert season.truth.kwh["house_loss"] * 1000.0 / degree_hours == pytest.approx(
        season.truth.htc_w_per_k, rel=0.03
    )


def test_truth_spf_is_truth_heat_over_truth_electricity(season):
    k = season.truth.kwh
    heat, unit = k["heat_space"] + k["heat_hot_water"], k["compressor"] + k["controls"]
    direct = k["backup"] + k["immersion"]
    assert season.truth.spf["H1"] == pytest.approx(heat / unit)
    assert season.truth.spf["H2"] == pytest.approx(heat / (unit + k["fan"]))
    assert season.truth.spf["H3"] == pytest.approx((heat + direct) / (unit + k["fan"] + direct))
    assert season.truth.spf["H4"] == pytest.approx((heat + direct) / (unit + k["fan"] + direct + k["pump"]))


def test_spf_formula_on_a_worked_balance():
    # Qh 9000, Qw 2500, heater 300, unit 3600, fan 150, pumps 180 kWh; arithmetic of the four SEPEMO
    # boundaries
    spf = spf_of(
        {
            "heat_space": 9000,
            "heat_hot_water": 2500,
            "backup": 300,
            "immersion": 0,
            "compressor": 3600,
            "controls": 0,
            "fan": 150,
            "pump": 180,
        }
    )
    assert [round(spf[h], 5) for h in ("H1", "H2", "H3", "H4")] == [3.19444, 3.06667, 2.91358, 2.7896]


def test_days_and_minutes_tell_the_same_energy(season):
    m = season.truth.minutes
    assert m["comp"].astype(float).sum() / 6e4 == pytest.approx(season.truth.kwh["compressor"], rel=1e-4)
    assert m["heat"].astype(float).sum() / 6e4 == pytest.approx(season.truth.kwh["heat"], rel=1e-4)
    uses = sum(season.truth.kwh[f"elec_{u}"] for u in ("space", "hot_water", "defrost", "idle"))
    assert uses == pytest.approx(season.truth.kwh["electricity"], rel=1e-6)


@pytest.mark.parametrize("seed", range(20, 30))
def test_healthy_plants_are_healthy(seed):
    spec = random_plant(seed, meter_set="hourly")
    truth = simulate(spec, date(2024, 12, 1), 80).truth
    hours = np.bincount((truth.starts // 3_600_000 - truth.starts[0] // 3_600_000).astype(int))
    minutes = [(r["end"] - r["start"]) / 60_000 for r in truth.runs]
    # starts and run lengths: modest cycling, common practice; SPF: field trials of well-planned air-source
    # systems
    assert hours.max() <= 3
    assert np.median(minutes) >= 20.0
    assert np.mean(np.array(minutes) < 10.0) <= 0.05
    assert 2.4 < truth.spf["H4"] < 4.6
    assert len(truth.defrosts) / len(truth.days) < 16
    assert truth.kwh["backup"] < 0.02 * truth.kwh["heat"]
    room = [d["room_c"][0] for d in truth.days]
    assert min(room) > spec.control.targets_c[0] - 1.5 - spec.control.setback_k
    cold = sum(d["litres_40_cold"] for d in truth.days)
    assert cold * 30 * 1.163e-3 <= 0.01 * max(truth.kwh["draw_heat"], 1.0)
    if spec.hot_water is not None:
        assert np.mean([r["to_c"] < spec.hot_water.setpoint_c - 1.0 for r in truth.reheats]) <= 0.02


def test_defrosts_come_where_frost_can_grow(season):
    truth = season.truth
    assert len(truth.defrosts) > 20
    psychrolib.SetUnitSystem(psychrolib.SI)
    m = truth.minutes
    running = (
        np.convolve(m["speed"] > 0.0, np.ones(4), "valid") == 4
    )  # the last minutes without a start or stop
    growing = np.flatnonzero((np.diff(m["frost"])[2:] > 0.002) & running) + 3
    surface = m["coil"] + 0.25 * (m["outdoor"] - m["coil"])
    surface = np.minimum(surface, np.roll(surface, 1))  # the colder end of the minute in which the frost grew
    for i in growing[:: max(1, len(growing) // 300)]:
        assert surface[i] < 0.3
        assert (
            surface[i]
            < psychrolib.GetTDewPointFromVapPres(float(m["outdoor"][i]), float(m["vapour"][i])) + 0.3
        )
    for d in truth.defrosts:
        assert 60.0 <= (d["end"] - d["start"]) / 1000.0 <= 490.0
        assert d["outdoor_c"] < 7.0
        assert d["taken_kwh"] > 0.0


def test_reheating_300_litres_by_10_k_with_12_kw_takes_25_to_40_minutes():
    # common practice: 3.49 kWh that the unit cannot all give at once
    spec = random_plant(5, "mild", "rich", hot_water=True)
    hp = replace(
        spec.heat_pump,
        rated_w=12000.0,
        min_w=3300.0,
        flow_m3_per_h=1.6,
        hot_water_share=0.8,
        max_flow_c=70.0,
        hot_water_reach_c=63.0,
    )
    hw = replace(
        spec.hot_water,
        litres=300.0,
        setpoint_c=55.0,
        reheat_below_c=45.0,
        coil_w_per_k=1050.0,
        pasteurise_c=None,
        windows=(),
        litres_40_per_day=60.0,
    )
    truth = simulate(replace(spec, heat_pump=hp, hot_water=hw), date(2025, 1, 1), 60).truth
    assert truth.hot_water["kwh_per_k"] * 10.0 == pytest.approx(3.49, abs=0.01)
    undisturbed = [r for r in truth.reheats if r["heat_kwh"] < 5.3]
    assert len(undisturbed) >= 8
    minutes = [(r["end"] - r["start"]) / 60_000 for r in undisturbed]
    assert 25.0 <= np.median(minutes) <= 40.0
    for r in undisturbed:
        assert r["from_c"] == pytest.approx(45.0, abs=0.5)
        assert r["to_c"] == pytest.approx(55.0, abs=0.5)


def test_local_days_of_23_and_25_hours():
    truth = simulate(random_plant(7, "mild", "hourly"), date(2025, 10, 25), 3).truth
    assert [d["day"] for d in truth.days] == ["2025-10-25", "2025-10-26", "2025-10-27"]
    trace = run_plant(random_plant(7, "mild"), span_of(date(2025, 3, 29), 3, "Europe/London"))
    assert [round(s / 3600) for s in trace.days["seconds"]] == [24, 23, 24]
    trace = run_plant(random_plant(7, "mild"), span_of(date(2025, 10, 25), 3, "Europe/London"))
    assert [round(s / 3600) for s in trace.days["seconds"]] == [24, 25, 24]


def test_same_seed_same_readings_other_seed_other_readings():
    one, again = (simulate(random_plant(8, "mild", "rich"), date(2025, 2, 1), 5) for _ in range(2))
    other = simulate(random_plant(9, "mild", "rich"), date(2025, 2, 1), 5)
    assert one.site_toml == again.site_toml
    for name, samples in one.readings.items():
        assert np.array_equal(samples.time, again.readings[name].time)
        assert np.array_equal(samples.value, again.readings[name].value)
    assert one.truth.kwh["heat"] != other.truth.kwh["heat"]


def test_measured_daily_means_are_followed():
    series = tuple(float(x) for x in 5.0 + 4.0 * np.sin(np.arange(400) / 5.0))
    climate = measured_climate(series, date(2025, 1, 1))
    days = simulate(random_plant(3, climate, "hourly"), date(2025, 1, 3), 30).truth.days
    assert [d["outdoor_c"] for d in days] == pytest.approx(list(series[2:32]), abs=1.3)


def test_oddities_show_and_are_not_faults():
    from fieldfare.collector.simulated.plant import with_oddity

    base = random_plant(24, "mild", "rich", hot_water=True)
    day = date(2025, 1, 20)
    plain = simulate(base, date(2025, 1, 10), 30).truth
    away = simulate(with_oddity(base, "away", day), date(2025, 1, 10), 30).truth
    assert sum(d["kwh"]["draw_heat"] for d in away.days[10:24]) == 0.0
    assert (
        np.mean([d["room_c"][0] for d in away.days[14:24]])
        < np.mean([d["room_c"][0] for d in plain.days[14:24]]) - 2
    )
    snap = simulate(with_oddity(base, "cold_snap", day), date(2025, 1, 10), 30).truth
    assert min(d["outdoor_c"] for d in snap.days) < base.climate.design_c - 2.5
    party = simulate(with_oddity(base, "party", day), date(2025, 1, 10), 30).truth
    assert party.days[10]["kwh"]["draw_heat"] > 2.0 * plain.days[10]["kwh"]["draw_heat"]
    serviced = simulate(with_oddity(base, "serviced", day), date(2025, 1, 10), 30).truth
    assert serviced.days[10]["run_hours"] < plain.days[10]["run_hours"] - 3.0
    settling = simulate(with_oddity(base, "settling_in"), date(2025, 1, 10), 30).truth
    assert len({round(float(x), 1) for x in settling.minutes["target0"]}) > len(
        {round(float(x), 1) for x in plain.minutes["target0"]}
    )
    for truth in (away, snap, party, serviced, settling):
        assert truth.faults == []
        assert len(truth.oddities) == 1
    with pytest.raises(ValueError, match="no oddity"):
        with_oddity(base, "festival")
