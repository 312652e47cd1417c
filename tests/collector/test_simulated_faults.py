"""Each simulated fault changes its quantity, in the plant or in the readings, increasingly with strength."""

from collections.abc import Callable
from datetime import date
from functools import cache

import numpy as np
import pytest

from fieldfare.collector.simulated.faults.plant import causes, codes, unfit
from fieldfare.collector.simulated.plant import (
    Simulated,
    random_plant,
    simulate,
    with_fault,
)

WINTER, WINTER_DAYS = date(2025, 1, 1), 26
SUMMER, SUMMER_DAYS = date(2025, 6, 10), 26


@cache
def base():
    """One healthy plant: thermostat, radiators, hot water, back-up heater, a small series buffer."""
    spec = random_plant(24, "continental", "rich", every_s=300, hot_water=True)
    assert (spec.control.kind, spec.backup is not None) == ("thermostat", True)
    return spec


@cache
def run(code: str | None, cause: str | None, strength: str, summer: bool) -> Simulated:
    spec = base()
    start, days = (SUMMER, SUMMER_DAYS) if summer else (WINTER, WINTER_DAYS)
    if code is not None:
        begin = None if code in {"frost_risk", "data_gap", "register_reset"} else start
        spec = with_fault(spec, code, cause, strength, begin)
    return simulate(spec, start, days)


def heating(s: Simulated) -> np.ndarray:
    m = s.truth.minutes
    return (m["mode"] == 1) & (m["speed"] > 0)


def starts(s):
    return len(s.truth.starts)


def defrosts(s):
    return len(s.truth.defrosts)


def longest_defrosts(s):
    return float(np.mean([d["end"] - d["start"] for d in s.truth.defrosts]))


def warm_coil_defrosts(s):
    """Defrosts that began with little frost to melt."""
    return sum(d["frost_kg"] < 0.3 for d in s.truth.defrosts)


def above_curve(s):
    m, on = s.truth.minutes, heating(s)
    curve = np.array(s.spec.control.curve)
    return float(np.mean(m["t_flow"][on] - np.interp(m["outdoor"][on], curve[:, 0], curve[:, 1])))


def follows_weather(s):
    """Slope of target flow over outdoor temperature, K per K: negative where it compensates."""
    m, on = s.truth.minutes, heating(s)
    return float(np.polyfit(m["outdoor"][on], m["target_flow"][on], 1)[0])


def spread(s):
    m, on = s.truth.minutes, heating(s)
    return float(np.median((m["t_flow"] - m["t_return"])[on] / np.maximum(m["heat"][on], 500.0)) * 1e4)


def flow(s):
    m = s.truth.minutes
    return float(np.percentile(m["flow"][m["flow"] > 0.01], 10))


def late_flow(s):
    m = s.truth.minutes
    last = m["flow"][-7 * 1440 :]
    return float(np.median(last[last > 0.01]))


def buffer_drop(s):
    m, on = s.truth.minutes, heating(s)
    return float(np.mean((m["t_flow"] - m["t_dist"])[on]))


def kwh(name):
    return lambda s: s.truth.kwh[name]


def idle_w(s):
    m = s.truth.minutes
    return float(m["controls"][m["speed"] == 0].mean())


def pump_hours(s):
    return float((s.truth.minutes["pump_on"] > 0).mean() * 24)


def warm_heat(s):
    return sum(d["kwh"]["heat_space"] for d in s.truth.days if d["outdoor_c"] > 16.0)


def efficiency(s):
    k = s.truth.kwh
    return k["heat_space"] / (k["elec_space"] + k["elec_defrost"] - k["backup"])


def design_ratio(s):
    d = s.spec.design
    return s.truth.htc_w_per_k * (d.indoor_c - d.outdoor_c) / d.heat_loss_w


def greatest_heat(s):
    m = s.truth.minutes
    return float(np.percentile(m["heat"][m["outdoor"] < 2.0], 99.5))


def coldest_room(s):
    return min(min(d["room_c"]) for d in s.truth.days[3:])


def reheat_minutes(s):
    return float(np.median([(r["end"] - r["start"]) / 6e4 for r in s.truth.reheats]))


def reheats_short(s):
    return float(np.mean([s.spec.hot_water.setpoint_c - r["to_c"] for r in s.truth.reheats]))


def cold_litres(s):
    return s.truth.hot_water["litres_40_cold"]


def cylinder_losses(s):
    return s.truth.kwh["cylinder_loss"] + s.truth.kwh["secondary_loss"]


def hottest(s):
    return float(s.truth.minutes["cylinder"].max())


def reheats(s):
    return len(s.truth.reheats)


def last_pressure(s):
    return float(s.readings["pressure"].value[-1440 // 5 :].mean())


def coldest_unit_water(s):
    return float(s.truth.minutes["t_return"].min())


def silent_hours(s):
    return len(s.truth.minutes["time"]) / 60.0 - len(s.readings["outdoor"].time) / 12.0


def flat_hours(s):
    v = s.readings["return_temp"].value
    edges = np.flatnonzero(np.concatenate([[True], np.diff(v) != 0, [True]]))
    return float(np.diff(edges).max() / 12.0)


def falls(s):
    return int((np.diff(s.readings["hp_elec_kwh"].value) < -1.0).sum())


def median_of(point):
    return lambda s: (
        float(
            np.median(
                s.readings[point].value[
                    s.readings[point].value > 500.0 if point == "hp_elec" else slice(None)
                ]
            )
        )
        if len(s.readings[point].value)
        else 0.0
    )


def power_scale(s):
    return float(np.percentile(s.readings["hp_elec"].value[-2000:], 90))


def swapped_sign(s):
    r = s.readings
    flows = dict(zip(r["flow_temp"].time.tolist(), r["flow_temp"].value.tolist(), strict=True))
    pairs = [
        flows[t] - v
        for t, v in zip(r["return_temp"].time.tolist(), r["return_temp"].value.tolist(), strict=True)
        if t in flows
    ]
    return float(np.mean(pairs))


def lag_minutes(s):
    """Shift of the electricity readings that makes them fit heat output best."""
    r = s.readings
    grid = np.arange(r["heat"].time[0], r["heat"].time[-1], 300_000)
    heat = np.interp(grid, r["heat"].time, r["heat"].value)
    elec = np.interp(grid, r["hp_elec"].time, r["hp_elec"].value)
    shifts = range(0, 80)
    return (
        5.0
        * shifts[int(np.argmax([np.corrcoef(heat[: len(heat) - k or None], elec[k:])[0, 1] for k in shifts]))]
    )


def heat_share(s):
    """Heat by the meter over heat in truth."""
    v = s.readings["heat_kwh"].value
    return float((v[-1] - v[0]) / s.truth.kwh["heat"])


def last_heat(s):
    return float(s.readings["heat_kwh"].value[-1])


def noon_excess(s):
    m = s.truth.minutes
    r = s.readings["outdoor"]
    true = np.interp(r.time, m["time"], m["outdoor"])
    hour = (r.time // 3_600_000) % 24
    return float((r.value - true)[(hour >= 10) & (hour <= 14)].mean())


UP, DOWN = 1.0, -1.0
Metric = Callable[[Simulated], float]
# (code, cause): what to look at, which way it goes, by how much at least when plain, and whether summer shows
# it.
EXPECTED: dict[tuple[str, str | None], tuple[Metric, float, float, bool]] = {
    ("short_cycling", "oversized_for_mild_load"): (starts, UP, 80, False),
    ("short_cycling", "thermostat_chopping"): (starts, UP, 250, False),
    ("short_cycling", "low_water_volume"): (starts, UP, 40, True),
    ("short_cycling", "flow_restriction"): (spread, UP, 5, False),
    ("excessive_defrost", "coil_airflow"): (defrosts, UP, 40, False),
    ("excessive_defrost", "low_refrigerant_symptom"): (defrosts, UP, 80, False),
    ("excessive_defrost", "insufficient_defrost_heat"): (longest_defrosts, UP, 60_000, False),
    ("defrost_without_frost", "low_refrigerant_symptom"): (defrosts, UP, 100, False),
    ("defrost_without_frost", "sensor_fault"): (warm_coil_defrosts, UP, 50, False),
    ("flow_temperature_above_curve", "curve_set_high"): (above_curve, UP, 1.5, False),
    ("flow_temperature_above_curve", "manual_override"): (above_curve, UP, 1.5, False),
    ("no_weather_compensation", "fixed_flow_setting"): (follows_weather, UP, 0.6, False),
    ("low_flow", "strainer_or_air"): (flow, DOWN, 0.3, False),
    ("low_flow", "pump_setting"): (flow, DOWN, 0.3, False),
    ("falling_flow", "strainer_clogging"): (late_flow, DOWN, 0.12, False),
    ("buffer_mixing", "secondary_flow_exceeds_primary"): (buffer_drop, UP, 0.8, False),
    ("backup_heater_use", "bivalent_set_high"): (kwh("backup"), UP, 150, False),
    ("backup_heater_use", "capacity_shortfall"): (kwh("backup"), UP, 80, False),
    ("immersion_use", "immersion_timer_on"): (kwh("immersion"), UP, 80, False),
    ("immersion_use", "setpoint_above_reach"): (kwh("immersion"), UP, 50, False),
    ("high_standby", None): (idle_w, UP, 80, False),
    ("pump_always_on", None): (pump_hours, UP, 15, True),
    ("heating_out_of_season", None): (warm_heat, UP, 50, True),
    ("efficiency_below_expected", None): (efficiency, DOWN, 0.5, False),
    ("efficiency_fell", "step"): (efficiency, DOWN, 0.3, False),
    ("efficiency_fell", "slide"): (efficiency, DOWN, 0.1, False),
    ("heat_loss_above_design", None): (design_ratio, UP, 0.35, False),
    ("heat_loss_below_design", None): (design_ratio, DOWN, 0.25, False),
    ("capacity_short", None): (greatest_heat, DOWN, 1500, False),
    ("room_below_target", "capacity_short"): (coldest_room, DOWN, 1.0, False),
    ("room_below_target", "curve_too_low"): (coldest_room, DOWN, 1.0, False),
    ("room_below_target", "zone_not_opening"): (coldest_room, DOWN, 2.0, False),
    ("slow_reheat", "coil_or_scale"): (reheat_minutes, UP, 10, False),
    ("slow_reheat", "flow_low"): (reheat_minutes, UP, 10, False),
    ("reheat_incomplete", "setpoint_above_reach"): (reheats_short, UP, 1.5, False),
    ("hot_water_shortfall", "reheat_window"): (cold_litres, UP, 300, False),
    ("hot_water_shortfall", "cylinder_small"): (cold_litres, UP, 200, False),
    ("hot_water_shortfall", "reheat_slow"): (cold_litres, UP, 50, False),
    ("high_standing_loss", "secondary_circulation"): (cylinder_losses, UP, 40, False),
    ("high_standing_loss", "insulation"): (cylinder_losses, UP, 25, False),
    ("pasteurisation_missed", None): (hottest, DOWN, 3.0, False),
    ("diverter_passing", None): (reheats, UP, 40, False),
    ("pressure_falling", None): (last_pressure, DOWN, 0.25, False),
    ("pressure_low", None): (last_pressure, DOWN, 0.8, False),
    ("frost_risk", "power_loss"): (coldest_unit_water, DOWN, 8.0, False),
    ("data_gap", None): (silent_hours, UP, 100, False),
    ("sensor_stuck", None): (flat_hours, UP, 300, False),
    ("register_reset", None): (falls, UP, 3, False),
    ("unit_mismatch", "kw_as_w"): (power_scale, DOWN, 500, False),
    ("unit_mismatch", "degf_as_degc"): (median_of("outdoor"), UP, 10, False),
    ("unit_mismatch", "mwh_as_kwh"): (last_heat, DOWN, 500, False),
    ("flow_return_swapped", None): (swapped_sign, DOWN, 2, False),
    ("clock_offset", None): (lag_minutes, UP, 50, False),
    ("implausible_efficiency", None): (heat_share, UP, 1.4, False),
    ("heat_meter_disagrees", None): (heat_share, DOWN, 0.15, False),
    ("heat_meter_disagrees", "antifreeze_uncorrected"): (heat_share, UP, 0.03, False),
    ("outdoor_sensor_biased", None): (noon_excess, UP, 1.5, False),
}


def test_every_code_and_cause_of_the_contract_can_be_switched_on():
    # the contract's section 6, the codes in its order
    contract = """short_cycling excessive_defrost defrost_without_frost flow_temperature_above_curve
    no_weather_compensation low_flow falling_flow buffer_mixing backup_heater_use immersion_use high_standby
    pump_always_on heating_out_of_season efficiency_below_expected efficiency_fell heat_loss_above_design
    heat_loss_below_design capacity_short room_below_target slow_reheat reheat_incomplete hot_water_shortfall
    high_standing_loss pasteurisation_missed diverter_passing pressure_falling pressure_low frost_risk
    data_gap sensor_stuck register_reset unit_mismatch flow_return_swapped clock_offset implausible_efficiency
    heat_meter_disagrees outdoor_sensor_biased"""
    assert set(codes()) == set(contract.split())
    assert {(code, cause) for code in codes() for cause in causes(code)} == set(EXPECTED)


@pytest.mark.parametrize("fault", list(EXPECTED), ids=lambda f: f"{f[0]}-{f[1]}")
def test_fault_moves_its_quantity(fault):
    metric, sign, least, summer = EXPECTED[fault]
    healthy = metric(run(None, None, "", summer))
    plain = metric(run(*fault, "plain", summer))
    gross = metric(run(*fault, "gross", summer))
    assert sign * (plain - healthy) >= least, (healthy, plain, gross)
    tolerance = 0.02 * abs(plain - healthy)
    assert sign * (gross - plain) >= -tolerance, (healthy, plain, gross)


@pytest.mark.parametrize("code", ["high_standby", "efficiency_below_expected", "excessive_defrost"])
def test_level_zero_is_healthy(code):
    healthy, none = (
        run(None, None, "", False),
        simulate(with_fault(base(), code, None, 0.0, WINTER), WINTER, WINTER_DAYS),
    )
    assert none.truth.kwh == healthy.truth.kwh


def test_a_fault_begins_on_its_day():
    begin = date(2025, 1, 20)
    faulty = simulate(with_fault(base(), "high_standby", None, "gross", begin), WINTER, WINTER_DAYS)
    healthy = run(None, None, "", False)
    before = [d["kwh"]["controls"] for d in faulty.truth.days[:19]]
    assert before == [d["kwh"]["controls"] for d in healthy.truth.days[:19]]
    assert faulty.truth.days[25]["kwh"]["controls"] > healthy.truth.days[25]["kwh"]["controls"] + 3.0
    assert faulty.truth.faults == [
        {"code": "high_standby", "cause": None, "level": 1.0, "start": "2025-01-20"}
    ]


def test_numeric_strength_lies_between_the_named_ones():
    loads = [
        simulate(with_fault(base(), "high_standby", None, s), WINTER, 4).truth.kwh["controls"]
        for s in ("faint", 0.5, "plain", 0.9, "gross")
    ]
    assert loads == sorted(loads)
    assert len(set(loads)) == 5


def test_refusals_name_what_is_wrong():
    spec = base()
    with pytest.raises(ValueError, match="no fault"):
        with_fault(spec, "gremlins")
    with pytest.raises(ValueError, match="no cause"):
        with_fault(spec, "low_flow", "gremlins")
    with pytest.raises(ValueError, match="strength"):
        with_fault(spec, "low_flow", None, "enormous")
    with pytest.raises(ValueError, match="between 0 and 1"):
        with_fault(spec, "low_flow", None, 1.5)
    with pytest.raises(ValueError, match="hot water"):
        with_fault(random_plant(1, "mild", "rich", hot_water=False), "slow_reheat")
    assert unfit(random_plant(1, "mild", "hourly"), "clock_offset") is None
    assert "flow_temperature" in unfit(random_plant(1, "mild", "hourly"), "flow_return_swapped")
