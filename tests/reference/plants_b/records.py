"""Parameters, state, inputs and output channels of one simulated home.

Parameters and state are NumPy records, so that compiled code reads them by name. An event changes a parameter
between two calls of the engine: that is how faults start, grow and end.
"""

import numpy as np

PARAMETERS: dict[str, float] = {
    # refrigeration unit
    "disp": 8000.0,  # cooling capacity at full speed, evaporation 0 degC, condensation 35 degC [W]
    "eta0": 0.64,  # best isentropic times motor and inverter efficiency [-]
    "n_opt": 0.5,
    "eta_speed": 0.45,  # loss of efficiency with the square of the distance from n_opt
    "eta_low": 0.30,  # low-speed loss (leakage)
    "n_min": 0.28,
    "n_max": 1.0,
    "n_start": 0.5,
    "m_air": 1.1,  # dry air through the coil [kg/s]
    "ua_evap": 1500.0,  # [W/K]
    "ua_cond": 3000.0,
    "charge": 1.0,  # refrigerant charge, share of nominal
    "wear": 1.0,  # factor on the efficiency
    "air_factor": 1.0,  # blocked coil: below 1
    "frost_cap": 1.2,  # frost that halves the air flow [kg]
    "fan_power": 55.0,
    "control_power": 9.0,  # electronics, always [W]
    "crankcase": 0.0,  # heater of the compressor shell while idle [W]
    "start_tau": 60.0,  # [s]
    "tc_max": 76.0,
    "c_coil": 14000.0,  # heat capacity of the coil [J/K]
    # defrost
    "df_kind": 0.0,  # 0 coil-temperature difference, 1 accumulated time
    "df_delta": 5.0,
    "df_clean": 6.0,  # clean-coil difference at full speed [K]
    "df_coil_on": -2.5,
    "df_min_s": 2400.0,
    "df_time_s": 3600.0,
    "df_end": 13.0,
    "df_max_s": 600.0,
    "df_water": 4800.0,  # heat taken from the water [W]
    "df_elec": 1700.0,
    "df_water_min": 9.0,
    "coil_offset": 0.0,  # error of the coil sensor [K]
    # controller
    "unit_power": 1.0,
    "heat_enabled": 1.0,
    "dhw_enabled": 1.0,
    "compressor_enabled": 1.0,
    "cooling": 0.0,
    "heat_limit": 16.0,
    "curve_x0": -3.0,
    "curve_y0": 45.0,
    "curve_x1": 16.0,
    "curve_y1": 28.0,
    "curve_shift": 0.0,
    "flow_set_min": 25.0,
    "flow_set_max": 55.0,
    "fixed_flow": 0.0,  # above 0: this flow temperature whatever the weather
    "setback_slope": 1.5,  # flow-temperature change per kelvin of target below 20 degC
    "room_gain": 0.0,
    "ctl_out_offset": 0.0,
    "ctl_kind": 0.0,  # 0 hysteresis on flow temperature, 1 degree-minutes
    "hyst_on": 4.0,
    "hyst_off": 4.0,
    "dm_start": 60.0,  # [K min]
    "min_off_s": 480.0,
    "min_on_s": 240.0,
    "pre_s": 90.0,
    "post_s": 150.0,
    "start_s": 120.0,
    "kp": 0.02,
    "ti_s": 500.0,
    "flow_max": 65.0,  # highest flow temperature of the heat pump
    "flow_trip": 0.35,  # flow below which the unit stops with a fault [m3/h]
    "lock_s": 900.0,
    "frost_pump": 6.0,
    "frost_pump_on": 1.0,
    "stat_a": 0.0,  # 0 always calls (thermostatic valves), 1 on/off, 2 time-proportional, 3 modulating
    "stat_b": 1.0,
    "stat_hyst": 0.3,
    "stat_band": 1.5,
    "tpi_s": 900.0,
    "stat_tau": 600.0,
    # back-up and immersion heaters
    "bu_max": 0.0,
    "bu_bivalent": -5.0,
    "bu_dm": 500.0,
    "bu_emergency": 0.0,
    "bu_manual": 0.0,
    "imm_max": 0.0,
    "imm_assist": 0.0,
    "imm_timer_on": -1.0,
    "imm_timer_off": -1.0,
    "imm_set": 60.0,
    # hot water
    "dhw": 1.0,
    "dhw_set": 50.0,
    "dhw_on": 43.0,
    "dhw_lift": 8.0,
    "dhw_speed": 0.8,
    "dhw_max_s": 7200.0,
    "dhw_wait_s": 5400.0,
    "dhw_from": 0.0,
    "dhw_to": 24.0,
    "dhw_from2": 0.0,
    "dhw_to2": 0.0,
    "keep_running": 1.0,
    "dis_on": 0.0,
    "dis_day": 6.0,  # weekday, Monday 0
    "dis_every": 7.0,
    "dis_hour": 13.0,
    "dis_set": 61.0,
    "dis_hold_s": 1800.0,
    "dis_max_s": 14400.0,
    "dis_stuck": 0.0,
    "cyl_l": 250.0,
    "cyl_ua": 1.9,  # [W/K], all layers
    "cyl_room": 19.0,
    "coil_ua": 1900.0,
    "cyl_offset": 0.0,
    "sec_loop": 0.0,  # secondary circulation: heat lost per kelvin [W/K]
    "solar_w": 0.0,  # other source: power per irradiance [W per W/m2]
    "solar_max": 90.0,
    "stove_w": 0.0,
    "cold_c": 10.0,
    # hydraulics: head [m] against flow [m3/h]
    "pump_h0": 7.5,
    "pump_a": 1.0,
    "k_unit": 1.3,
    "k_strainer": 0.1,
    "cond_a": 1.0,
    "cond_b": 1.0,
    "cond_coil": 1.1,
    "cond_byp": 0.6,
    "pump_speed": 0.9,
    "pump_speed_dhw": 1.0,
    "pump_kind": 0.0,  # 0 constant speed, 1 constant temperature difference
    "pump_dt": 5.0,
    "pump_idle": 0.0,  # 1: the pump runs whenever heat is called for, 2: it always runs
    "pump_failed": 0.0,
    "air": 0.0,  # share of flow lost to air, at random
    "div_leak": 0.0,
    "sec_speed": 0.8,
    "rho_cp": 1152.0,  # [W per K and m3/h]
    "c_hx": 26000.0,
    "c_sup": 30000.0,
    "c_ret": 42000.0,
    "ua_pipe": 1.6,
    "buffer": 0.0,  # 0 none, 1 series, 2 parallel
    "buf_l": 50.0,
    "buf_ua": 1.2,
    # emitters and house
    "em_k_a": 35.0,
    "em_n_a": 1.3,
    "em_c_a": 400000.0,
    "em_k_b": 300.0,
    "em_n_b": 1.1,
    "em_c_b": 6.0e6,
    "valve_a": 1.0,  # 0: stuck shut
    "valve_b": 1.0,
    "valve_a_asks": 1.0,  # 0: the zone's call does not reach the controller
    "valve_b_asks": 1.0,
    "trv_a": 1.0,
    "trv_b": 0.0,
    "trv_offset": 0.5,
    "ua_a": 70.0,
    "ua_b": 80.0,
    "vent_a": 25.0,
    "vent_b": 25.0,
    "ua_ab": 80.0,
    "c_air_a": 1.6e6,
    "c_air_b": 1.8e6,
    "c_mass_a": 1.6e7,
    "c_mass_b": 2.2e7,
    "ua_mass_a": 450.0,
    "ua_mass_b": 550.0,
    "sun_a": 1.2,
    "sun_b": 2.0,
    # pressure
    "vol_l": 150.0,
    "vessel_l": 18.0,
    "precharge": 1.0,
    "leak_l_day": 0.0,
    "fill_l_h": 0.0,  # water through a filling loop left open
    "relief": 3.0,
    "mains": 3.6,
}

STATE: dict[str, float] = {
    "mode": 0.0,
    "use": 1.0,
    "t_state": 0.0,
    "off_s": 9999.0,
    "on_s": 0.0,
    "speed": 0.0,
    "speed_goal": 0.0,
    "integ": 0.4,
    "dm": 0.0,
    "target": 35.0,
    "season": 1.0,
    "t_out_avg": 8.0,
    "call": 0.0,
    "call_a": 0.0,
    "call_b": 0.0,
    "cool": 0.0,
    "stat_a": 20.0,
    "stat_b": 20.0,
    "open_a": 1.0,
    "open_b": 1.0,
    "dhw_req": 0.0,
    "dhw_s": 0.0,
    "dhw_wait": 0.0,
    "assist": 0.0,
    "dis_req": 0.0,
    "dis_s": 0.0,
    "dis_held": 0.0,
    "bu_dm": 0.0,
    "p_bu": 0.0,
    "p_imm": 0.0,
    "lock": 0.0,  # seconds left; below 0: until reset
    "fault": 0.0,
    "low_flow_s": 0.0,
    "te": 5.0,
    "tc": 25.0,
    "frost": 0.0,
    "frost_rate": 0.0,
    "t_coil": 5.0,
    "df_acc": 0.0,
    "df_since": 9999.0,
    "df_want": 0.0,
    "df_icy": 0.0,
    "df_running": 0.0,
    "pump": 0.0,
    "pump_s": 0.8,
    "flow": 0.0,
    "share_coil": 0.0,
    "m_a": 0.0,
    "m_b": 0.0,
    "m_byp": 0.0,
    "m_sec": 0.0,
    "diverter": 0.0,
    "p_pump": 0.0,
    "t_hx": 25.0,
    "t_sup": 25.0,
    "t_in": 25.0,
    "t_dist": 25.0,
    "t_dret": 25.0,
    "t_em_a": 25.0,
    "t_em_b": 22.0,
    "q_space": 0.0,
    "q_dhw": 0.0,
    "q_em_a": 0.0,
    "q_em_b": 0.0,
    "room_a": 20.0,
    "room_b": 20.0,
    "mass_a": 20.0,
    "mass_b": 20.0,
    "water_l": 6.0,  # water in the vessel at 20 degC
    "pressure": 1.5,
    "p_unit": 0.0,
    "p_fan": 0.0,
    "q_unit": 0.0,
    "starts": 0.0,
    "defrosts": 0.0,
    "hours": 0.0,
    "q_loss": 0.0,
    "q_draw": 0.0,
    "rng": 1234567.0,
    "block": 0.0,
    "stuck_dis": 0.0,
}

INPUTS = (
    "t_out",
    "rh",
    "wind",
    "ghi",
    "draw",
    "gain_a",
    "gain_b",
    "set_a",
    "set_b",
    "block",
    "away",
    "hour",
    "day",
)
I_TOUT, I_RH, I_WIND, I_GHI, I_DRAW, I_GA, I_GB, I_SETA, I_SETB, I_BLOCK, I_AWAY, I_HOUR, I_DAY = range(13)

# Powers are means over the record [W]; temperatures are values at its end.
CHANNELS = (
    "p_unit",
    "p_fan",
    "p_bu",
    "p_imm",
    "p_pump",
    "q_meter",
    "q_space",
    "q_dhw",
    "q_unit",
    "flow",
    "t_hx",
    "t_in",
    "t_dist",
    "t_dret",
    "room_a",
    "room_b",
    "cyl",
    "cyl_top",
    "buffer",
    "pressure",
    "mode",
    "use",
    "call",
    "diverter",
    "speed",
    "target",
    "starts",
    "hours",
    "fault",
    "te",
    "tc",
    "q_after_heater",
    "defrosts",
    "t_sup",
    "frost",
    "q_em",
    "q_loss",
    "cyl_mean",
    "q_draw",
    "cyl_low",
    "open_a",
)
MEANS = (
    "p_unit",
    "p_fan",
    "p_bu",
    "p_imm",
    "p_pump",
    "q_meter",
    "q_space",
    "q_dhw",
    "q_unit",
    "q_after_heater",
    "q_em",
    "q_loss",
    "q_draw",
)

PARAMETER_DTYPE = np.dtype([(name, "f8") for name in PARAMETERS])
STATE_DTYPE = np.dtype([(name, "f8") for name in STATE])
CYLINDER_LAYERS = 6
BUFFER_LAYERS = 4


def make_parameters(**changed: float) -> np.ndarray:
    """Return a parameter record array of length 1 with the defaults, changed by name."""
    record = np.zeros(1, PARAMETER_DTYPE)
    for name, value in {**PARAMETERS, **changed}.items():
        record[name][0] = value
    return record


def make_state(**changed: float) -> np.ndarray:
    """Return a state record array of length 1."""
    record = np.zeros(1, STATE_DTYPE)
    for name, value in {**STATE, **changed}.items():
        record[name][0] = value
    return record
