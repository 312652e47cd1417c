"""Faults of meters, sensors and data."""

import numpy as np

from tests.reference.plants_b.faults import Fault
from tests.reference.plants_b.faults_heating import EL, HEAT, SLOW
from tests.reference.plants_b.homes import Home

DISTRUST = (
    "implausible_efficiency",
    "heat_meter_disagrees",
    "meter_misplaced",
    "unit_mismatch",
    "efficiency_below_expected",
    "performance_below_promise",
    "heat_loss_above_design",
    "heat_loss_below_design",
    "efficiency_fell",
    "capacity_short",
    "electricity_above_expected",
    "high_standby",
)
HYDRONIC = (HEAT, "flow_rate", "flow_temperature", "return_temperature")


def signal(name: str, change):
    """Return a sensing change of one signal: change(values, home, metering, simulation)."""

    def apply(m, home, sim) -> None:
        m.signals[name] = change(np.array(m.signals[name], float), home, m, sim)

    return apply


def from_day(values: np.ndarray, m, day: float) -> int:
    """Record index of a day."""
    return int(day * 86400 / m.record_s)


def gap(home: Home, x: float, day: int) -> None:
    """No readings for x days."""
    home.sensing.append(lambda m, h, s: m.drop.append((float(day), float(day + x))))


def stuck(home: Home, x: float, day: int) -> None:
    """The outdoor sensor repeats its last value for x days (the logger's sensor; the unit has its own)."""

    def change(values, h, m, sim):
        first = from_day(values, m, day)
        values[first : from_day(values, m, day + x)] = values[first]
        return values

    home.sensing.append(signal("t_out", change))


def reset(home: Home, x: float, day: int) -> None:
    """Running totals start again from zero x times."""

    def post(frame):
        for name in [c for c in frame.columns if c in ("hp_el_total", "heat_total")]:
            for k in range(int(x)):
                at = frame.index[0] + np.timedelta64(int((day + 9 * k) * 86400), "s")
                later = frame.index >= at
                if later.any():
                    frame.loc[later, name] -= frame.loc[later, name].iloc[0]
        return frame

    home.sensing.append(lambda m, h, s: m.post.append(post))


def wrong_unit(home: Home, x: float, day: int) -> None:
    """The site file names the wrong unit: W for a power in kW, or kWh for a total in Wh."""

    def change(m, h, sim) -> None:
        for p in m.points:
            if p.signal == "heat" and p.kind in ("power", "register", "interval"):
                if p.kind == "power":
                    p.factor, p.unit, p.step = 1e-3, "W", 0.001
                else:
                    p.factor, p.step = 1000.0, 1.0

    home.sensing.append(change)


def swapped(home: Home, x: float, day: int) -> None:
    """Flow and return sensors exchanged."""

    def change(m, h, sim) -> None:
        m.signals["t_flow"], m.signals["t_ret"] = m.signals["t_ret"], m.signals["t_flow"]

    home.sensing.append(change)


def clock(home: Home, x: float, day: int) -> None:
    """The gateway's clock is x hours wrong."""

    def post(frame):
        frame.index = frame.index + np.timedelta64(int(x * 3600), "s")
        return frame

    home.sensing.append(lambda m, h, s: m.post.append(post))


def scaled_heat(home: Home, x: float, day: int) -> None:
    """The heat meter's reading is x times the true heat (pulse value)."""

    def change(m, h, sim) -> None:
        for name in ("heat", "heat_space", "heat_dhw"):
            m.signals[name] = m.signals[name] * x

    home.sensing.append(change)


def scaled_electricity(home: Home, x: float, day: int) -> None:
    """The electricity meter's pulses are counted with the wrong value."""
    home.sensing.append(signal("elec", lambda v, h, m, s: v * x))


def antifreeze(home: Home, x: float, day: int) -> None:
    """The circuit holds antifreeze and the heat meter reckons with water."""
    home.par["rho_cp"] = 1152.0 / x
    home.site["heat_pump"].update(antifreeze="propylene_glycol", antifreeze_percent=round((x - 1) * 550))

    def change(m, h, sim) -> None:
        moving = m.signals["flow"] > 0
        m.signals["heat"] = np.where(moving, m.signals["heat"] * x, 0.0)
        for p in m.points:
            p.extra.pop("antifreeze_corrected", None)

    home.sensing.append(change)


def sunny_sensor(home: Home, x: float, day: int) -> None:
    """The outdoor sensor hangs in the sun and on a warm wall."""
    from tests.reference.plants_b.records import I_GHI

    def change(values, h, m, sim):
        sun = np.repeat(sim.inputs[:, I_GHI], sim.per_minute)
        return values + x * (0.55 + sun / 300.0)

    home.par["ctl_out_offset"] = 0.55 * x
    home.sensing.append(signal("t_out", change))


def branch(home: Home, x: float, day: int) -> None:
    """The heat meter sits in one branch: it sees space heating only (x 0) or hot water only (x 1)."""
    home.options["heat_at"] = "coil_branch" if x > 1.5 else "space_branch"


def behind_heater(home: Home, x: float, day: int) -> None:
    """The heat meter sits behind the back-up heater, which runs a good deal."""
    home.options["heat_at"] = "after_heater"
    home.par.update(bu_bivalent=home.par["bu_bivalent"] + x, bu_manual=1.0)


def other_load(home: Home, x: float, day: int) -> None:
    """The unit's electricity meter also counts a load of the house (x W at rest, more in the evening)."""

    def change(values, h, m, sim):
        hours = np.repeat(sim.inputs[:, 11], sim.per_minute)
        blocks = len(values) // (20 * sim.per_minute) + 1
        bursts = np.repeat(h.rng.random(blocks) < 0.12, 20 * sim.per_minute)[: len(values)]
        awake = (hours > 6.5) & (hours < 23)
        return values + 0.5 * x + x * 6.0 * bursts * awake

    home.sensing.append(signal("elec", change))


def other_circuit(home: Home, x: float, day: int) -> None:
    """The heat meter's readings belong to another circuit (a neighbour flat's or a stove's)."""

    def change(values, h, m, sim):
        n = len(values)
        per_day = 86400 // m.record_s
        hours = np.repeat(sim.inputs[:, 11], sim.per_minute)
        level = np.repeat(h.rng.gamma(3.0, 0.33, n // per_day + 1), per_day)[:n]
        return (
            900.0
            * x
            * level
            * ((hours > 5) & (hours < 9) | (hours > 16.5) & (hours < 22))
            * (1 + 0.1 * h.rng.standard_normal(n))
        )

    home.sensing.append(signal("heat", change))


def worn_room_sensor(home: Home, x: float, day: int) -> None:
    """A room sensor freezes at one value."""

    def change(values, h, m, sim):
        first = from_day(values, m, day)
        values[first : from_day(values, m, day + x)] = values[first]
        return values

    home.sensing.append(signal("room_b", change))


FAULTS = (
    Fault(
        "data_gap",
        "No readings for days",
        (2.0, 6.0, 20.0),
        gap,
        ("data_gap",),
        ((EL,), ("operating_mode",)),
        (),
        ("unit_stopped",),
        mid=True,
        spacing=3600,
        severity=("note", "note", "watch"),
    ),
    Fault(
        "outdoor_stuck",
        "Outdoor sensor stuck",
        (3.0, 8.0, 30.0),
        stuck,
        ("sensor_stuck", "outdoor_sensor_biased"),
        (("outdoor_temperature",),),
        (),
        (
            "no_weather_compensation",
            "defrost_without_frost",
            "excessive_defrost",
            "heating_out_of_season",
            "unit_stopped",
            "heat_loss_above_design",
            "heat_loss_below_design",
        ),
        mid=True,
        severity=("note", "note", "watch"),
    ),
    Fault(
        "room_stuck",
        "Room sensor stuck",
        (4.0, 10.0, 40.0),
        worn_room_sensor,
        ("sensor_stuck",),
        (("room_temperature",),),
        (),
        ("room_below_target",),
        mid=True,
        severity=("note", "note", "watch"),
    ),
    Fault(
        "register_reset",
        "Running totals reset",
        (1.0, 2.0, 4.0),
        reset,
        ("register_reset",),
        ((EL, HEAT),),
        (),
        ("data_gap",),
        mid=True,
        spacing=3600,
        severity=("note", "note", "note"),
        kinds=("full", "heat_meter", "registers"),
    ),
    Fault(
        "unit_mismatch",
        "Site file names the wrong unit for the heat meter",
        (1.0, 1.0, 1.0),
        wrong_unit,
        ("unit_mismatch", "implausible_efficiency", "heat_meter_disagrees", "meter_misplaced"),
        ((EL, HEAT),),
        (),
        DISTRUST,
        spacing=3600,
        severity=("watch", "watch", "watch"),
        kinds=("full", "heat_meter", "registers"),
    ),
    Fault(
        "swapped",
        "Flow and return sensors exchanged",
        (1.0, 1.0, 1.0),
        swapped,
        ("flow_return_swapped",),
        (("flow_temperature", "return_temperature"),),
        (),
        (*DISTRUST, "buffer_mixing", "low_flow", "flow_temperature_above_curve"),
        severity=("note", "note", "note"),
        kinds=("full", "heat_meter", "controller"),
    ),
    Fault(
        "clock",
        "The gateway's clock is wrong",
        (5.0, 7.0, 10.0),
        clock,
        ("clock_offset",),
        (("solar_irradiance",), ("outdoor_temperature",)),
        (),
        (),
        severity=("note", "note", "note"),
        kinds=("full",),
    ),
    Fault(
        "pulse_heat",
        "Heat meter's pulse value wrong",
        (0.5, 2.0, 10.0),
        scaled_heat,
        ("meter_misplaced", "heat_meter_disagrees", "implausible_efficiency", "unit_mismatch"),
        ((EL, *HYDRONIC), (EL, HEAT)),
        ("pulse_value",),
        (*DISTRUST, "low_flow"),
        spacing=3600,
        severity=("watch", "watch", "watch"),
        kinds=("full", "heat_meter", "registers"),
    ),
    Fault(
        "pulse_electricity",
        "Electricity meter's pulse value wrong",
        (2.0, 0.5, 0.1),
        scaled_electricity,
        (
            "meter_misplaced",
            "implausible_efficiency",
            "unit_mismatch",
            "efficiency_below_expected",
            "performance_below_promise",
        ),
        ((EL, HEAT),),
        ("pulse_value",),
        (*DISTRUST, *SLOW),
        spacing=3600,
        severity=("watch", "watch", "watch"),
        kinds=("full", "heat_meter", "registers"),
    ),
    Fault(
        "antifreeze",
        "Antifreeze not allowed for by the heat meter",
        (1.05, 1.08, 1.11),
        antifreeze,
        ("heat_meter_disagrees",),
        (HYDRONIC,),
        ("antifreeze_uncorrected",),
        ("implausible_efficiency",),
        severity=("note", "note", "note"),
        kinds=("full", "heat_meter"),
        wish={"no_glycol": True},
    ),
    Fault(
        "outdoor_biased",
        "Outdoor sensor in the sun",
        (1.5, 3.0, 6.0),
        sunny_sensor,
        ("outdoor_sensor_biased",),
        (("outdoor_temperature",),),
        (),
        (
            "room_below_target",
            "heat_loss_above_design",
            "capacity_short",
            "no_weather_compensation",
            "defrost_without_frost",
            "excessive_defrost",
            "heating_out_of_season",
            "flow_temperature_above_curve",
        ),
        severity=("note", "note", "watch"),
        kinds=("full",),
    ),
    Fault(
        "meter_branch",
        "Heat meter in one branch only",
        (0.0, 0.0, 2.0),
        branch,
        ("meter_misplaced", "heat_meter_disagrees", "implausible_efficiency"),
        (("operating_mode", *HYDRONIC),),
        ("one_branch_only",),
        (*DISTRUST, "slow_reheat"),
        severity=("watch", "watch", "watch"),
        kinds=("full",),
        wish={"dhw": True},
    ),
    Fault(
        "meter_behind_heater",
        "Heat meter behind the back-up heater",
        (6.0, 10.0, 16.0),
        behind_heater,
        ("meter_misplaced", "heat_meter_disagrees", "backup_heater_use"),
        (("backup_heater_electricity", HEAT),),
        ("behind_heater", "bivalent_set_high"),
        (*DISTRUST, "backup_heater_use"),
        kinds=("full", "heat_meter"),
        wish={"backup": True},
        severity=("watch", "watch", "watch"),
    ),
    Fault(
        "meter_other_load",
        "A load of the house on the unit's electricity meter",
        (60.0, 150.0, 350.0),
        other_load,
        ("meter_misplaced", "high_standby", "efficiency_below_expected", "performance_below_promise"),
        ((EL, HEAT),),
        ("other_load_inside",),
        (*DISTRUST, *SLOW, "short_cycling", "pump_always_on"),
        kinds=("full", "heat_meter"),
    ),
    Fault(
        "meter_other_circuit",
        "Heat meter of another circuit",
        (2.0, 3.0, 5.0),
        other_circuit,
        ("meter_misplaced", "heat_meter_disagrees", "implausible_efficiency"),
        ((EL, HEAT),),
        ("other_circuit",),
        (*DISTRUST, "flow_return_swapped"),
        severity=("watch", "watch", "watch"),
        kinds=("full", "heat_meter", "registers"),
    ),
)
