"""Sensing faults: the plant is healthy, the readings are wrong. One exception: a stove that nobody meters."""

from collections.abc import Callable

import numpy as np

from tests.reference.plants_a.faults import EFFICIENCY, pick, told
from tests.reference.plants_a.home import Plant

TRUST = ["implausible_efficiency", "unit_mismatch", "heat_meter_disagrees", "meter_misplaced"]
BOTH = (("heat_output",), ("heat_pump_electricity",))


def unit_error(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The gateway sends kW (or Wh) where the site file says W (or kWh)."""
    name = "heat_unit" if rng.random() < 0.5 else "elec_unit"
    pl.sensing[name] = 0.001 if rng.random() < 0.5 else 1000.0
    return told(
        ["unit_mismatch", "implausible_efficiency", "meter_misplaced"],
        may=[
            *TRUST,
            *EFFICIENCY,
            "high_standby",
            "data_gap",
            "heat_loss_above_design",
            "heat_loss_below_design",
            "sensor_stuck",
            "capacity_short",
        ],
        needs=(("heat_output",) if name == "heat_unit" else ("heat_pump_electricity",), *BOTH),
    )


def swapped(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Flow and return sensors are swapped."""
    pl.sensing["swap"] = True
    return told(["flow_return_swapped"], may=[*TRUST, "buffer_mixing"], needs=(("flow_temperature",),))


def stuck(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """One sensor repeats its last value from some day on."""
    choice = ["outdoor_temperature", "cylinder_temperature", "room_temperature", "flow_temperature"]
    quantity = str(rng.choice(choice if pl.facts["hot_water"] else choice[:1]))
    day = round(pl.days * (1.0 - pick(s, 0.06, 0.25, 0.5)))
    pl.sensing["stuck"] = {"quantity": quantity, "day": day}
    return told(
        ["sensor_stuck"],
        may=[
            "outdoor_sensor_biased",
            "flow_return_swapped",
            "room_below_target",
            "flow_temperature_above_curve",
            "no_weather_compensation",
            "reheat_incomplete",
            "pasteurisation_missed",
            "disinfection_lacking",
            "hot_water_shortfall",
            *TRUST,
            *EFFICIENCY,
        ],
        needs=((quantity,),),
        since=day,
        parameters={"quantity": quantity},
    )


def clock_shift(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heat meter's logger runs late against the electricity meter's."""
    pl.sensing["clock_shift_min"] = int(pick(s, 15, 60, 120))
    return told(
        ["clock_offset"],
        may=[*TRUST, "slow_reheat", "excessive_defrost", *EFFICIENCY],
        needs=BOTH,
        max_spacing=5,
    )


def one_branch(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heat meter sits in one branch of the heating circuit: it misses the other and the hot water."""
    pl.sensing["one_branch"] = pick(s, 0.8, 0.6, 0.45)
    return told(
        ["meter_misplaced", "heat_meter_disagrees", "implausible_efficiency", "efficiency_below_expected"],
        may=[*TRUST, *EFFICIENCY, "heat_loss_below_design", "slow_reheat"],
        needs=BOTH,
    )


def behind_heater(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heat meter sits behind the back-up heater, which the site file does not say."""
    p = pl.params
    p["bu_w"] = 6000.0
    p["bivalent"], p["bu_delay_s"] = 5.0, 300.0
    p["f_max"], p["boost"] = pick(s, 0.7, 0.5, 0.42), 0.0
    pl.sensing["behind_heater"] = True
    return told(
        ["meter_misplaced", "heat_meter_disagrees", "implausible_efficiency", "backup_heater_use"],
        may=[*TRUST, "backup_heater_use", "capacity_short", "room_below_target", *EFFICIENCY],
        needs=(*BOTH, ("backup_heater_electricity",)),
    )


def other_load(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """Another consumer runs on the heat pump's electricity meter."""
    pl.sensing["other_load_w"] = pick(s, 60.0, 350.0, 900.0)
    return told(
        ["meter_misplaced", "high_standby", "efficiency_below_expected"],
        may=[*TRUST, *EFFICIENCY, "high_standby"],
        needs=(("heat_pump_electricity",),),
    )


def pulse_value(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """A meter's pulse value is set wrongly by a factor."""
    key = "heat_factor" if rng.random() < 0.5 else "elec_factor"
    pl.sensing[key] = float(pick(s, 1.25, 2.0, 10.0) ** rng.choice([-1.0, 1.0]))
    return told(
        [*TRUST, "efficiency_below_expected"],
        may=[
            *TRUST,
            *EFFICIENCY,
            "heat_loss_above_design",
            "heat_loss_below_design",
            "high_standby",
            "capacity_short",
        ],
        needs=BOTH,
    )


def forward_only(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heat meter counts forward only: heat taken by defrosts is not subtracted."""
    pl.sensing["forward_only"] = True
    return {"must": [], "may": ["heat_meter_disagrees", "meter_misplaced"]}


def antifreeze(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The heat meter is calibrated for water, the circuit holds antifreeze; the site file says corrected."""
    pl.facts["antifreeze"], pl.facts["antifreeze_percent"] = "propylene_glycol", 25
    pl.params["rho_cp"] = 1.1137 * 3.6e6
    pl.sensing["antifreeze_uncorrected"] = True
    return {"must": [], "may": ["heat_meter_disagrees"]}


def sensor_in_sun(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """The outdoor sensor hangs in the sun."""
    pl.sensing["outdoor_sun_k"] = pick(s, 5.0, 12.0, 20.0)
    return told(
        ["outdoor_sensor_biased"],
        may=["heating_out_of_season", "heat_loss_below_design", "heat_loss_above_design", *EFFICIENCY],
        needs=(("outdoor_temperature",),),
        max_spacing=60,
    )


def stove(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """A wood stove heats the living room on many evenings, and no meter sees it."""
    days = len(pl.drive) // 1440
    for day in range(days):
        a = day * 1440 + 17 * 60
        if pl.drive["to"][a] < 8.0 and rng.random() < pick(s, 0.2, 0.5, 0.85):
            pl.drive["stove"][a : a + 300] = pick(s, 1500.0, 3000.0, 4500.0)
    return {"must": [], "may": ["heat_loss_below_design"], "must_not": ["unit_stopped", "capacity_short"]}


def minus_forty(pl: Plant, s: str, rng: np.random.Generator) -> dict:
    """A temperature sensor fails and reads -40 degC."""
    quantity = str(rng.choice(["outdoor_temperature", "return_temperature", "room_temperature"]))
    day = round(pl.days * 0.55)
    pl.sensing["minus40"] = {"quantity": quantity, "day": day, "share": pick(s, 0.03, 0.5, 1.0)}
    return told(
        ["sensor_stuck", "data_gap", "outdoor_sensor_biased", "unit_mismatch"],
        may=[*TRUST, *EFFICIENCY, "room_below_target", "low_flow"],
        needs=((quantity,),),
        since=day,
        parameters={"quantity": quantity},
    )


SENSING_FAULTS: dict[str, Callable[[Plant, str, np.random.Generator], dict]] = {
    f.__name__: f
    for f in (
        unit_error,
        swapped,
        stuck,
        clock_shift,
        one_branch,
        behind_heater,
        other_load,
        pulse_value,
        forward_only,
        antifreeze,
        sensor_in_sun,
        stove,
        minus_forty,
    )
}
