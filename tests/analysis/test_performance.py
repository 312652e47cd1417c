"""Performance at the four boundaries: by available meters, with intervals."""

from __future__ import annotations

import numpy as np
import pytest

from tests.analysis.plain import every_minute, point, result_of, site_of

CYLINDER = "[hot_water]\ncylinder_litres = 250\n"
BIVALENT = "[design]\nbivalent_c = -5.0\n"

# SEPEMO-Build (2012) boundaries on a worked balance, kWh a year (reference values, 2.1).
WORKED = {"heat": 9000.0 + 2500.0, "unit": 3600.0 + 150.0, "fan": 150.0, "backup": 300.0, "pump": 180.0}
WORKED_SPF = {"H1": 3.19444, "H2": 3.06667, "H3": 2.91358, "H4": 2.78960}


def test_the_worked_balance_comes_out_at_every_boundary() -> None:
    # As steady powers: a kWh a year is 0.114 W. The unit's meter counts its fan, as the quantity says.
    watts = {k: v / 8.76 for k, v in WORKED.items()}
    site = site_of(
        [
            point("heat_pump_electricity"),
            point("fan_electricity"),
            point("heat_output"),
            point("backup_heater_electricity"),
            point("circulation_pump_electricity"),
        ],
        BIVALENT,
    )
    readings = every_minute(
        site,
        {
            "heat_pump_electricity": watts["unit"],
            "fan_electricity": watts["fan"],
            "heat_output": watts["heat"],
            "backup_heater_electricity": watts["backup"],
            "circulation_pump_electricity": watts["pump"],
        },
    )
    given = result_of(site, readings).as_dict()["performance"]
    assert {k: given[k]["value"] for k in WORKED_SPF} == pytest.approx(WORKED_SPF, abs=1e-4)


def test_a_boundary_the_meters_cannot_separate_names_the_missing_meter() -> None:
    site = site_of([point("heat_pump_electricity"), point("heat_output")], BIVALENT + CYLINDER)
    given = result_of(
        site, every_minute(site, {"heat_pump_electricity": 1000.0, "heat_output": 3500.0})
    ).as_dict()
    performance = given["performance"]
    assert performance["H2"]["value"] == pytest.approx(3.5)
    assert performance["H1"] is None
    assert "fan_electricity" in performance["reasons"]["H1"]
    assert "backup_heater_electricity" in performance["reasons"]["H3"]
    assert performance["H4"] is None


def test_a_meter_that_includes_the_pumps_gives_h4_and_not_h2() -> None:
    unit = point("heat_pump_electricity", extra='includes = ["circulation_pump"]')
    site = site_of([unit, point("heat_output")])
    given = result_of(
        site, every_minute(site, {"heat_pump_electricity": 1000.0, "heat_output": 3000.0})
    ).as_dict()
    assert given["performance"]["H4"]["value"] == pytest.approx(3.0)
    assert given["performance"]["H2"] is None
    assert "circulation_pump_electricity" in given["performance"]["reasons"]["H2"]


def test_a_pump_within_the_meter_and_metered_too_is_counted_once() -> None:
    unit = point("heat_pump_electricity", extra='includes = ["circulation_pump"]')
    site = site_of([unit, point("heat_output"), point("circulation_pump_electricity")])
    readings = every_minute(
        site, {"heat_pump_electricity": 1000.0, "heat_output": 3000.0, "circulation_pump_electricity": 50.0}
    )
    given = result_of(site, readings).as_dict()
    assert given["performance"]["H4"]["value"] == pytest.approx(3.0)
    assert given["performance"]["H2"]["value"] == pytest.approx(3000.0 / 950.0)
    assert given["energy"]["electricity_kwh"]["total"] == pytest.approx(72.0, rel=1e-3)


def test_the_immersion_heater_counts_as_heat_equal_to_its_electricity() -> None:
    site = site_of(
        [point("heat_pump_electricity"), point("heat_output"), point("immersion_electricity")], CYLINDER
    )
    values = {"heat_pump_electricity": 1000.0, "heat_output": 3000.0, "immersion_electricity": 500.0}
    given = result_of(site, every_minute(site, values)).as_dict()
    assert given["performance"]["H3"]["value"] == pytest.approx(3500.0 / 1500.0)
    assert given["performance"]["H2"]["value"] == pytest.approx(3.0)


def test_split_heat_meters_see_the_backup_heater_already() -> None:
    site = site_of(
        [
            point("heat_pump_electricity"),
            point("space_heat"),
            point("hot_water_heat"),
            point("backup_heater_electricity"),
            point("immersion_electricity"),
        ],
        BIVALENT + CYLINDER,
    )
    values = {
        "heat_pump_electricity": 1000.0,
        "space_heat": 2800.0,
        "hot_water_heat": 700.0,
        "backup_heater_electricity": 200.0,
        "immersion_electricity": 0.0,
    }
    given = result_of(site, every_minute(site, values)).as_dict()["performance"]
    assert given["H3"]["value"] == pytest.approx(3500.0 / 1200.0)
    assert given["H2"]["value"] == pytest.approx(3300.0 / 1000.0)


def test_only_minutes_with_both_meters_count_where_there_is_no_register() -> None:
    site = site_of([point("heat_pump_electricity"), point("heat_output")])
    readings = every_minute(site, {"heat_pump_electricity": 1000.0, "heat_output": 3500.0})
    heat = readings["heat_output"]
    gap = slice(1000, 1900)
    readings["heat_output"] = type(heat)(np.delete(heat.time, gap), np.delete(heat.value, gap))
    given = result_of(site, readings).as_dict()
    assert given["performance"]["H2"]["value"] == pytest.approx(3.5, rel=1e-6)
    assert given["coverage"]["points"]["heat_output"] == pytest.approx(1.0 - 900.0 / 4320.0, abs=0.01)


def test_registers_bridge_a_gap_exactly() -> None:
    site = site_of(
        [point("heat_pump_electricity", "register", "kWh"), point("heat_output", "register", "MWh")]
    )
    hours = np.arange(3 * 24 * 60 + 1) / 60.0
    readings = every_minute(
        site, {"heat_pump_electricity": 500.0 + 1.2 * hours, "heat_output": 7.0 + 0.0042 * hours}
    )
    for name in readings:
        s = readings[name]
        gap = slice(700, 2500)
        readings[name] = type(s)(np.delete(s.time, gap), np.delete(s.value, gap))
    given = result_of(site, readings).as_dict()
    assert given["energy"]["electricity_kwh"]["total"] == pytest.approx(86.4, rel=1e-6)
    assert given["performance"]["H2"]["value"] == pytest.approx(3.5, rel=1e-6)


def test_heat_from_flow_and_temperatures_stands_in_for_a_meter() -> None:
    # EN 1434-1 with IAPWS-IF97: 12 l/min from 30 to 35 C is 4.160 kW (reference values, 1.1).
    site = site_of(
        [
            point("heat_pump_electricity"),
            point("flow_rate", "gauge", "l/min"),
            point("flow_temperature", "gauge", "degC"),
            point("return_temperature", "gauge", "degC"),
        ]
    )
    values = {
        "heat_pump_electricity": 1040.0,
        "flow_rate": 12.0,
        "flow_temperature": 35.0,
        "return_temperature": 30.0,
    }
    given = result_of(site, every_minute(site, values)).as_dict()
    assert given["performance"]["H2"]["value"] == pytest.approx(4.0, rel=1e-3)
    assert given["energy"]["heat_kwh"]["total"] == pytest.approx(4.160 * 72, rel=1e-3)


def test_a_meter_blind_to_antifreeze_is_corrected_and_one_that_allows_for_it_is_not() -> None:
    # Propylene glycol 25 % by mass makes a water meter read 3.77 % too much at 30/35 C (CoolProp, reference
    # 1.2).
    glycol = '[heat_pump]\nantifreeze = "propylene_glycol"\nantifreeze_percent = 25\n'
    values = {"heat_pump_electricity": 1000.0, "heat_output": 3500.0}
    blind = site_of([point("heat_pump_electricity"), point("heat_output")], glycol)
    aware = site_of(
        [point("heat_pump_electricity"), point("heat_output", extra="antifreeze_corrected = true")], glycol
    )
    got = [
        result_of(s, every_minute(s, values)).as_dict()["performance"]["H2"]["value"] for s in (blind, aware)
    ]
    assert got[1] == pytest.approx(3.5)
    assert got[1] / got[0] - 1.0 == pytest.approx(0.0377, abs=0.002)


def test_the_interval_is_the_meters_own() -> None:
    # Class 2 heat meter at half its flow and 5 K: flow sensor 2.04 %, pair and calculator 3.40 % (EN 1434-1);
    # class B electricity 2 % (2014/32/EU Annex V). Three rectangular parts: the 95 % interval of their sum.
    points = [
        point("heat_pump_electricity", extra='meter_class = "B"'),
        point("heat_output", extra='meter_class = "2"'),
        point("flow_temperature", "gauge", "degC"),
        point("return_temperature", "gauge", "degC"),
        point("flow_rate", "gauge", "m3/h"),
    ]
    site = site_of(points, "[heat_pump]\nflow_m3_per_h = 0.52\n")
    values = {
        "flow_rate": 0.52,
        "heat_pump_electricity": 1000.0,
        "heat_output": 3000.0,
        "flow_temperature": 35.0,
        "return_temperature": 30.0,
    }
    h2 = result_of(site, every_minute(site, values)).as_dict()["performance"]["H2"]
    rng = np.random.default_rng(7)
    parts = [rng.uniform(-w, w, 400_000) for w in (0.0204, 0.0340, 0.02)]
    drawn = np.quantile(np.abs(np.sum(parts, axis=0)), 0.95)
    assert (h2["high"] - h2["low"]) / 2.0 / h2["value"] == pytest.approx(drawn, rel=0.02)


def test_missing_minutes_widen_the_interval() -> None:
    site = site_of([point("heat_pump_electricity"), point("heat_output")])
    readings = every_minute(site, {"heat_pump_electricity": 1000.0, "heat_output": 3500.0})
    whole = result_of(site, readings).as_dict()["performance"]["H2"]
    cut = {k: type(s)(s.time[:2200], s.value[:2200]) for k, s in readings.items()}
    part = result_of(site, cut).as_dict()["performance"]["H2"]
    assert part["high"] - part["low"] > 1.3 * (whole["high"] - whole["low"])


def test_use_split_follows_the_mode() -> None:
    site = site_of(
        [point("heat_pump_electricity"), point("heat_output"), point("operating_mode", "state")], CYLINDER
    )
    minutes = 3 * 1440 + 1
    mode = np.where(np.arange(minutes) % 240 < 180, 1.0, 2.0)
    heat = np.where(mode == 1.0, 4000.0, 2500.0)
    given = result_of(
        site,
        every_minute(site, {"heat_pump_electricity": 1000.0, "heat_output": heat, "operating_mode": mode}),
    ).as_dict()
    assert given["performance"]["space_heating"]["value"] == pytest.approx(4.0, rel=1e-3)
    assert given["performance"]["hot_water"]["value"] == pytest.approx(2.5, rel=1e-3)
    assert given["energy"]["electricity_kwh"]["hot_water"] == pytest.approx(18.0, rel=1e-3)


def test_electricity_alone_can_not_tell_the_uses_apart() -> None:
    site = site_of([point("heat_pump_electricity")], CYLINDER)
    given = result_of(site, every_minute(site, {"heat_pump_electricity": 1500.0})).as_dict()
    assert given["energy"]["electricity_kwh"]["total"] == pytest.approx(108.0, rel=1e-3)
    assert given["energy"]["electricity_kwh"]["space_heating"] is None
    assert given["energy"]["reason"]
    assert given["performance"]["reasons"]["H2"] == "needs heat_output"


# Worked out by hand: an hour's run in every two, hot water at 4 and 18 h, heating in the others.
REST_W, SPACE_COP, WATER_COP = 12.0, 3.6, 2.5


@pytest.mark.parametrize("step_min", [1, 5, 10])
def test_the_uses_add_up_to_the_whole_and_their_ratios_are_those_of_their_energies(step_min: int) -> None:
    site = site_of(
        [
            point("heat_pump_electricity", "register", "kWh"),
            point("heat_output", "register", "kWh"),
            point("operating_mode", "state"),
        ],
        CYLINDER,
    )
    days = 10
    minute = np.arange(days * 1440 + 1)
    runs, water = minute % 120 < 60, np.isin(minute // 60 % 24, (4, 18))
    heat = np.where(runs, np.where(water, 6500.0, 5200.0), 0.0)
    power = np.where(runs, heat / np.where(water, WATER_COP, SPACE_COP), REST_W)
    readings = {
        "heat_pump_electricity": np.concatenate(([0.0], np.cumsum(power)[:-1])) / 60e3,
        "heat_output": np.concatenate(([0.0], np.cumsum(heat)[:-1])) / 60e3,
        "operating_mode": np.where(runs, np.where(water, 2.0, 1.0), 0.0),
    }
    sparse = every_minute(site, {k: v[::step_min] for k, v in readings.items()}, days, step_min=step_min)
    given = result_of(site, sparse, days).as_dict()
    used, made = given["energy"]["electricity_kwh"], given["energy"]["heat_kwh"]
    performance = given["performance"]
    assert used["space_heating"] + used["hot_water"] + used["idle"] == pytest.approx(used["total"], rel=1e-4)
    assert made["space_heating"] + made["hot_water"] == pytest.approx(made["total"], rel=1e-4)
    for name, true in (("space_heating", SPACE_COP), ("hot_water", WATER_COP)):
        assert performance[name]["value"] == pytest.approx(made[name] / used[name], rel=2e-3)
        assert performance[name]["value"] == pytest.approx(true, rel=0.01)
    # The meter's standby is of neither use.
    assert used["idle"] == pytest.approx(REST_W * days * 12 / 1000.0, rel=0.05)


def test_a_heaters_heat_stands_where_its_electricity_does() -> None:
    """SEPEMO-Build H3 and H4: direct electric heat counts as heat, so each row divides into its figure."""
    site = site_of(
        [
            point("heat_pump_electricity", "power", "W"),
            point("heat_output", "power", "W"),
            point("immersion_electricity", "power", "W"),
            point("backup_heater_electricity", "power", "W"),
            point("circulation_pump_electricity", "power", "W"),
            point("operating_mode", "state"),
        ],
        CYLINDER,
    )
    days = 40
    minute = np.arange(days * 1440)
    runs, water = minute % 120 < 60, np.isin(minute // 60 % 24, (4, 18))
    hour = minute // 60 % 24
    heat = np.where(runs, np.where(water, 6500.0, 5200.0), 0.0)
    readings = {
        "heat_pump_electricity": np.where(runs, heat / np.where(water, WATER_COP, SPACE_COP), REST_W),
        "heat_output": heat,
        "immersion_electricity": np.where(hour == 13, 3000.0, 0.0),
        "backup_heater_electricity": np.where(runs & np.isin(hour, (6, 18)), 2000.0, 0.0),
        "circulation_pump_electricity": np.where(runs, 40.0, 0.0),
        "operating_mode": np.where(runs, np.where(water, 2.0, 1.0), 0.0),
    }
    given = result_of(site, every_minute(site, readings, days), days).as_dict()
    used, made = given["energy"]["electricity_kwh"], given["energy"]["heat_kwh"]
    told = given["performance"]
    # By hand, a day: 1 h of 3 kW in the cylinder; 1 h of 2 kW each in rooms and cylinder; 2 and 10 h of runs.
    assert made["hot_water"] == pytest.approx(days * 2 * 6.5, rel=2e-3)
    assert made["space_heating"] == pytest.approx(days * 10 * 5.2, rel=2e-3)
    assert made["direct_electric"] == pytest.approx(days * 7.0, rel=2e-3)
    assert made["space_heating"] + made["hot_water"] == pytest.approx(made["total"], rel=1e-4)
    both = made["total"] + made["direct_electric"]
    assert both / used["total"] == pytest.approx(told["H4"]["value"], rel=2e-3)
    for name, of in told["energies"].items():
        assert of["heat_kwh"] / of["electricity_kwh"] == pytest.approx(told[name]["value"], rel=1e-6)
    for row in told["by_month"]:
        both = row["heat_kwh"] + row["direct_electric_kwh"]
        assert both / row["electricity_kwh"] == pytest.approx(row["H4"], rel=1e-3)
