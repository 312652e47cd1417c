"""Faults: changes of the plant, findings that must result, and consequences."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.reference.plants_c import edits
from tests.reference.plants_c.homes import Change, Home
from tests.reference.plants_c.spec import ON_OFF, RADIATOR, TRV

COSTS = [
    "efficiency_fell",
    "efficiency_below_expected",
    "performance_below_promise",
    "electricity_above_expected",
]
COLD = ["room_below_target", "capacity_short", "backup_heater_use", "flow_temperature_below_curve"]


@dataclass(frozen=True)
class Fault:
    """A fault: how it is built, the codes of which one must be told, and what may be told beside it.

    needs : quantities of which all must be metered, or the demand is dropped
    finest : spacing of the readings beyond which the cause does not show [min]
    least : an effect and how much of it (of energy: in a year) it takes for the fault to matter; below it
        nothing need be told
    """

    build: Callable[[Home, float, float], None]
    must: tuple[str, ...]
    may: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    season: str = "winter"
    late: bool = True  # begins after a healthy time; else it is there from the first day
    severity: str = "watch"
    finest: float = 60.0
    least: tuple[str, float] = ("", 0.0)


def setting(*changes: tuple[str, float], scale: bool = False, ramp: float = 0.0) -> Any:
    """A fault that sets (or scales) numbers of the plant to the given values at full strength."""

    def build(home: Home, day: float, strength: float) -> None:
        for key, value in changes:
            goal = 1.0 + strength * (value - 1.0) if scale else value
            home.changes.append(Change(key, goal, scale, day, ramp))

    return build


def reading(edit: Callable[..., Any]) -> Any:
    """A fault of the readings: `edit(frame, home, day, strength)` changes the table of readings."""

    def build(home: Home, day: float, strength: float) -> None:
        home.edits.append(lambda frame: edit(frame, home, day, strength))

    return build


def built(**values: float) -> Any:
    """A plant that was built so, and whose site file says so; values are factors on the sound plant."""

    def build(home: Home, day: float, strength: float) -> None:
        for key, value in values.items():
            home.spec[key] *= value

    return build


def radiators(home: Home) -> None:
    """Make sure that the heat of a room follows its valve: thermostatic valves."""
    home.spec["control"] = TRV


def low_water(home: Home, day: float, strength: float) -> None:
    """Little water, a control that starts and stops at once, no buffer."""
    s = home.spec
    s["parallel"] = s["pump2_w"] = 0.0
    s["kind0"] = s["kind1"]
    s["c_sup"], s["c_ret"] = 5e4, 72.0 * s["flow"]
    if s["kind0"] == RADIATOR:
        s["c_em0"] *= 0.5
        s["c_em1"] *= 0.5
    s["control"], s["trv_band"] = TRV, 0.6
    s["min_share"] = 0.4
    s["hyst_on"], s["hyst_off"], s["min_run"], s["rest_min"], s["pump_rest"] = 1.5, 1.0, 3.0, 4.0, 1.0


def oversize(home: Home, day: float, strength: float) -> None:
    """A unit more than twice too large for the house, without a buffer; the site file states its size."""
    s = home.spec
    s["parallel"] = s["pump2_w"] = 0.0
    for key in ("q_nom", "flow", "air_kg_s", "frost_full"):
        s[key] *= 1.6 + 0.8 * strength
    s["c_sup"], s["c_ret"] = 6e4, 75.0 * s["flow"]
    s["min_run"], s["rest_min"], s["pump_rest"], s["min_share"] = 4.0, 6.0, 1.0, 0.33
    s["hyst_on"], s["hyst_off"] = 2.0, 2.0
    s["coil_ua"] *= 1.5
    if s["control"] == ON_OFF:
        s["control"] = TRV


def parallel_too_fast(home: Home, day: float, strength: float) -> None:
    """The second pump moves much more water than the unit's own."""
    s = home.spec
    s["parallel"], s["pump2_w"], s["pump_rest"] = 1.0, 60.0, 1.0
    s["c_sup"] = s["c_ret"] = 2.2e5
    s["flow2"] = s["flow"] * (1.5 + 0.8 * strength)
    s["c_ret"] = max(s["c_ret"], 75.0 * s["flow2"])


def fixed_flow(home: Home, day: float, strength: float) -> None:
    """The flow temperature no longer follows the weather."""
    hot = home.spec["f_cold"] + 1.0
    home.changes += [Change("f_cold", hot, day=day), Change("f_warm", hot, day=day)]


def heater_early(home: Home, day: float, strength: float) -> None:
    """The back-up heater helps in mild weather."""
    home.spec["bu_w"] = home.spec["bu_w"] or 6000.0
    if home.spec["bu_below"] < -15.0:
        home.spec["bu_below"] = home.design["outdoor"] - 1.0
    for key, value in (("bu_below", 10.0), ("bu_free", 1.0), ("bu_wait", 6.0)):
        home.changes.append(Change(key, value, day=day))


def with_cylinder(build: Any) -> Any:
    """Give the home a cylinder before the fault is built."""

    def make(home: Home, day: float, strength: float) -> None:
        if home.spec["dhw"] == 0.0:
            home.spec["dhw"], home.spec["dis_c"] = 1.0, 60.0
            home.refill()
        build(home, day, strength)

    return make


def beyond_reach(home: Home, day: float, strength: float) -> None:
    """A cylinder setpoint that the unit's flow temperature cannot reach: its control stops it 2 K beyond."""
    home.spec["flow_max"] = 53.0
    home.spec["setpoint"], home.spec["below"] = 62.0, 54.0


def scaled_coil(home: Home, day: float, strength: float) -> None:
    """Heavy scale: at rated output the coil's water would be 37 to 45 K over the cylinder; 5 to 10 K are
    usual.

    The control charges with water at most 12 K over the setpoint, as many do, so that the output follows what
    the coil still passes.
    """
    home.spec["dhw_over_k"] = 12.0
    passed = home.spec["q_nom"] / (20.0 + 25.0 * strength)
    home.changes.append(Change("coil_ua", passed, day=day, ramp=25.0))


def narrow_window(home: Home, day: float, strength: float) -> None:
    """Reheat only in a short window of the night, for many people."""
    home.spec["litres"] = 180.0
    home.draws *= 1.6
    home.changes += [Change("dhw_from", 120.0, day=day), Change("dhw_to", 240.0, day=day)]


def small_cylinder(home: Home, day: float, strength: float) -> None:
    """A cylinder too small for the people, as the site file says."""
    home.spec["litres"] = 110.0
    home.spec["dhw_share"] = 0.5
    home.people = 5
    home.refill()
    home.draws *= 1.35


def cool_store(home: Home, day: float, strength: float) -> None:
    """Stored water at 43 degC and no disinfection scheduled."""
    s = home.spec
    s["dis_c"], s["setpoint"], s["below"] = 0.0, 44.0, 38.0


def summer_sun(home: Home, day: float, strength: float) -> None:
    """A solar coil drives the cylinder far above its setpoint; nothing limits it."""
    home.changes.append(Change("solar_w", 3500.0, day=day))


def always_disinfecting(home: Home, day: float, strength: float) -> None:
    """The immersion heater holds the cylinder at 74 degC all day."""
    for key, value in (("imm_from", 0.0), ("imm_to", 1440.0), ("imm_c", 74.0)):
        home.changes.append(Change(key, value, day=day))


def stopped(key: str, value: float, lasting: float) -> Any:
    """The unit gives nothing for some days in winter, until the record ends."""

    def build(home: Home, day: float, strength: float) -> None:
        home.changes.append(Change(key, value, day=home.days - lasting))

    return build


def promised_too_much(home: Home, day: float, strength: float) -> None:
    """The design promised a seasonal performance that this unit cannot have."""
    home.design["promise"] = 1.3 + 0.2 * strength


def glycol_free(factor: float) -> Any:
    """The heat meter counts too much against its own flow and temperatures."""

    def build(home: Home, day: float, strength: float) -> None:
        home.edits.append(lambda frame: edits.scale_heat(frame, home, 0.0, factor))

    return build


HEAT = ("heat_output",)
TEMPS = ("flow_temperature", "return_temperature")
CYL = ("cylinder_temperature",)
BAR = ("system_pressure",)
DOUBT = (
    "meter_misplaced",
    "implausible_efficiency",
    "unit_mismatch",
    "heat_meter_disagrees",
    "efficiency_below_expected",
    "performance_below_promise",
    "heat_loss_below_design",
    "heat_loss_above_design",
    "capacity_short",
    "efficiency_fell",
)

FAULTS: dict[str, Fault] = {
    "dirty_coil": Fault(
        setting(("air_factor", 0.42), scale=True, ramp=15),
        ("excessive_defrost", "efficiency_fell"),
        ("defrost_without_frost", *COSTS, *COLD),
        ("coil_airflow",),
        ("operating_mode", *HEAT),
        finest=2.0,
    ),
    "short_defrost_timer": Fault(
        setting(("defrost_timer", 22.0), ("defrost_longest", 6.0)),
        ("excessive_defrost", "defrost_without_frost"),
        (*COSTS, *COLD),
        (),
        ("operating_mode",),
        late=False,
    ),
    "defrost_sensor": Fault(
        setting(("defrost_timer", 40.0), ("coil_bias", 8.0)),
        ("defrost_without_frost", "excessive_defrost"),
        (*COSTS, *COLD),
        (),
        ("operating_mode",),
        "spring",
    ),
    "oversize": Fault(
        oversize,
        ("short_cycling",),
        ("low_flow", "flow_temperature_above_curve", *COSTS),
        ("oversized_for_mild_load", "low_water_volume"),
        (),
        "spring",
        late=False,
    ),
    "low_water": Fault(
        low_water,
        ("short_cycling",),
        (*COSTS, "flow_temperature_above_curve"),
        ("low_water_volume", "oversized_for_mild_load"),
        (),
        "spring",
        late=False,
    ),
    "low_flow": Fault(
        setting(("flow_factor", 0.25), scale=True),
        ("low_flow", "falling_flow"),
        ("slow_reheat", "reheat_incomplete", "short_cycling", "buffer_mixing", *COSTS, *COLD),
        ("strainer_or_air", "pump_setting"),
        TEMPS,
        late=False,
    ),
    "falling_flow": Fault(
        setting(("flow_factor", 0.25), scale=True, ramp=45),
        ("falling_flow", "low_flow"),
        ("slow_reheat", "reheat_incomplete", "short_cycling", "buffer_mixing", *COSTS, *COLD),
        ("strainer_clogging", "strainer_or_air"),
        ("flow_rate",),
    ),
    "buffer_mixing": Fault(
        parallel_too_fast,
        ("buffer_mixing",),
        (*COSTS, *COLD),
        ("secondary_flow_exceeds_primary",),
        ("distribution_flow_temperature", *TEMPS),
        late=False,
    ),
    "curve_high": Fault(
        setting(("manual_offset", 9.0)),
        ("flow_temperature_above_curve",),
        COSTS,
        ("curve_set_high", "manual_override"),
        ("flow_temperature",),
    ),
    "fixed_flow": Fault(
        fixed_flow,
        ("no_weather_compensation", "flow_temperature_above_curve"),
        (*COSTS, "short_cycling"),
        ("fixed_flow_setting", "manual_override"),
        ("flow_temperature",),
    ),
    "heater_early": Fault(
        heater_early, ("backup_heater_use",), COSTS, ("bivalent_set_high",), ("backup_heater_electricity",)
    ),
    "immersion_timer": Fault(
        with_cylinder(setting(("imm_from", 270.0), ("imm_to", 480.0), ("imm_c", 60.0))),
        ("immersion_use",),
        (*COSTS, "water_too_hot"),
        ("immersion_timer_on",),
        ("immersion_electricity",),
    ),
    "pump_always": Fault(
        setting(("pump_always", 1.0)),
        ("pump_always_on",),
        COSTS,
        (),
        ("circulation_pump_electricity",),
        "summer",
        late=False,
        least=("pump_kwh", 25.0),
    ),
    "out_of_season": Fault(
        setting(("heat_limit", 26.0), ("f_warm", 32.0), ("control", 0.0)),
        ("heating_out_of_season",),
        ("flow_temperature_above_curve", "short_cycling", *COSTS),
        (),
        HEAT,
        "summer",
        late=False,
    ),
    "refrigerant_lost": Fault(
        setting(("cop_factor", 0.75), ("cap_factor", 0.8), scale=True),
        ("efficiency_below_expected", "performance_below_promise"),
        ("excessive_defrost", "slow_reheat", *COSTS, *COLD),
        (),
        HEAT,
        late=False,
    ),
    "efficiency_step": Fault(
        setting(("cop_factor", 0.78), scale=True),
        ("efficiency_fell", "efficiency_below_expected"),
        COSTS,
        (),
        HEAT,
    ),
    "efficiency_slide": Fault(
        setting(("cop_factor", 0.74), ("cap_factor", 0.85), scale=True, ramp=30),
        ("efficiency_fell", "efficiency_below_expected"),
        (*COSTS, *COLD),
        (),
        HEAT,
    ),
    "leaky_house": Fault(
        setting(("ua0", 1.7), ("ua1", 1.7), ("ach_base", 1.5), scale=True),
        ("heat_loss_above_design",),
        (*COSTS, *COLD, "flow_temperature_above_curve"),
        (),
        ("outdoor_temperature", *HEAT),
        late=False,
    ),
    # with valves: rooms that nobody controls grow too warm, and open windows undo the tightness
    "tight_house": Fault(
        lambda h, d, s: (
            radiators(h),
            setting(("ua0", 0.5), ("ua1", 0.5), ("ach_base", 0.7), scale=True)(h, d, s),
        ),
        ("heat_loss_below_design",),
        ("short_cycling",),
        (),
        ("outdoor_temperature", *HEAT),
        late=False,
        severity="note",
    ),
    "undersize": Fault(
        built(q_nom=0.55, flow=0.6, air_kg_s=0.55, frost_full=0.55),
        ("capacity_short", "room_below_target"),
        ("slow_reheat", "hot_water_shortfall", "buffer_mixing", *COSTS, *COLD),
        ("capacity_short",),
        ("outdoor_temperature", *HEAT),
        late=False,
    ),
    "curve_low": Fault(
        setting(("manual_offset", -9.0)),
        ("room_below_target",),
        ("capacity_short", "flow_temperature_below_curve"),
        ("curve_too_low",),
        ("room_temperature",),
    ),
    "valve_stuck": Fault(
        lambda h, d, s: (radiators(h), setting(("valve1_max", 0.03))(h, d, s)),
        ("room_below_target",),
        ("short_cycling",),
        ("zone_not_opening",),
        ("room_temperature",),
    ),
    "scaled_coil": Fault(
        with_cylinder(scaled_coil),
        ("slow_reheat", "reheat_incomplete"),
        ("hot_water_shortfall", *COSTS),
        ("coil_or_scale",),
        CYL,
        least=("electricity_kwh", 25.0),
    ),
    "beyond_reach": Fault(
        with_cylinder(beyond_reach),
        ("reheat_incomplete",),
        ("slow_reheat", "hot_water_shortfall", *COSTS),
        ("setpoint_above_reach",),
        CYL,
        late=False,
    ),
    "narrow_window": Fault(
        with_cylinder(narrow_window), ("hot_water_shortfall",), ("slow_reheat",), ("reheat_window",), CYL
    ),
    "small_cylinder": Fault(
        with_cylinder(small_cylinder),
        ("hot_water_shortfall",),
        ("slow_reheat", "short_cycling"),
        ("cylinder_small", "reheat_slow"),
        CYL,
        late=False,
    ),
    "circulation": Fault(
        with_cylinder(setting(("loop_ua", 7.0))),
        ("high_standing_loss",),
        ("hot_water_shortfall", *COSTS),
        ("secondary_circulation", "insulation"),
        CYL,
    ),
    "disinfection_dead": Fault(
        with_cylinder(setting(("imm_w", 1.0))),
        ("pasteurisation_missed",),
        ("disinfection_lacking", "reheat_incomplete"),
        (),
        CYL,
    ),
    "diverter": Fault(
        with_cylinder(setting(("leak_share", 0.3))),
        ("diverter_passing",),
        (
            "slow_reheat",
            "reheat_incomplete",
            "high_standing_loss",
            "heating_out_of_season",
            "pasteurisation_missed",
            "disinfection_lacking",
            "immersion_use",
            *COSTS,
            *COLD,
        ),
        (),
        (*CYL, "operating_mode"),
    ),
    "pressure_leak": Fault(setting(("leak_l_day", 0.05)), ("pressure_falling", "pressure_low"), (), (), BAR),
    "pressure_low": Fault(
        setting(("vessel_bar", 0.3), ("fill_bar", 0.4)),
        ("pressure_low",),
        ("pressure_falling", "pressure_swings"),
        (),
        BAR,
        late=False,
    ),
    "filling_loop": Fault(
        setting(("leak_l_day", -0.15)), ("pressure_high",), ("pressure_swings",), ("filling_loop_open",), BAR
    ),
    "vessel_flat": Fault(
        setting(("vessel_litres", 1.6)),
        ("pressure_swings", "pressure_high"),
        ("pressure_low", "pressure_falling"),
        ("vessel_empty",),
        BAR,
    ),
    "no_power": Fault(
        stopped("powered", 0.0, 4.0),
        ("unit_stopped",),
        (
            "data_gap",
            "frost_risk",
            "hot_water_shortfall",
            "disinfection_lacking",
            "pasteurisation_missed",
            *COLD,
        ),
        ("no_power",),
        severity="act",
    ),
    "locked_out": Fault(
        stopped("locked", 1.0, 4.0),
        ("unit_stopped", "fault_reported"),
        (
            "hot_water_shortfall",
            "disinfection_lacking",
            "pasteurisation_missed",
            "pump_always_on",
            "immersion_use",
            *COLD,
        ),
        ("locked_out",),
        severity="act",
    ),
    "switched_off": Fault(
        stopped("heating_on", 0.0, 7.0),
        ("unit_stopped", "room_below_target"),
        COLD,
        ("switched_off",),
        ("room_temperature",),
    ),
    "trips": Fault(
        setting(("trip_rate", 0.12)),
        ("fault_reported",),
        ("short_cycling", "unit_stopped", *COSTS, *COLD),
        (),
        ("fault_code",),
    ),
    "disinfection_stuck": Fault(
        with_cylinder(always_disinfecting),
        ("water_too_hot",),
        ("immersion_use", "high_standing_loss", *COSTS),
        ("disinfection_stuck",),
        CYL,
    ),
    "solar_unlimited": Fault(
        with_cylinder(summer_sun), ("water_too_hot",), (), ("other_source",), CYL, "summer"
    ),
    "cool_store": Fault(
        with_cylinder(cool_store),
        ("disinfection_lacking",),
        ("hot_water_shortfall",),
        ("none_scheduled", "setpoint_too_low"),
        CYL,
        late=False,
    ),
    "standby": Fault(setting(("standby_w", 140.0)), ("high_standby",), COSTS, (), (), "summer", late=False),
    "overpromised": Fault(
        promised_too_much,
        ("performance_below_promise",),
        ("electricity_above_expected",),
        (),
        HEAT,
        late=False,
    ),
    "gaps": Fault(reading(edits.gaps), ("data_gap",)),
    "stuck_outdoor": Fault(
        reading(edits.stuck),
        ("sensor_stuck",),
        (
            "outdoor_sensor_biased",
            "heat_loss_above_design",
            "heat_loss_below_design",
            "flow_temperature_above_curve",
            "no_weather_compensation",
        ),
        (),
        ("outdoor_temperature",),
    ),
    "pulse_value": Fault(reading(edits.double_heat), DOUBT[:4], DOUBT, ("pulse_value",), HEAT, late=False),
    "swapped": Fault(
        reading(edits.swap),
        ("flow_return_swapped",),
        ("heat_meter_disagrees", "low_flow", "flow_temperature_above_curve", "implausible_efficiency"),
        (),
        TEMPS,
        late=False,
    ),
    "one_branch": Fault(
        reading(edits.branch),
        ("meter_misplaced", "heat_meter_disagrees", "efficiency_below_expected", "implausible_efficiency"),
        DOUBT,
        ("one_branch_only",),
        (*HEAT, "operating_mode"),
        late=False,
    ),
    "clock": Fault(
        reading(edits.clock),
        ("clock_offset",),
        ("heat_meter_disagrees", "implausible_efficiency"),
        (),
        ("flow_temperature", *HEAT),
        late=False,
    ),
    "heat_meter": Fault(
        glycol_free(1.22), ("heat_meter_disagrees",), DOUBT, (), (*HEAT, "flow_rate", *TEMPS), late=False
    ),
    "sunny_sensor": Fault(
        reading(edits.sunny),
        ("outdoor_sensor_biased",),
        (
            "heat_loss_above_design",
            "heat_loss_below_design",
            "flow_temperature_above_curve",
            "heating_out_of_season",
            "efficiency_below_expected",
        ),
        (),
        ("outdoor_temperature", "solar_irradiance"),
        "spring",
        late=False,
    ),
    "reset": Fault(reading(edits.reset), ("register_reset",), (), (), (), severity="note"),
    "kilowatts": Fault(
        reading(edits.kilowatts),
        ("unit_mismatch", "implausible_efficiency", "meter_misplaced", "heat_meter_disagrees"),
        (*DOUBT, "high_standby"),
        (),
        (),
        late=False,
    ),
}
