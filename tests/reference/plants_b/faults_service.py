"""Faults of hot water, pressure and operation: stops, lock-outs, legionella and scald risks."""

from tests.reference.plants_b.faults import Fault, later, state
from tests.reference.plants_b.faults_heating import EL, SLOW
from tests.reference.plants_b.homes import Home

CYL = (("cylinder_temperature",),)
REHEAT = (
    ("cylinder_temperature", "operating_mode"),
    ("cylinder_temperature", EL),
    ("cylinder_temperature", "diverter_to_hot_water"),
)
BAR = (("system_pressure",),)
ALIVE = ((EL, "outdoor_temperature"), ("operating_mode", "outdoor_temperature"))
DEAD = (
    "frost_risk",
    "room_below_target",
    "hot_water_shortfall",
    "pasteurisation_missed",
    "unit_stopped",
    "fault_reported",
    "disinfection_lacking",
    "capacity_short",
    "falling_flow",
    "low_flow",
    "data_gap",
    "sensor_stuck",
    "backup_heater_use",
    "immersion_use",
    "heat_loss_below_design",
)


def beyond_reach(home: Home, x: float, day: int) -> None:
    """The set point lies above the unit's reach; the immersion heater finishes every reheat."""
    home.par.update(flow_max=57.0, tc_max=66.0, dhw_set=x, dhw_on=x - 7, imm_max=3000.0, imm_assist=1.0)
    home.site["hot_water"].update(setpoint_c=x, reheat_below_c=x - 7)
    home.site["heat_pump"]["max_flow_c"] = 57.0


def gives_up(home: Home, x: float, day: int) -> None:
    """As above, and nothing finishes the reheat."""
    beyond_reach(home, x, day)
    home.par.update(imm_assist=0.0, dis_on=0.0, imm_max=0.0)
    home.site["hot_water"].pop("pasteurise_c", None)
    home.site["hot_water"].pop("pasteurise_every_days", None)


def window(home: Home, x: float, day: int) -> None:
    """Reheating is allowed for a few hours at night only."""
    home.par.update(
        dhw_from=2.0, dhw_to=2.0 + x, dhw_from2=0.0, dhw_to2=0.0, dhw_set=46.0, dhw_on=42.0, cyl_l=150.0
    )
    home.site["hot_water"].update(setpoint_c=46.0, reheat_below_c=42.0, cylinder_litres=150)
    home.occupants.litres = 50.0


def small_cylinder(home: Home, x: float, day: int) -> None:
    """Many people and a small cylinder."""
    home.par.update(cyl_l=x, dhw_set=47.0, dhw_on=39.0, coil_ua=600.0)
    home.site["hot_water"].update(setpoint_c=47.0, reheat_below_c=39.0, cylinder_litres=int(x))
    home.occupants.litres = 65.0


def no_disinfection(home: Home, x: float, day: int) -> None:
    """Lukewarm storage and no thermal disinfection."""
    home.par.update(dis_on=0.0, dhw_set=x, dhw_on=x - 6, imm_max=0.0)
    table = home.site["hot_water"]
    table.update(setpoint_c=x, reheat_below_c=x - 6)
    table.pop("pasteurise_c", None)
    table.pop("pasteurise_every_days", None)


def lukewarm_disinfection(home: Home, x: float, day: int) -> None:
    """Disinfection is scheduled at too low a temperature."""
    home.par.update(dis_on=1.0, dis_set=x, dhw_set=46.0, dhw_on=40.0, imm_max=0.0)
    home.site["hot_water"].update(
        setpoint_c=46.0, reheat_below_c=40.0, pasteurise_c=x - 1, pasteurise_every_days=7
    )


def missed(home: Home, x: float, day: int) -> None:
    """The scheduled disinfection stops running, or stays short of its temperature (x: what it reaches)."""
    later(home, day, imm_max=0.0, **({"dis_on": 0.0} if x < 50 else {"dis_set": x, "dis_hold_s": 600.0}))


def stuck_disinfection(home: Home, x: float, day: int) -> None:
    """The disinfection programme does not end."""
    home.par.update(imm_max=3000.0)
    later(home, day, dis_stuck=1.0, dis_set=x, dhw_set=x)


def solar(home: Home, x: float, day: int) -> None:
    """Solar panels without a limit overheat the cylinder."""
    home.par.update(solar_w=x, solar_max=88.0)


def stopped(home: Home, x: float, day: int, **values: float) -> None:
    """The unit stops for x days."""
    back = {name: home.par[name] for name in values}
    later(home, day, **values)
    if day + x < home.days:
        later(home, day + x, **back)


def locked(home: Home, x: float, day: int) -> None:
    """A lock-out that only a reset ends."""
    state(home, day, lock=-1.0, fault=21.0)
    if day + x < home.days:
        state(home, day + x, lock=0.001)


def recurring(home: Home, x: float, day: int) -> None:
    """The unit trips every x days and comes back by itself."""
    at = float(day)
    while at < home.days - 1:
        state(home, at, lock=2400.0, fault=33.0)
        at += x * float(home.rng.uniform(0.6, 1.4))


def low_fill(home: Home, x: float, day: int) -> None:
    """The circuit was filled to too low a pressure."""
    p = home.par
    p["precharge"] = 0.4
    p["_water_l"] = p["vessel_l"] * (1 - (p["precharge"] + 1) / (x + 1))


def dead_vessel(home: Home, x: float, day: int) -> None:
    """The vessel has lost its air cushion."""
    p = home.par
    p["vessel_l"] *= x
    p["_water_l"] = p["vessel_l"] * (1 - (p["precharge"] + 1) / (1.4 + 1))


FAULTS = (
    Fault(
        "immersion_timer",
        "Immersion heater on a timer",
        (1.0, 3.0, 6.0),
        lambda h, x, d: h.par.update(imm_max=3000.0, imm_timer_on=5.0, imm_timer_off=5.0 + x, imm_set=60.0),
        ("immersion_use",),
        (("immersion_electricity",),),
        ("immersion_timer_on",),
        (*SLOW, "pasteurisation_missed"),
        wish={"dhw": True, "dis": True},
        spacing=900,
    ),
    Fault(
        "immersion_reach",
        "Immersion heater finishes every reheat",
        (56.0, 58.0, 62.0),
        beyond_reach,
        ("immersion_use", "reheat_incomplete"),
        (("immersion_electricity",),),
        ("setpoint_above_reach",),
        (*SLOW, "water_too_hot"),
        wish={"dhw": True, "dis": True},
        spacing=900,
    ),
    Fault(
        "slow_reheat_coil",
        "Scale on the cylinder coil",
        (0.45, 0.28, 0.16),
        lambda h, x, d: h.par.update(coil_ua=h.par["coil_ua"] * x),
        ("slow_reheat", "reheat_incomplete"),
        REHEAT,
        ("coil_or_scale",),
        (*SLOW, "hot_water_shortfall", "pasteurisation_missed", "short_cycling"),
        wish={"dhw": True},
    ),
    Fault(
        "slow_reheat_flow",
        "Too little flow through the coil",
        (0.2, 0.1, 0.075),
        lambda h, x, d: h.par.update(cond_coil=h.par["cond_coil"] * x, flow_trip=0.03),
        ("slow_reheat", "reheat_incomplete", "low_flow"),
        REHEAT,
        ("flow_low",),
        (*SLOW, "hot_water_shortfall", "pasteurisation_missed", "fault_reported", "short_cycling"),
        wish={"dhw": True},
    ),
    Fault(
        "reheat_incomplete",
        "Reheats stop below the set point",
        (56.0, 59.0, 62.0),
        gives_up,
        ("reheat_incomplete",),
        REHEAT,
        ("setpoint_above_reach",),
        (*SLOW, "slow_reheat", "disinfection_lacking", "hot_water_shortfall"),
        wish={"dhw": True, "dis": True},
    ),
    Fault(
        "shortfall_window",
        "Hot water runs out: reheating only at night",
        (2.5, 2.0, 1.5),
        window,
        ("hot_water_shortfall",),
        CYL,
        ("reheat_window",),
        ("slow_reheat", "disinfection_lacking", "reheat_incomplete", "pasteurisation_missed"),
        wish={"dhw": True, "people": 4},
    ),
    Fault(
        "shortfall_small",
        "Hot water runs out: small cylinder",
        (130.0, 110.0, 90.0),
        small_cylinder,
        ("hot_water_shortfall",),
        CYL,
        ("cylinder_small", "reheat_slow"),
        ("slow_reheat", "disinfection_lacking", "pasteurisation_missed", "short_cycling"),
        wish={"dhw": True, "people": 6},
    ),
    Fault(
        "standing_loop",
        "Secondary circulation cools the cylinder",
        (1.5, 4.0, 8.0),
        lambda h, x, d: h.par.update(sec_loop=x),
        ("high_standing_loss",),
        CYL,
        ("secondary_circulation",),
        (*SLOW, "hot_water_shortfall", "immersion_use"),
        wish={"dhw": True},
    ),
    Fault(
        "standing_insulation",
        "Cylinder badly insulated",
        (1.7, 2.6, 4.0),
        lambda h, x, d: h.par.update(cyl_ua=h.par["cyl_ua"] * x),
        ("high_standing_loss",),
        CYL,
        ("insulation",),
        (*SLOW, "hot_water_shortfall"),
        wish={"dhw": True},
    ),
    Fault(
        "disinfection_missed",
        "Scheduled disinfection not reached",
        (56.0, 52.0, 0.0),
        missed,
        ("pasteurisation_missed", "disinfection_lacking"),
        CYL,
        (),
        (),
        wish={"dhw": True, "dis": True},
        mid=True,
        severity=("watch", "watch", "watch"),
    ),
    Fault(
        "disinfection_none",
        "Lukewarm storage, no disinfection",
        (49.0, 46.0, 43.0),
        no_disinfection,
        ("disinfection_lacking",),
        CYL,
        ("none_scheduled",),
        ("hot_water_shortfall",),
        wish={"dhw": True, "dis": True},
    ),
    Fault(
        "disinfection_lukewarm",
        "Disinfection set too low",
        (57.0, 54.0, 51.0),
        lukewarm_disinfection,
        ("disinfection_lacking", "pasteurisation_missed"),
        CYL,
        ("setpoint_too_low",),
        ("hot_water_shortfall",),
        wish={"dhw": True, "dis": True},
    ),
    Fault(
        "too_hot_disinfection",
        "Disinfection programme does not end",
        (62.0, 65.0, 70.0),
        stuck_disinfection,
        ("water_too_hot", "immersion_use"),
        CYL,
        ("disinfection_stuck",),
        (
            *SLOW,
            "reheat_incomplete",
            "slow_reheat",
            "high_standing_loss",
            "room_below_target",
            "capacity_short",
        ),
        wish={"dhw": True, "dis": True},
        mid=True,
        severity=("watch", "watch", "act"),
    ),
    Fault(
        "too_hot_solar",
        "Solar panels overheat the cylinder",
        (1.6, 2.6, 4.0),
        solar,
        ("water_too_hot",),
        CYL,
        ("other_source",),
        ("implausible_efficiency", "high_standing_loss", "heat_meter_disagrees"),
        start="03-20",
        wish={"dhw": True, "climate": "southern_inland"},
        severity=("watch", "watch", "act"),
    ),
    Fault(
        "diverter",
        "Diverter valve passes",
        (0.012, 0.035, 0.12),
        lambda h, x, d: h.par.update(div_leak=x),
        ("diverter_passing",),
        (("cylinder_temperature", "flow_temperature"),),
        (),
        (
            *SLOW,
            "slow_reheat",
            "high_standing_loss",
            "reheat_incomplete",
            "hot_water_shortfall",
            "heating_out_of_season",
        ),
        wish={"dhw": True},
    ),
    Fault(
        "pressure_leak",
        "The circuit loses water",
        (0.03, 0.12, 0.4),
        lambda h, x, d: later(h, d, leak_l_day=x),
        ("pressure_falling", "pressure_low"),
        BAR,
        (),
        (),
        mid=True,
        spacing=3600,
    ),
    Fault(
        "pressure_low",
        "Circuit filled too low",
        (0.65, 0.5, 0.3),
        low_fill,
        ("pressure_low", "pressure_falling"),
        BAR,
        (),
        ("pressure_swings",),
        spacing=3600,
    ),
    Fault(
        "pressure_vessel",
        "Expansion vessel without air",
        (0.35, 0.2, 0.13),
        dead_vessel,
        ("pressure_swings", "pressure_high"),
        BAR,
        ("vessel_empty",),
        ("pressure_low", "pressure_falling"),
        spacing=3600,
    ),
    Fault(
        "pressure_filling",
        "Filling loop left open",
        (0.004, 0.02, 0.2),
        lambda h, x, d: later(h, d, fill_l_h=x),
        ("pressure_high", "pressure_swings"),
        BAR,
        ("filling_loop_open",),
        (),
        mid=True,
        spacing=3600,
    ),
    Fault(
        "stopped_no_power",
        "Unit without power",
        (2.0, 5.0, 12.0),
        lambda h, x, d: stopped(h, x, d, unit_power=0.0),
        ("unit_stopped", "frost_risk"),
        ALIVE,
        ("no_power", "power_loss"),
        DEAD,
        mid=True,
        spacing=900,
        severity=("watch", "act", "act"),
    ),
    Fault(
        "stopped_locked",
        "Unit locked out",
        (2.0, 5.0, 12.0),
        locked,
        ("unit_stopped", "fault_reported"),
        ALIVE,
        ("locked_out",),
        DEAD,
        mid=True,
        spacing=900,
        severity=("watch", "act", "act"),
    ),
    Fault(
        "stopped_off",
        "Unit switched off at its control",
        (3.0, 7.0, 14.0),
        lambda h, x, d: stopped(h, x, d, heat_enabled=0.0, dhw_enabled=0.0),
        ("unit_stopped",),
        ALIVE,
        ("switched_off",),
        DEAD,
        mid=True,
        spacing=900,
        severity=("watch", "act", "act"),
    ),
    Fault(
        "fault_recurring",
        "The unit trips again and again",
        (12.0, 4.0, 1.0),
        recurring,
        ("fault_reported",),
        (("fault_code",),),
        (),
        ("short_cycling", "room_below_target", "unit_stopped"),
        mid=True,
    ),
)
