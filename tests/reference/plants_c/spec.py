"""The numbers that the engine runs on: one flat record a plant, all floats, and the state of the plant.

Temperatures degC, powers and losses W and W/K, heat capacities J/K, water kg, volumes litres, times minutes
unless a name says otherwise. Two zones: 0 downstairs (or living rooms), 1 upstairs (or bedrooms).
"""

from collections import namedtuple

NO_CONTROL, TRV, ON_OFF, MODULATING = 0.0, 1.0, 2.0, 3.0
RADIATOR, UNDERFLOOR = 0.0, 1.0

DEFAULTS: dict[str, float] = {
    # house
    "ua0": 60.0, "ua1": 50.0, "vol0": 180.0, "vol1": 160.0, "ach_base": 0.25, "ach_wind": 0.05,
    "c_air0": 2.5e6, "c_air1": 2.2e6, "c_mass0": 2.5e7, "c_mass1": 1.6e7, "ua_mass0": 700.0,
    "ua_mass1": 600.0, "ua_between": 90.0, "glass0": 2.6, "glass1": 1.8, "gain_w": 350.0, "stove_w": 0.0,
    # emitters; `out` is at an excess of 50 K for radiators, floor area in m2 for underfloor
    "kind0": RADIATOR, "kind1": RADIATOR, "out0": 6000.0, "out1": 5000.0, "exponent": 1.3,
    "c_em0": 2.2e5, "c_em1": 1.8e5, "share0": 0.55,
    # room control
    "control": TRV, "room_set0": 20.5, "room_set1": 19.0, "trv_band": 1.5, "setback_k": 0.0,
    "night_from": 1350.0, "night_to": 330.0, "valve1_max": 1.0, "room_gain": 2.0, "room_set_asked": 20.5,
    # heating curve
    "t_cold": -5.0, "f_cold": 45.0, "t_warm": 16.0, "f_warm": 27.0, "bend": 1.0, "night_flow_k": 0.0,
    "heat_limit": 15.0, "manual_offset": 0.0,
    # water: `flow` and `flow2` are heat capacity rates W/K of the unit's and the emitters' circuit
    "flow": 1400.0, "flow2": 1400.0, "parallel": 0.0, "c_sup": 8e4, "c_ret": 1.6e5, "ua_buffer": 1.5,
    "pump_w": 45.0, "pump2_w": 0.0, "pump_rest": 1.0, "sniff": 20.0, "pump_always": 0.0,
    "flow_factor": 1.0, "pump_mod": 0.0,
    # unit
    "q_nom": 8000.0, "eta": 0.55, "min_share": 0.28, "pl_gain": 0.12, "pl_knee": 0.4, "ramp": 0.06,
    "cap_factor": 1.0, "cop_factor": 1.0, "standby_w": 12.0, "min_run": 6.0, "rest_min": 6.0,
    "hyst_on": 3.0, "hyst_off": 3.0, "flow_max": 60.0, "quiet_from": 0.0, "quiet_to": 0.0,
    "quiet_share": 1.0, "slow_start": 3.0,
    # frost
    "air_kg_s": 0.85, "frost_full": 1.4, "defrost_share": 0.85, "defrost_timer": 0.0, "defrost_min_gap": 35.0,
    "defrost_q": 0.6, "air_factor": 1.0, "defrost_longest": 10.0, "melt_factor": 1.0, "coil_bias": 0.0,
    # hot water
    "dhw": 1.0, "litres": 200.0, "setpoint": 50.0, "below": 43.0, "ua_cyl": 1.6, "coil_ua": 1500.0,
    "dhw_share": 1.0, "dhw_longest": 150.0, "dhw_from": 0.0, "dhw_to": 1440.0, "cold_c": 10.0,
    "dis_c": 60.0, "dis_weekday": 6.0, "dis_minute": 120.0, "imm_w": 3000.0, "imm_from": 0.0, "imm_to": 0.0,
    "imm_c": 60.0, "loop_ua": 0.0, "leak_share": 0.0, "solar_w": 0.0, "dhw_over_k": 99.0,
    # back-up heater
    "bu_w": 0.0, "bu_below": -20.0, "bu_wait": 60.0, "bu_free": 0.0,
    # pressure: litres, bar gauge, litres a day
    "sys_litres": 110.0, "vessel_litres": 18.0, "vessel_bar": 0.8, "fill_bar": 1.5, "leak_l_day": 0.0,
    # the unit's own state: 1 powered, locked, heating switched on; trips an hour of run
    "powered": 1.0, "locked": 0.0, "heating_on": 1.0, "trip_rate": 0.0, "trip_code": 21.0, "trip_rest": 40.0,
}  # fmt: skip

Spec = namedtuple("Spec", DEFAULTS)

# places in the state of a plant
(
    AIR0, AIR1, MASS0, MASS1, EM0, EM1, SUP, RET, TOP, MID, LOW, FROST, MODE, BEFORE, RUN, REST, SHARE,
    VALVE0, VALVE1, CALL, CHARGE, CHARGE_MIN, GIVE_UP, DISINFECT, HOLD, BU_WAIT, BU_ON, DEF_MIN, DEF_GAP,
    STARTS, DEFROSTS, LOST, LOCK, OUT_SLOW, OUT_DAY, SHORT, HOURS, SNIFF, PUMP_ON,
) = range(39)  # fmt: skip
STATES = 39
OFF, HEATING, HOT_WATER, DEFROST = 0.0, 1.0, 2.0, 3.0

CHANNELS = (
    "p_unit", "p_bu", "p_imm", "p_pump", "q_hp", "q_dhw", "t_flow", "t_ret", "flow", "t_sup2", "t_ret2",
    "room0", "room1", "t_cyl", "mode", "pressure", "call", "t_target", "speed", "starts", "ask0", "fault",
    "t_top", "short", "diverter", "q_gain", "q_loss", "q_draw", "stored", "defrosts", "hours", "frost",
    "q_space", "q_leak", "ua_now",
)  # fmt: skip
COLUMN = {name: i for i, name in enumerate(CHANNELS)}
