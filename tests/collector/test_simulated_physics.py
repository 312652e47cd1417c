"""Physics of the simulated plant against published values and independent libraries."""

from datetime import date

import numpy as np
import psychrolib
import pytest
from iapws import IAPWS97

from fieldfare.collector.simulated.design.sizing import design_plant
from fieldfare.collector.simulated.design.weather import day_means, minutes
from fieldfare.collector.simulated.plant import CLIMATES, random_plant, simulate
from fieldfare.collector.simulated.step.machine import (
    derive,
    frost_air_rate,
    frost_growth,
    rating,
    steady,
)
from fieldfare.collector.simulated.step.physics import (
    emission,
    heat_coefficient,
    humidity_ratio,
    vapour_pressure_ice,
    vapour_pressure_water,
)

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("t", [-20.0, -12.0, -5.0, -1.0])
def test_saturation_over_ice_agrees_with_psychrolib(t):
    assert vapour_pressure_ice(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=0.003)


@pytest.mark.parametrize("t", [0.5, 5.0, 20.0, 35.0])
def test_saturation_over_water_agrees_with_psychrolib(t):
    assert vapour_pressure_water(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=0.003)


def test_humidity_ratio_agrees_with_psychrolib():
    assert humidity_ratio(620.0) == pytest.approx(
        psychrolib.GetHumRatioFromVapPres(620.0, 101325.0), rel=1e-4
    )


@pytest.mark.parametrize(
    ("back", "flow"), [(20, 35), (30, 35), (30, 40), (30, 55), (40, 45), (45, 55), (50, 60)]
)
def test_heat_coefficient_is_that_of_en_1434(back, flow):
    low, high = (IAPWS97(P=0.25, T=t + 273.15) for t in (back, flow))
    k = (high.h - low.h) * 1e3 / (low.v * (flow - back))
    assert heat_coefficient(back, flow, 0.0, 0.0) == pytest.approx(k, rel=5e-4)


@pytest.mark.parametrize(("kind", "name"), [(1.0, "MPG"), (2.0, "MEG")])
@pytest.mark.parametrize("percent", [20.0, 30.0, 40.0])
def test_antifreeze_lowers_the_heat_coefficient_as_coolprop_says(kind, name, percent):
    from CoolProp.CoolProp import PropsSI  # slow, and of this test alone

    fluid = f"INCOMP::{name}[{percent / 100}]"
    rise = PropsSI("H", "T", 308.15, "P", 2e5, fluid) - PropsSI("H", "T", 303.15, "P", 2e5, fluid)
    k = PropsSI("D", "T", 303.15, "P", 2e5, fluid) * rise / 5.0
    assert heat_coefficient(30.0, 35.0, kind, percent) == pytest.approx(k, rel=0.006)


def test_radiator_output_follows_en_442_factors():
    assert emission(1000.0, 50.0, 60.0, 1.3) / 1000.0 == pytest.approx(1.267, abs=0.001)
    assert emission(1000.0, 50.0, 30.0, 1.3) / 1000.0 == pytest.approx(0.515, abs=0.001)
    assert emission(1000.0, 50.0, -3.0, 1.3) == 0.0


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_unit_meets_its_rating_point_exactly(seed):
    hp = design_plant(seed, CLIMATES["mild"]).heat_pump
    heat, electricity = steady(hp, 7.0, 35.0)
    assert heat == pytest.approx(hp.rated_w, rel=1e-6)
    assert heat / electricity == pytest.approx(hp.cop_a7w35, rel=1e-6)
    assert rating(hp, 7.0, 35.0, 0.87) == pytest.approx((heat, hp.cop_a7w35), rel=1e-6)


def test_rating_counts_frost_where_frost_grows_and_falls_with_lift():
    hp = design_plant(4, CLIMATES["mild"]).heat_pump
    dry = steady(hp, 2.0, 35.0)
    assert 0.80 < rating(hp, 2.0, 35.0)[1] / (dry[0] / dry[1]) < 0.97
    cops = [rating(hp, *point)[1] for point in ((7, 35), (2, 35), (-7, 35), (-7, 55))]
    assert cops == sorted(cops, reverse=True)


def test_frost_grows_only_below_freezing_and_below_the_frost_point():
    rate = frost_air_rate(derive(design_plant(4, CLIMATES["mild"]).heat_pump).ua_air)
    damp = psychrolib.GetVapPresFromRelHum(2.0, 0.84)
    assert frost_growth(damp, 2.0, -6.0, rate) > 0.0
    assert frost_growth(damp, 2.0, 0.5, rate) == 0.0  # coil above freezing
    dry = psychrolib.GetVapPresFromRelHum(2.0, 0.30)
    assert frost_growth(dry, 2.0, -6.0, rate) == 0.0  # frost point -13 C, coil at -4 C


def test_running_plant_keeps_to_the_same_law_as_its_rating():
    spec = random_plant(9, "mild", "rich", control="compensation", buffer="none")
    m = simulate(spec, date(2025, 1, 8), 10).truth.minutes
    running = (m["mode"] == 1) & (m["defrost"] == 0) & (m["frost"] < 0.05)
    steady_for = np.convolve(running & (np.abs(np.gradient(m["speed"])) < 0.3), np.ones(15), "valid") == 15
    at = np.flatnonzero(steady_for)[::50] + 14
    assert len(at) > 5
    for i in at:
        full, _ = steady(spec.heat_pump, float(m["outdoor"][i]), float(m["t_flow"][i]))
        share = float(m["speed"][i]) / 100.0 * spec.heat_pump.rated_w / full
        heat, electricity = steady(spec.heat_pump, float(m["outdoor"][i]), float(m["t_flow"][i]), share)
        measured = m["heat"][i] / (m["comp"][i] + m["fan"][i] + m["controls"][i])
        assert measured == pytest.approx(heat / electricity, rel=0.03)


def test_weather_of_a_day_is_the_same_whatever_span_is_asked_for():
    climate = CLIMATES["continental"]
    long = minutes(climate, 3, date(2025, 1, 1), *day_means(climate, 3, date(2025, 1, 1), 30), 0.5)
    late = minutes(climate, 3, date(2025, 1, 11), *day_means(climate, 3, date(2025, 1, 11), 20), 0.5)
    # the first and last half days lean on neighbours the shorter span has not seen
    assert np.allclose(long.outdoor_c[12 * 1440 : 28 * 1440], late.outdoor_c[2 * 1440 : 18 * 1440], atol=1e-6)


@pytest.mark.parametrize("name", list(CLIMATES))
def test_winter_air_is_damp_and_summer_sun_high(name):
    climate = CLIMATES[name]
    t, clear, depression = day_means(climate, 5, date(2024, 1, 1), 366)
    year = minutes(climate, 5, date(2024, 1, 1), t, clear, depression, 0.0)
    rh = np.array(
        [
            v / vapour_pressure_water(o)
            for o, v in zip(year.outdoor_c[::60], year.vapour_pa[::60], strict=True)
        ]
    )
    winter, summer = slice(0, 31 * 24), slice(181 * 24, 212 * 24)
    assert 0.75 < rh[winter].mean() < 0.95
    assert rh.min() > 0.15
    assert rh.max() <= 1.001
    januaries = [day_means(climate, 5, date(y, 1, 8), 28)[0].mean() for y in range(2012, 2026)]
    assert np.mean(januaries) == pytest.approx(climate.january_c, abs=1.5)
    daily = year.sun.reshape(-1, 1440).mean(axis=1) * 0.024  # kWh/m2
    assert daily[summer.start // 24 : summer.stop // 24].mean() > 5 * daily[:31].mean()
