"""Faults of the refrigeration unit, the hydraulics, the controls and the house."""

import numpy as np

from tests.reference.plants_b.faults import Fault, later, later_scale, slide
from tests.reference.plants_b.homes import Home, promise

EL, HEAT = "heat_pump_electricity", "heat_output"
SPF = ((EL, HEAT),)
RUNS = (("heat_pump_electricity",), ("compressor_speed",), ("operating_mode",), ("compressor_starts",))
FLOW = (("flow_rate", "flow_temperature", "return_temperature"), ("flow_temperature", "return_temperature"))
SLOW = (
    "efficiency_below_expected",
    "performance_below_promise",
    "electricity_above_expected",
    "efficiency_fell",
)
DEFROSTS = (("defrost_active",), ("operating_mode",))


def smaller_swing(home: Home) -> None:
    """Settings with little hysteresis and short minimum times."""
    home.par.update(hyst_on=2.5, hyst_off=2.5, min_off_s=240.0, min_on_s=150.0, ctl_kind=0.0, pump_kind=0.0)


def oversized(home: Home, x: float, day: int) -> None:
    """The unit was chosen far too large (the wish does that); little hysteresis makes it worse."""
    smaller_swing(home)
    home.par["n_min"] = 0.3


def chopping(home: Home, x: float, day: int) -> None:
    """Time-proportional room thermostats interrupt the unit."""
    smaller_swing(home)
    home.par.update(
        stat_a=2.0, stat_b=2.0, tpi_s=x, stat_band=2.2, trv_a=0.0, trv_b=0.0, pump_idle=0.0, setback_slope=0
    )
    home.par.update(curve_shift=3.0)


def little_water(home: Home, x: float, day: int) -> None:
    """Small water volume in circulation and most circuits throttled."""
    smaller_swing(home)
    home.par["c_ret"] = 20000.0
    for zone in "ab":
        home.par[f"em_c_{zone}"] *= x


def restricted(home: Home, x: float, day: int) -> None:
    """A blocked strainer lets little flow through."""
    smaller_swing(home)
    home.par["k_strainer"] += strainer_for(home, x)


def strainer_for(home: Home, share: float) -> float:
    """Added resistance that leaves `share` of the flow."""
    p = home.par
    total = p["pump_a"] + p["k_unit"] + p["k_strainer"] + 1.0 / (p["cond_a"] + p["cond_b"]) ** 2
    return total * (1.0 / share**2 - 1.0)


def clogging(home: Home, x: float, day: int) -> None:
    """The strainer clogs over two to three months."""
    home.par["pump_kind"] = 0.0
    goal = home.par["k_strainer"] + strainer_for(home, x)
    slide(home, day, min(80, home.days - day - 3), "k_strainer", goal)


def strainer(home: Home, x: float, day: int) -> None:
    """A strainer partly blocked since the start, with air in the water."""
    home.par.update(pump_kind=0.0, air=0.15)
    home.par["k_strainer"] += strainer_for(home, x)


def pump_low(home: Home, x: float, day: int) -> None:
    """The pump is set too low."""
    home.par.update(pump_kind=0.0, pump_speed=0.9 * x)


def mixing(home: Home, x: float, day: int) -> None:
    """The secondary pump moves much more water than the primary."""
    p = home.par
    zones = p["cond_a"] + p["cond_b"]
    want = x * home.site["heat_pump"]["flow_m3_per_h"]
    p["sec_speed"] = float(np.sqrt(want**2 * (p["pump_a"] + 1 / zones**2) / (0.8 * p["pump_h0"])))
    p.update(pump_kind=0.0, trv_a=0.0, trv_b=0.0)


def cold_house(home: Home, x: float, day: int) -> None:
    """The house loses more (or less) heat than designed."""
    for name in ("ua_a", "ua_b", "vent_a", "vent_b"):
        home.par[name] *= x


def eager_heater(home: Home, x: float, day: int) -> None:
    """The back-up heater works together with the unit far above the design's bivalent temperature."""
    home.par.update(
        bu_bivalent=home.par["bu_bivalent"] + x, bu_manual=1.0, bu_max=max(3000.0, home.par["bu_max"])
    )


def small_unit_heater(home: Home, x: float, day: int) -> None:
    """The unit is too small: the back-up heater works in weather the unit was to carry."""
    design = home.site["design"]
    design["bivalent_c"] = round(design["outdoor_c"] + 1.5, 1)
    home.par.update(bu_max=6000.0, bu_bivalent=5.0, bu_dm=300.0)


def worn(home: Home, x: float, day: int) -> None:
    """Compressor efficiency falls in one step."""
    later(home, day, wear=x)


def low_charge(home: Home, x: float, day: int) -> None:
    """Refrigerant is lost over four weeks."""
    slide(home, day, 28, "charge", x)


def override(home: Home, x: float, day: int) -> None:
    """Someone sets a fixed, high flow temperature by hand."""
    y = home.par["curve_y0"] + x
    later(home, day, fixed_flow=y, flow_set_max=y)


def fixed(home: Home, x: float, day: int) -> None:
    """A fixed flow temperature in all weathers."""
    home.par.update(fixed_flow=home.par["curve_y0"] - 4.0 + x, flow_set_max=70.0, room_gain=0.0)


def dear(home: Home, x: float, day: int) -> None:
    """Poor efficiency and a curve set too high together."""
    home.par["wear"] = x
    raised_curve(home, 5.0, day)


def pump_dead(home: Home, x: float, day: int) -> None:
    """The circulation pump fails for x days; the unit trips again and again."""
    later(home, day, pump_failed=1.0)
    later(home, min(home.days - 0.1, day + x), pump_failed=0.0)


def summer_heat(home: Home, x: float, day: int) -> None:
    """The heating limit is set high: warm days are heated."""
    home.par.update(heat_limit=x, curve_shift=3.0)


def raised_curve(home: Home, x: float, day: int) -> None:
    """The curve is set higher than designed."""
    home.par.update(curve_shift=x, flow_set_max=70.0)


FAULTS = (
    Fault(
        "cycling_oversized",
        "Unit far too large for the house",
        (1.9, 2.6, 3.4),
        oversized,
        ("short_cycling",),
        RUNS,
        ("oversized_for_mild_load",),
        SLOW,
        wish={"buffer": 0, "controls": 0, "backup": False, "emitters": "radiator"},
        spacing=60,
    ),
    Fault(
        "cycling_thermostat",
        "Room thermostats chop the unit's runs",
        (1500, 1080, 720),
        chopping,
        ("short_cycling",),
        RUNS,
        ("thermostat_chopping",),
        (*SLOW, "flow_temperature_above_curve", "no_weather_compensation"),
        wish={"buffer": 0, "emitters": "radiator"},
        spacing=60,
    ),
    Fault(
        "cycling_low_volume",
        "Too little water in circulation",
        (0.35, 0.22, 0.12),
        little_water,
        ("short_cycling",),
        RUNS,
        ("low_water_volume",),
        (*SLOW, "excessive_defrost", "room_below_target"),
        wish={"buffer": 0, "emitters": "radiator", "controls": 0, "oversize": 1.3},
        spacing=60,
    ),
    Fault(
        "cycling_flow",
        "Blocked strainer ends the runs early",
        (0.6, 0.45, 0.34),
        restricted,
        ("short_cycling", "low_flow"),
        FLOW,
        ("flow_restriction", "strainer_or_air"),
        (
            *SLOW,
            "room_below_target",
            "excessive_defrost",
            "fault_reported",
            "slow_reheat",
            "reheat_incomplete",
            "capacity_short",
        ),
        wish={"buffer": 0, "emitters": "radiator"},
    ),
    Fault(
        "defrost_airflow",
        "Coil blocked with leaves or dirt",
        (0.7, 0.5, 0.38),
        lambda h, x, d: later(h, d, air_factor=x),
        ("excessive_defrost", "efficiency_fell", "efficiency_below_expected"),
        (*DEFROSTS, (EL, HEAT)),
        ("coil_airflow",),
        (*SLOW, "capacity_short", "room_below_target", "defrost_without_frost"),
        mid=True,
    ),
    Fault(
        "defrost_low_refrigerant",
        "Refrigerant leaks",
        (0.82, 0.7, 0.58),
        low_charge,
        ("excessive_defrost", "efficiency_fell", "efficiency_below_expected", "capacity_short"),
        (*DEFROSTS, (EL, HEAT)),
        ("low_refrigerant_symptom",),
        (*SLOW, "room_below_target", "defrost_without_frost", "backup_heater_use", "slow_reheat"),
        mid=True,
    ),
    Fault(
        "defrost_heat",
        "Defrosts lack heat from the water",
        (0.6, 0.42, 0.3),
        lambda h, x, d: h.par.update(
            df_water=h.par["df_water"] * x, df_max_s=900.0, df_elec=h.par["df_elec"] * 0.7
        ),
        ("excessive_defrost",),
        DEFROSTS,
        ("insufficient_defrost_heat",),
        (*SLOW, "room_below_target", "capacity_short"),
    ),
    Fault(
        "defrost_sensor",
        "Coil sensor reads low: defrosts without frost",
        (-4.0, -7.0, -10.0),
        lambda h, x, d: h.par.update(coil_offset=x, df_kind=0.0),
        ("defrost_without_frost", "excessive_defrost"),
        DEFROSTS,
        ("sensor_fault",),
        SLOW,
        spacing=60,
    ),
    Fault(
        "curve_high",
        "Heating curve set above the design",
        (3.0, 6.0, 10.0),
        raised_curve,
        ("flow_temperature_above_curve",),
        (("flow_temperature",),),
        ("curve_set_high",),
        (*SLOW, "short_cycling", "heat_loss_above_design"),
        severity=("note", "watch", "watch"),
    ),
    Fault(
        "manual_override",
        "Flow temperature fixed by hand",
        (2.0, 6.0, 10.0),
        override,
        ("flow_temperature_above_curve", "no_weather_compensation"),
        (("flow_temperature",),),
        ("manual_override", "fixed_flow_setting"),
        (*SLOW, "short_cycling"),
        mid=True,
    ),
    Fault(
        "fixed_flow",
        "Flow temperature ignores the weather",
        (0.0, 2.0, 6.0),
        fixed,
        ("no_weather_compensation", "flow_temperature_above_curve"),
        (("flow_temperature", "outdoor_temperature"),),
        ("fixed_flow_setting",),
        (*SLOW, "short_cycling"),
        severity=("watch", "watch", "watch"),
    ),
    Fault(
        "low_flow_pump",
        "Pump set too low",
        (0.68, 0.52, 0.42),
        pump_low,
        ("low_flow",),
        FLOW,
        ("pump_setting",),
        (*SLOW, "short_cycling", "room_below_target", "slow_reheat", "capacity_short"),
        wish={"buffer": 1},
        spacing=900,
    ),
    Fault(
        "low_flow_strainer",
        "Strainer partly blocked, air in the water",
        (0.68, 0.52, 0.42),
        strainer,
        ("low_flow",),
        FLOW,
        ("strainer_or_air",),
        (
            *SLOW,
            "short_cycling",
            "room_below_target",
            "slow_reheat",
            "fault_reported",
            "capacity_short",
            "falling_flow",
        ),
        wish={"buffer": 1},
        spacing=900,
    ),
    Fault(
        "falling_flow",
        "Strainer clogs over weeks",
        (0.8, 0.62, 0.45),
        clogging,
        ("falling_flow", "low_flow"),
        (("flow_rate",),),
        ("strainer_clogging", "strainer_or_air"),
        (*SLOW, "short_cycling", "slow_reheat", "room_below_target", "fault_reported", "capacity_short"),
        mid=True,
        spacing=900,
        wish={"controls": 1},
    ),
    Fault(
        "buffer_mixing",
        "Secondary flow exceeds primary flow at the buffer",
        (1.5, 2.0, 2.6),
        mixing,
        ("buffer_mixing",),
        (("distribution_flow_temperature", "flow_temperature"),),
        ("secondary_flow_exceeds_primary",),
        (*SLOW, "room_below_target"),
        wish={"buffer": 2, "controls": 1},
    ),
    Fault(
        "backup_bivalent",
        "Back-up heater runs far above the bivalent temperature",
        (4.0, 8.0, 14.0),
        eager_heater,
        ("backup_heater_use",),
        (("backup_heater_electricity",),),
        ("bivalent_set_high",),
        SLOW,
        spacing=3600,
        wish={"backup": True},
    ),
    Fault(
        "backup_capacity",
        "Unit too small: the back-up heater carries part of the load",
        (0.85, 0.68, 0.55),
        small_unit_heater,
        ("backup_heater_use", "capacity_short"),
        (("backup_heater_electricity",),),
        ("capacity_shortfall",),
        (*SLOW, "room_below_target", "slow_reheat"),
        spacing=3600,
        wish={"backup": False},
    ),
    Fault(
        "high_standby",
        "High electricity draw at rest",
        (35.0, 80.0, 150.0),
        lambda h, x, d: h.par.update(crankcase=x),
        ("high_standby",),
        ((EL,),),
        (),
        SLOW,
        wish={"controls": 2},
    ),
    Fault(
        "pump_always_on",
        "Pump runs with nothing to do",
        (2.0, 2.0, 2.0),
        lambda h, x, d: h.par.update(pump_idle=x),
        ("pump_always_on",),
        (("flow_rate",), ("circulation_pump_electricity",)),
        (),
        ("high_standby",),
        start="03-10",
        severity=("watch", "watch", "watch"),
    ),
    Fault(
        "out_of_season",
        "Heating runs in warm weather",
        (19.0, 22.0, 26.0),
        summer_heat,
        ("heating_out_of_season",),
        ((EL, "outdoor_temperature"), ("operating_mode", "outdoor_temperature")),
        (),
        ("short_cycling", "flow_temperature_above_curve", "heat_loss_above_design"),
        start="04-05",
        wish={"controls": 0, "dhw": False},
        spacing=900,
    ),
    Fault(
        "efficiency_below",
        "Unit never reached its rating",
        (0.9, 0.78, 0.66),
        lambda h, x, d: h.par.update(wear=x),
        ("efficiency_below_expected", "performance_below_promise"),
        SPF,
        (),
        SLOW,
        spacing=3600,
    ),
    Fault(
        "efficiency_step",
        "Efficiency fell in one step",
        (0.9, 0.8, 0.68),
        worn,
        ("efficiency_fell", "efficiency_below_expected"),
        SPF,
        (),
        SLOW,
        mid=True,
        spacing=3600,
    ),
    Fault(
        "efficiency_slide",
        "Efficiency slides down",
        (0.88, 0.76, 0.64),
        lambda h, x, d: slide(h, d, min(60, h.days - d - 5), "wear", x),
        ("efficiency_fell", "efficiency_below_expected"),
        SPF,
        (),
        SLOW,
        mid=True,
        spacing=3600,
    ),
    Fault(
        "heat_loss_above",
        "House leakier than designed",
        (1.22, 1.42, 1.7),
        cold_house,
        ("heat_loss_above_design", "capacity_short", "room_below_target"),
        ((HEAT, "room_temperature"), (HEAT, "outdoor_temperature")),
        (),
        ("backup_heater_use", "flow_temperature_above_curve", "electricity_above_expected"),
        spacing=3600,
    ),
    Fault(
        "heat_loss_below",
        "House tighter than designed",
        (0.78, 0.62, 0.48),
        cold_house,
        ("heat_loss_below_design",),
        ((HEAT, "room_temperature"), (HEAT, "outdoor_temperature")),
        (),
        ("short_cycling",),
        spacing=3600,
        severity=("note", "note", "note"),
    ),
    Fault(
        "capacity_short",
        "Unit too small, no back-up heater",
        (0.86, 0.7, 0.55),
        lambda h, x, d: None,
        ("capacity_short", "room_below_target"),
        (("room_temperature", HEAT), ("room_temperature", EL)),
        ("capacity_short",),
        (*SLOW, "slow_reheat", "hot_water_shortfall", "heat_loss_above_design"),
        wish={"backup": False, "shift_k": -2.5},
        spacing=3600,
    ),
    Fault(
        "curve_low",
        "Rooms cold: heating curve set too low",
        (-2.5, -5.0, -8.0),
        lambda h, x, d: h.par.update(curve_shift=x, room_gain=0.0),
        ("room_below_target",),
        (("room_temperature",),),
        ("curve_too_low",),
        ("capacity_short",),
        spacing=3600,
    ),
    Fault(
        "zone_stuck",
        "A zone valve stays shut",
        (0.25, 0.06, 0.0),
        lambda h, x, d: later(h, d, valve_b=x),
        ("room_below_target",),
        (("room_temperature",),),
        ("zone_not_opening",),
        ("capacity_short", "short_cycling", "low_flow", "heat_loss_below_design", "falling_flow"),
        mid=True,
        spacing=3600,
        wish={"controls": 3},
    ),
    Fault(
        "fan_worn",
        "Fan slow: less air, dirty coil",
        (0.8, 0.6, 0.45),
        lambda h, x, d: later_scale(h, d, air_factor=x, ua_evap=0.9),
        ("excessive_defrost", "efficiency_fell", "efficiency_below_expected"),
        (*DEFROSTS, (EL, HEAT)),
        ("coil_airflow",),
        (*SLOW, "capacity_short"),
        mid=True,
    ),
    Fault(
        "electricity_above",
        "Far more electricity than the design needs",
        (0.8, 0.66, 0.52),
        dear,
        (
            "electricity_above_expected",
            "efficiency_below_expected",
            "performance_below_promise",
            "flow_temperature_above_curve",
        ),
        ((EL, "outdoor_temperature"),),
        (),
        (*SLOW, "heat_loss_above_design", "short_cycling"),
        spacing=3600,
        kinds=("electricity_only", "registers", "heat_meter", "full"),
        wish={"backup": False},
    ),
    Fault(
        "promise_broken",
        "Seasonal performance far below the design's promise",
        (0.9, 0.78, 0.66),
        dear,
        ("performance_below_promise", "efficiency_below_expected"),
        SPF,
        (),
        (*SLOW, "flow_temperature_above_curve", "short_cycling", "heat_loss_above_design"),
        spacing=3600,
        tune=promise,
    ),
    Fault(
        "pump_dead",
        "Circulation pump dead, the unit trips",
        (1.0, 3.0, 8.0),
        pump_dead,
        ("unit_stopped", "fault_reported", "low_flow", "frost_risk"),
        (("fault_code",), ("flow_rate", EL)),
        (),
        (
            *SLOW,
            "short_cycling",
            "room_below_target",
            "hot_water_shortfall",
            "pasteurisation_missed",
            "falling_flow",
            "capacity_short",
            "sensor_stuck",
            "high_standby",
        ),
        mid=True,
    ),
)
OVERSIZE_BY_X = ("cycling_oversized", "backup_capacity", "capacity_short")
