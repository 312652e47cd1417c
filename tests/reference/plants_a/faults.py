"""Faults of the plant itself: each changes parameters or inputs, never readings.

A fault is a function of (plant, strength, rng) that returns what an engineer expects to hear. Strength picks
a value from faint, plain and gross. `needs` lists groups of quantities of which one must be measured.
"""

from collections.abc import Callable

import numpy as np

from tests.reference.plants_a.home import Plant

EFFICIENCY = [
    "efficiency_below_expected",
    "performance_below_promise",
    "efficiency_fell",
    "electricity_above_expected",
]
COLD = ["capacity_short", "room_below_target", "backup_heater_use", "flow_temperature_below_curve"]
HEAT = (("heat_output",),)
RUNS = (("operating_mode", "heat_pump_electricity"),)


def pick(strength: str, faint: float, plain: float, gross: float) -> float:
    """Return the value of the strength."""
    return {"faint": faint, "plain": plain, "gross": gross}[strength]


def told(codes: list[str], severity: str = "watch", **more: object) -> dict:
    """Return the expectation: one demand for any of `codes`."""
    return {"must": [{"any_of": codes, "severity_at_least": severity}], **more}


def chopping(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """A time-proportional thermostat switches the heat call several times an hour."""
    p = pl.params
    p["thermostat1"] = 2.0
    if p["zones"][0] > 1.5:
        p["thermostat2"] = 2.0
    p["period_s"] = pick(s, 1800.0, 900.0, 600.0)
    p["shift"] = p["shift"] + 5.0
    p["min_off_s"], p["buffer"] = 180.0, 0.0
    return told(
        ["short_cycling"],
        may=["flow_temperature_above_curve", *EFFICIENCY],
        first_cause=["thermostat_chopping"],
        needs=RUNS,
        max_spacing=5,
    )


def oversized(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The unit is far too large and cannot turn down; the site file states it as it is."""
    from tests.reference.plants_a.home import size_unit
    from tests.reference.plants_a.rating import rating_point, steady

    p, k = pl.params, pick(s, 1.35, 1.8, 2.6)
    for target in (p, pl.facts["tested"]):
        size_unit(target, float(target["q_full"][0]) * k)
        target["f_min"] = max(float(target["f_min"][0]), pick(s, 0.34, 0.42, 0.48))
    p["buffer"], p["room_k"] = 0.0, 0.0
    p["hyst_on"] = p["hyst_off"] = 3.0
    p["min_off_s"] = 300.0
    p["q_nom"] *= 1.3
    rated = pl.facts["tested"][0]
    pl.facts["ratings"] = [rating_point(rated, r["outdoor_c"], r["flow_c"]) for r in pl.facts["ratings"]]
    pl.facts["min_output_kw"] = round(steady(rated, 7.0, 35.0, float(rated["f_min"]))[0] / 1000.0, 2)
    return told(
        ["short_cycling"],
        may=[*EFFICIENCY, "low_flow"],
        first_cause=["oversized_for_mild_load"],
        needs=RUNS,
        max_spacing=5,
    )


def restricted(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """So little water passes that the unit trips on flow temperature and restarts."""
    pl.params["flow_factor"] = pick(s, 0.6, 0.3, 0.2)
    pl.params["modulating"] = 0.0
    return told(
        ["low_flow", "short_cycling"],
        may=[
            "falling_flow",
            "low_flow",
            "short_cycling",
            *EFFICIENCY,
            *COLD,
            "slow_reheat",
            "reheat_incomplete",
            "flow_temperature_above_curve",
            "hot_water_shortfall",
        ],
        needs=(("flow_rate", "flow_temperature", "operating_mode"),),
    )


def coil_airflow(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The outdoor coil is partly blocked."""
    pl.params["airflow"] = pick(s, 0.75, 0.5, 0.36)
    pl.params["def_timer"] = 0.0
    return told(
        ["excessive_defrost"],
        may=["defrost_without_frost", *EFFICIENCY, *COLD, "short_cycling"],
        first_cause=["coil_airflow"],
        needs=(("operating_mode", "defrost_active"), ("heat_output", "outdoor_temperature")),
        max_spacing=5,
    )


def low_refrigerant(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Part of the refrigerant has been missing all season."""
    pl.params["charge_dte"] = pick(s, 3.0, 9.0, 14.0)
    pl.params["charge_cap"] = pick(s, 0.95, 0.78, 0.62)
    pl.params["def_timer"] = 0.0
    return told(
        ["excessive_defrost", "efficiency_below_expected", "defrost_without_frost"],
        needs=HEAT,
        may=["defrost_without_frost", "excessive_defrost", *EFFICIENCY, *COLD, "short_cycling"],
    )


def defrost_sensor(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The coil sensor reads too cold: defrosts on a dry or warm coil."""
    pl.params["def_off"] = pick(s, -4.0, -9.0, -14.0)
    pl.params["def_timer"], pl.params["def_min_s"] = 0.0, 1800.0
    return told(
        ["defrost_without_frost", "excessive_defrost"],
        may=["excessive_defrost", "short_cycling", *EFFICIENCY, *COLD],
        needs=(("operating_mode", "defrost_active"), ("outdoor_temperature",)),
        max_spacing=5,
    )


def curve_high(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Somebody turned the heating curve up after hand-over."""
    pl.params["shift"] = pl.params["shift"] + pick(s, 3.5, 8.0, 13.0)
    return told(
        ["flow_temperature_above_curve"],
        may=[*EFFICIENCY, "short_cycling"],
        first_cause=["curve_set_high"],
        needs=(("flow_temperature",), ("outdoor_temperature",)),
    )


def no_compensation(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The controls hold one flow temperature in all weather."""
    top = float(pl.params["y1"][0])
    pl.params["fixed_flow"] = top + pick(s, -4.0, 1.0, 5.0)
    return told(
        ["no_weather_compensation"],
        may=[*EFFICIENCY, "short_cycling", "flow_temperature_above_curve"],
        first_cause=["fixed_flow_setting"],
        needs=(("flow_temperature",), ("outdoor_temperature",)),
    )


def low_flow(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The strainer or air lets too little water through all season."""
    pl.params["flow_factor"], pl.params["modulating"] = pick(s, 0.55, 0.36, 0.25), 0.0
    return told(
        ["low_flow"],
        may=[
            "falling_flow",
            "short_cycling",
            "slow_reheat",
            "flow_temperature_above_curve",
            *EFFICIENCY,
            *COLD,
        ],
        needs=(("flow_rate", "flow_temperature"),),
    )


def falling_flow(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The strainer clogs week by week."""
    pl.params["modulating"] = 0.0
    day = 0.35 * pl.days
    pl.step("flow_factor", day, pick(s, 0.7, 0.4, 0.28), over_days=45.0)
    return told(
        ["falling_flow", "low_flow"],
        may=["low_flow", "short_cycling", *EFFICIENCY, *COLD, "slow_reheat"],
        needs=(("flow_rate",),),
        since=day,
        first_cause=[],
    )


def bivalent_high(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The back-up heater is released in mild weather and after a short delay."""
    p = pl.params
    p["bu_w"] = max(float(p["bu_w"][0]), 6000.0)
    p["bivalent"], p["bu_delay_s"] = pick(s, 4.0, 9.0, 15.0), pick(s, 600.0, 180.0, 60.0)
    p["hyst_on"] = max(float(p["hyst_on"][0]), 5.0)
    # the heater has precedence over speed: the unit is limited
    p["f_max"], p["boost"] = pick(s, 0.75, 0.55, 0.45), 0.0
    return told(
        ["backup_heater_use"],
        may=[*EFFICIENCY, *COLD, "short_cycling"],
        first_cause=["bivalent_set_high"],
        needs=(("backup_heater_electricity",),),
    )


def immersion_timer(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """A timer runs the immersion heater every day."""
    p = pl.params
    p["imm_w"], p["imm_c"] = 3000.0, pick(s, 54.0, 60.0, 62.0)
    hour = pl.hour()
    pl.drive["imm_ok"] = (hour >= 5.0) & (hour < 6.0 + pick(s, 0.0, 1.5, 3.0)) | (hour >= 16.5) & (
        hour < 19.0
    )
    return told(
        ["immersion_use"],
        may=[*EFFICIENCY, "water_too_hot"],
        first_cause=["immersion_timer_on"],
        needs=(("immersion_electricity",),),
    )


def high_standby(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Controls or crankcase heater draw too much while the unit stands."""
    pl.params["p_stby"] = pick(s, 35.0, 80.0, 140.0)
    return told(["high_standby"], may=[*EFFICIENCY], needs=(("heat_pump_electricity",),), max_spacing=15)


def pump_on(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The circulation pump never stops, also out of season and at night."""
    pl.params["pump_always"] = 1.0
    pl.params["pump_w"] = pick(s, 45.0, 75.0, 110.0)
    pl.params["modulating"] = 0.0
    # idle time is needed to see it: a larger dead band of the season
    pl.params["limit_c"] = 12.5
    return told(
        ["pump_always_on"],
        may=["high_standby", *EFFICIENCY],
        needs=(("circulation_pump_electricity", "flow_rate"),),
    )


def warm_heating(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heating limit is off: the unit heats in warm weather (record starts in summer)."""
    pl.params["limit_on"], pl.params["fixed_flow"] = 0.0, 0.0
    pl.params["thermostat1"] = pl.params["thermostat2"] = 0.0
    pl.habits.target_c += pick(s, 1.0, 2.0, 3.0)
    pl.drive["set1"] += pick(s, 1.0, 2.0, 3.0)
    return told(
        ["heating_out_of_season"],
        may=["short_cycling", *EFFICIENCY, "pump_always_on", "flow_temperature_above_curve"],
        needs=(("outdoor_temperature",), ("operating_mode", "heat_output")),
    )


def efficiency_step(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Refrigerant is lost at once in mid-season."""
    day = 0.5 * pl.days
    pl.params["def_timer"] = 0.0
    pl.step("charge_dte", day, pick(s, 2.0, 5.0, 10.0))
    pl.step("charge_cap", day, pick(s, 0.97, 0.88, 0.7))
    pl.step("eff", day, pick(s, 0.97, 0.9, 0.82))
    return told(
        ["efficiency_fell"],
        may=["excessive_defrost", "defrost_without_frost", *EFFICIENCY, *COLD],
        needs=HEAT,
        since=day,
    )


def efficiency_slide(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Refrigerant seeps out over weeks."""
    day = 0.35 * pl.days
    pl.params["def_timer"] = 0.0
    pl.step("charge_dte", day, pick(s, 2.0, 5.0, 10.0), 40.0)
    pl.step("eff", day, pick(s, 0.96, 0.88, 0.78), 40.0)
    return told(
        ["efficiency_fell"],
        may=["excessive_defrost", "defrost_without_frost", *EFFICIENCY, *COLD],
        needs=HEAT,
        since=day,
    )


def efficiency_low(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The compressor is worn: worse than its rating all season."""
    pl.params["eff"] = pick(s, 0.9, 0.76, 0.65)
    return told(
        ["efficiency_below_expected", "performance_below_promise"],
        may=[*EFFICIENCY],
        needs=(*HEAT, ("flow_temperature",)),
    )


def leaky_house(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The house loses more heat than the design said."""
    k = pick(s, 1.18, 1.4, 1.7)
    for z in "12":
        for n in ("ua_air", "ua_mass", "inf"):
            pl.params[n + z] *= k
    return told(
        ["heat_loss_above_design"],
        may=[*COLD, "electricity_above_expected", "performance_below_promise"],
        needs=(*HEAT, ("outdoor_temperature",)),
    )


def undersized(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The unit that was fitted is too small for the house, as the site file shows."""
    from tests.reference.plants_a.home import size_unit
    from tests.reference.plants_a.rating import rating_point, steady

    k = pick(s, 0.8, 0.6, 0.48) / max(
        float(steady(pl.params[0], pl.design["outdoor_c"], float(pl.params["y1"][0]))[0])
        / (pl.design["heat_loss_kw"] * 1000.0),
        0.5,
    )
    for target in (pl.params, pl.facts["tested"]):
        size_unit(target, float(target["q_full"][0]) * k)
    pl.params["bu_w"] = 0.0
    pl.design.pop("bivalent_c", None)
    rated = pl.facts["tested"][0]
    pl.facts["ratings"] = [rating_point(rated, r["outdoor_c"], r["flow_c"]) for r in pl.facts["ratings"]]
    pl.facts["min_output_kw"] = round(steady(rated, 7.0, 35.0, float(rated["f_min"]))[0] / 1000.0, 2)
    return told(
        ["capacity_short", "room_below_target"],
        may=[*COLD, "slow_reheat", *EFFICIENCY],
        needs=(*HEAT, ("outdoor_temperature",)),
    )


def curve_low(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heating curve is too low for the emitters."""
    pl.params["shift"] = pl.params["shift"] - pick(s, 4.0, 7.0, 10.0)
    pl.params["room_k"] = 0.0
    return told(
        ["room_below_target"],
        may=["capacity_short", "flow_temperature_below_curve"],
        first_cause=["curve_too_low"],
        needs=(("room_temperature",), ("target_room_temperature",)),
    )


def zone_stuck(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The upstairs zone valve hardly opens."""
    pl.params["valve_max2"] = pick(s, 0.12, 0.04, 0.0)
    pl.params["uzz"] *= 0.5
    return told(
        ["room_below_target"],
        may=[*COLD, "low_flow", "short_cycling"],
        first_cause=["zone_not_opening"],
        needs=(("room_temperature",), ("target_room_temperature",)),
    )


PLANT_FAULTS: dict[str, Callable[[Plant, str, np.random.Generator], dict]] = {
    f.__name__: f
    for f in (
        chopping,
        oversized,
        restricted,
        coil_airflow,
        low_refrigerant,
        defrost_sensor,
        curve_high,
        no_compensation,
        low_flow,
        falling_flow,
        bivalent_high,
        immersion_timer,
        high_standby,
        pump_on,
        warm_heating,
        efficiency_step,
        efficiency_slide,
        efficiency_low,
        leaky_house,
        undersized,
        curve_low,
        zone_stuck,
    )
}
