"""Faults of hot water, pressure, diverter, buffer and of a unit that stands still."""

from collections.abc import Callable

import numpy as np

from tests.reference.plants_a.faults import EFFICIENCY, RUNS, pick, told
from tests.reference.plants_a.home import Plant

CYLINDER = (("cylinder_temperature",),)
PRESSURE = (("system_pressure",),)


def coil_scale(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Scale on the cylinder's coil."""
    pl.params["coil_ua"] *= pick(s, 0.25, 0.1, 0.06)
    return told(
        ["slow_reheat", "reheat_incomplete"],
        may=[
            "reheat_incomplete",
            "hot_water_shortfall",
            "short_cycling",
            "pasteurisation_missed",
            "immersion_use",
            *EFFICIENCY,
        ],
        first_cause=["coil_or_scale"],
        needs=CYLINDER,
        max_spacing=15,
    )


def reheat_incomplete(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The hot-water setpoint is above what the unit's limit reaches; each charge ends by its time limit."""
    p = pl.params
    p["dhw_tmax"] = p["setp"] - pick(s, -1.0, 2.0, 4.0)
    p["hp_past"] = 61.0
    return told(
        ["reheat_incomplete", "slow_reheat"],
        may=[
            "slow_reheat",
            "short_cycling",
            "pasteurisation_missed",
            "hot_water_shortfall",
            "disinfection_lacking",
            "immersion_use",
            *EFFICIENCY,
        ],
        needs=CYLINDER,
    )


def shortfall_window(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Reheat is allowed in one short window, and the household uses more than the cylinder holds."""
    hour = pl.hour()
    pl.drive["dhw_ok"] = (hour >= 12.5) & (hour < 14.5)
    pl.drive["draw"] *= pick(s, 1.2, 1.7, 2.6)
    return told(["hot_water_shortfall"], may=["slow_reheat", "reheat_incomplete"], needs=CYLINDER)


def shortfall_small(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The cylinder is too small for this household."""
    pl.drive["draw"] *= pick(s, 1.4, 2.0, 3.0)
    pl.params["cyl_l"] = 120.0
    pl.facts["asked"]["cyl_l"] = 120.0
    pl.facts["asked"]["ua_cyl"] = pl.params["ua_cyl"] = 1.1
    return told(
        ["hot_water_shortfall"], may=["slow_reheat", "reheat_incomplete", "short_cycling"], needs=CYLINDER
    )


def standing_loss(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Secondary circulation or missing insulation cools the cylinder."""
    pl.params["ua_cyl"] *= pick(s, 1.7, 3.2, 5.0)
    return told(["high_standing_loss"], may=["hot_water_shortfall", *EFFICIENCY], needs=CYLINDER)


def disinfection_missed(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The weekly disinfection is scheduled but never reached: the immersion heater has failed."""
    pl.params["imm_w"] = 0.0
    pl.params["hp_past"] = pick(s, 56.0, 53.0, 51.0)
    pl.params["dhw_timeout_s"] = 5400.0
    return told(
        ["pasteurisation_missed", "disinfection_lacking"],
        may=["disinfection_lacking", "reheat_incomplete"],
        needs=CYLINDER,
    )


def diverter_passing(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The diverter leaks: part of the flow passes the other circuit."""
    pl.params["div_leak"] = pick(s, 0.03, 0.09, 0.2)
    return told(
        ["diverter_passing"],
        may=[
            "high_standing_loss",
            "slow_reheat",
            "reheat_incomplete",
            "hot_water_shortfall",
            "heating_out_of_season",
            *EFFICIENCY,
        ],
        needs=CYLINDER,
        max_spacing=5,
    )


def buffer_mixing(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The secondary pump moves more water than the primary: the parallel buffer mixes the flow down."""
    p = pl.params
    p["buffer"], p["buffer_l"], p["pump2_w"], p["modulating"] = 2.0, 60.0, 45.0, 0.0
    p["sec_ratio"] = pick(s, 1.35, 1.9, 2.6)
    for n in ("buffer", "buffer_l"):
        pl.facts["asked"][n] = p[n]
    return told(
        ["buffer_mixing"],
        may=["flow_temperature_above_curve", *EFFICIENCY, "room_below_target"],
        first_cause=["secondary_flow_exceeds_primary"],
        needs=(("distribution_flow_temperature",), ("flow_temperature",)),
    )


def pressure_falling(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heating circuit loses water."""
    pl.params["leak_l"] = pick(s, 0.006, 0.016, 0.05) * float(pl.params["ves_l"][0]) * 0.2
    return told(["pressure_falling", "pressure_low"], may=["pressure_low"], needs=PRESSURE)


def pressure_low(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The circuit has been left nearly without pressure."""
    pl.params["p_fill"], pl.params["ves_pre"], pl.params["leak_l"] = pick(s, 0.8, 0.5, 0.3), 0.2, 0.0
    return told(["pressure_low"], may=["pressure_swings", "pressure_falling"], needs=PRESSURE)


def vessel_empty(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The expansion vessel has lost its gas: pressure swings with the water's temperature."""
    pl.params["ves_l"] = pick(s, 0.45, 0.2, 0.12) * float(pl.params["ves_l"][0])
    return told(
        ["pressure_swings", "pressure_high"],
        may=["pressure_high", "pressure_low", "pressure_falling"],
        first_cause=["vessel_empty"],
        needs=PRESSURE,
    )


def filling_open(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The filling loop was left open a little."""
    pl.params["refill"] = pick(s, 0.008, 0.03, 0.12) * float(pl.params["ves_l"][0])
    return told(["pressure_high"], may=["pressure_swings"], first_cause=["filling_loop_open"], needs=PRESSURE)


def stopped(pl: Plant, s: str, rng: np.random.Generator, what: str) -> dict:
    """Stop the unit for two days, at the end of the record or earlier."""
    span = pick(s, 1.0, 2.0, 3.0)
    last = pl.drive["to"][pl.minute(pl.days - 3) :].mean()
    now = bool(rng.random() < 0.6) and last < 9.0
    cold = [
        d
        for d in range(int(0.3 * pl.days), pl.days - 4)
        if pl.drive["to"][pl.minute(d) : pl.minute(d + 2)].mean() < 8
    ]
    day = pl.days - span if now else float(cold[int(rng.integers(len(cold)))] if cold else pl.days // 2)
    rows = slice(pl.minute(day + 0.3), pl.minute(day + span))
    if what == "power":
        pl.drive["power"][rows] = 0.0
    elif what == "lock":
        pl.drive["lock"][rows] = 21.0
    else:
        pl.drive["enable"][rows] = 0.0
    return told(
        ["unit_stopped", "frost_risk"],
        "act" if now else "note",
        since=day,
        may=[
            "unit_stopped",
            "frost_risk",
            "fault_reported",
            "room_below_target",
            "hot_water_shortfall",
            "capacity_short",
            "data_gap",
            "pasteurisation_missed",
            "disinfection_lacking",
            "backup_heater_use",
        ],
        needs=RUNS,
    )


def no_power(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The unit has no power for about two winter days; the meters have."""
    return stopped(pl, s, rng, "power") | {"first_cause": ["no_power"], "cause_spacing": 15}


def locked_out(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The unit has locked out with a fault code for about two winter days."""
    out = stopped(pl, s, rng, "lock")
    return out | {"first_cause": ["locked_out"], "cause_spacing": 60}


def switched_off(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Somebody switched the unit off at its controls for about two winter days."""
    return stopped(pl, s, rng, "enable")


def lockouts(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The unit trips several times a week with a code and is reset after a while."""
    day = 0.0
    while day < pl.days - 1:
        day += float(rng.exponential(pick(s, 12.0, 2.5, 0.8)))
        a = pl.minute(min(day, pl.days - 0.5))
        pl.drive["lock"][a : a + int(rng.uniform(20, 150))] = 12.0
    return told(
        ["fault_reported"],
        may=["unit_stopped", "short_cycling", "room_below_target"],
        needs=(("fault_code",),),
    )


def water_too_hot(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The immersion heater's thermostat has welded shut: stored water far above its setpoint."""
    pl.params["imm_w"], pl.params["imm_c"] = 3000.0, pick(s, 66.0, 75.0, 84.0)
    pl.drive["imm_ok"] = 1.0
    return told(
        ["water_too_hot"], "act", may=["immersion_use", "high_standing_loss", *EFFICIENCY], needs=CYLINDER
    )


def disinfection_stuck(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The disinfection never ends: the cylinder is held at its temperature all week."""
    pl.params["setp"], pl.params["reheat"] = pick(s, 60.0, 64.0, 67.0), pick(s, 56.0, 60.0, 63.0)
    pl.params["t_max"], pl.params["dhw_tmax"], pl.params["hp_past"] = 75.0, 73.0, 61.0
    pl.facts["asked"]["t_max"] = 75.0
    return told(
        ["water_too_hot"],
        "watch",
        may=["immersion_use", "high_standing_loss", *EFFICIENCY, "slow_reheat", "reheat_incomplete"],
        first_cause=["disinfection_stuck"],
        needs=CYLINDER,
    )


def lukewarm(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Water is stored lukewarm and no disinfection is scheduled."""
    pl.params["setp"], pl.params["reheat"] = pick(s, 47.0, 43.0, 40.0), pick(s, 40.0, 37.0, 34.0)
    pl.facts["asked"]["setp"], pl.facts["asked"]["reheat"] = pl.params["setp"], pl.params["reheat"]
    pl.params["past_c"] = 0.0
    pl.facts["past_c"] = None
    return told(
        ["disinfection_lacking"],
        may=["hot_water_shortfall", "pasteurisation_missed"],
        first_cause=["none_scheduled"],
        needs=CYLINDER,
    )


WATER_FAULTS: dict[str, Callable[[Plant, str, np.random.Generator], dict]] = {
    f.__name__: f
    for f in (
        coil_scale,
        reheat_incomplete,
        shortfall_window,
        shortfall_small,
        standing_loss,
        disinfection_missed,
        diverter_passing,
        buffer_mixing,
        pressure_falling,
        pressure_low,
        vessel_empty,
        filling_open,
        no_power,
        locked_out,
        switched_off,
        lockouts,
        water_too_hot,
        disinfection_stuck,
        lukewarm,
    )
}
