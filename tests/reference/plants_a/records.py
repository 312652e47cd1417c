"""Record layouts of the simulator: parameters, state, drive (inputs a minute) and log (outputs a minute).

All are NumPy structured types of float64 fields, so that compiled code reads them by name. Temperatures
[degC], powers [W], heat capacities [J/K], volume flows [m3/h], volumes [l], times [s] unless noted.
"""

import numpy as np

ZONE_DEFAULTS = {
    "ua_air": 60.0,  # air node to outdoors: windows and fixed ventilation [W/K]
    "ua_mass": 80.0,  # mass node to outdoors: walls, roof, floor [W/K]
    "inf": 30.0,  # infiltration at 20 K and 4 m/s wind [W/K]
    "h_am": 1500.0,  # air to mass [W/K]
    "c_air": 5.0e6,
    "c_mass": 25.0e6,
    "aperture": 5.0,  # solar aperture [m2 of horizontal irradiance]
    "floor": 0.0,  # 1 underfloor, 0 radiator
    "phi": 9000.0,  # radiator output at 50 K (EN 442) [W]
    "n": 1.3,  # radiator exponent
    "c_em": 250.0e3,  # emitter water and metal, or screed
    "ua_tube": 900.0,  # underfloor tubes to screed [W/K]
    "area": 60.0,  # underfloor area [m2]
    "thermostat": 0.0,  # 0 radiator valve, 1 on/off room thermostat, 2 time-proportional
    "valve_max": 1.0,  # largest opening the valve reaches
    "share": 1.0,  # share of the circuit's flow when open
    "sense_off": 0.0,  # error of the thermostat's own sensor [K]
}

DEFAULTS = {
    "zones": 1.0,
    "uzz": 0.0,  # zone to zone [W/K]
    "vent_c": 25.0,  # windows are opened above this room temperature
    # hydraulics
    "q_nom": 1.3,
    "rho_cp": 4.16e6,  # heat capacity of the liquid [J/(m3 K)]
    "bypass": 0.3,  # least flow share through the unit, by a bypass
    "buffer": 0.0,  # 0 none, 1 series in the return, 2 parallel
    "buffer_l": 0.0,
    "sec_ratio": 1.0,  # secondary flow over nominal primary flow (parallel buffer)
    "pipe_l": 14.0,
    "return_l": 14.0,
    "unit_l": 6.0,
    "c_unit": 15.0e3,  # metal of the condenser
    "ua_pipe": 2.0,  # outdoor pipework to outdoor air [W/K]
    "ua_in": 1.5,  # indoor flow pipe, return pipe and buffer to the room, each [W/K]
    "modulating": 0.0,  # pump holds a temperature difference
    "dt_set": 5.0,
    "pump_w": 45.0,
    "pump2_w": 0.0,
    "pump_always": 0.0,
    "flow_factor": 1.0,  # below 1: strainer, air, closed valves
    "div_leak": 0.0,  # share passing the diverter into the other circuit
    # refrigerant unit
    "q_full": 8000.0,  # condenser heat at full speed, evaporating at te_ref, condensing at tc_ref [W]
    "te_ref": -1.0,
    "tc_ref": 37.5,
    "a_e": 0.030,  # capacity change by evaporating temperature [1/K]
    "a_c": 0.0045,  # capacity loss by condensing temperature [1/K]
    "ua_e": 800.0,
    "ua_c": 3200.0,
    "eta0": 0.60,  # second-law efficiency at 38 K refrigerant lift
    "eta_lift": 0.0050,
    "eta_part": 0.10,  # loss of efficiency away from the best speed
    "f_opt": 0.55,
    "f_min": 0.28,
    "f_max": 1.0,
    "boost": 0.15,  # extra top speed at -7 degC outdoors
    "fixed": 0.0,
    "tau_start": 75.0,
    "p_fan": 90.0,
    "p_base": 25.0,  # inverter and controls while running
    "p_stby": 10.0,
    "p_crank": 0.0,  # crankcase heater, below 5 degC while standing
    "charge_dte": 0.0,  # extra evaporating depression by lack of refrigerant [K at full load]
    "charge_cap": 1.0,
    "eff": 1.0,  # wear: factor on the second-law efficiency
    "airflow": 1.0,
    "frost_k": 0.40,  # share of the coil's conductance that takes part in mass transfer
    "m_full": 2.0,  # frost that blocks the coil [kg]
    "frost_loss": 0.60,
    "def_timer": 0.0,  # 1 by time, 0 by demand
    "def_ratio": 0.74,  # demand: conductance against a clean coil
    "def_min_s": 2400.0,
    "def_timer_s": 4500.0,
    "def_te": -2.5,
    "def_off": 0.0,  # error of the coil sensor [K]
    "q_def": 0.65,
    "c_coil": 14.0e3,
    "def_end": 12.0,
    "min_on_s": 240.0,
    "min_off_s": 420.0,
    "hyst_on": 4.0,
    "hyst_off": 4.0,
    "kp": 0.03,
    "ki": 0.0005,
    "t_max": 60.0,
    "quiet_f": 1.0,
    # controls
    "x1": -3.0,
    "y1": 46.0,
    "x2": 15.0,
    "y2": 28.0,
    "shift": 0.0,
    "fixed_flow": 0.0,
    "room_k": 0.0,
    "set_k": 0.0,
    "set_base": 20.5,
    "filter_h": 2.0,
    "limit_c": 16.0,
    "limit_on": 1.0,
    "trv_band": 1.5,
    "th_hyst": 0.25,
    "period_s": 600.0,  # cycle of a time-proportional thermostat
    # direct electric heaters
    "bu_w": 0.0,
    "bivalent": -99.0,
    "bu_delay_s": 1800.0,
    "bu_emergency": 0.0,
    "imm_w": 0.0,
    "imm_c": 60.0,
    # hot water
    "dhw": 1.0,
    "cyl_l": 250.0,
    "ua_cyl": 1.5,
    "coil_ua": 1400.0,
    "sense_layer": 4.0,
    "setp": 50.0,
    "reheat": 43.0,
    "past_c": 60.0,
    "hp_past": 55.0,
    "dhw_dt": 9.0,
    "dhw_f": 0.8,
    "dhw_tmax": 60.0,
    "dhw_timeout_s": 10800.0,
    "cyl_sense_off": 0.0,
    "loss_inside": 0.8,
    # pressure
    "sys_l": 140.0,
    "ves_l": 18.0,
    "ves_pre": 1.0,
    "p_fill": 1.5,
    "leak_l": 0.02,  # [l/day]
    "refill": 0.0,  # [l/day] through a filling valve left open
    # cooling
    "cool": 0.0,
    "cool_flow": 18.0,
}
PARAM_NAMES = [*DEFAULTS, *(f"{k}{z}" for z in (1, 2) for k in ZONE_DEFAULTS)]
PARAMS = np.dtype([(n, "f8") for n in PARAM_NAMES])

LAYERS = 10
DRIVE = np.dtype(
    [
        (n, "f8")
        for n in [
            "to",
            "rh",
            "wind",
            "sun",
            "g1",
            "g2",
            "set1",
            "set2",
            "draw",
            "cold",
            "dhw_ok",
            "past_start",
            "imm_ok",
            "quiet",
            "power",
            "enable",
            "lock",
            "stove",
            "cyl_w",
            "cool_ok",
        ]
    ]
)
STATE = np.dtype(
    [
        (n, "f8")
        for n in [
            "mode",
            "f",
            "running",
            "t_on",
            "t_off",
            "def_on",
            "m_frost",
            "t_coil",
            "te",
            "tc",
            "qc",
            "w_comp",
            "q_hp",
            "w_hp",
            "w_fan",
            "t_u",
            "t_h",
            "t_fp",
            "t_rp",
            "t_sb",
            "t_bt",
            "t_bb",
            "a1",
            "b1",
            "a2",
            "b2",
            "air1",
            "air2",
            "mass1",
            "mass2",
            "v1",
            "v2",
            "th1",
            "th2",
            "to_f",
            "to_day",
            "season",
            "call",
            "target",
            "circ",
            "q_unit",
            "ps",
            "pump_w",
            "bu_on",
            "bu_t",
            "bu_w",
            "imm_w",
            "e_prev",
            "over_t",
            "dhw_on",
            "dhw_t",
            "dhw_block",
            "past",
            "past_t",
            "cyl_sense",
            "starts",
            "hours",
            "defrosts",
            "pressure",
            "water",
            "ves_in",
            "sec_on",
            "t_in_m",
            "t_u_m",
            "g_m",
            "q_sh",
            "q_dhw",
            "q_meter",
            "em1",
            "em2",
            "t_dist_f",
            "t_dist_r",
            "short_l",
            "draw_j",
            "loss_cyl_j",
            "loss_env_j",
            "gain_j",
            "sun_j",
            "q_air",
            "loss_pipe_j",
            "vent_j",
            "loss_start_j",
            "carnot",
            "imm_run",
            "def_t",
            "def_prev",
            "idle_t",
            "clock",
            "pipe_w",
        ]
    ]
)
LOG = np.dtype(
    [
        (n, "f8")
        for n in [
            "hp_w",
            "fan_w",
            "bu_w",
            "imm_w",
            "pump_w",
            "q_meter",
            "q_sh",
            "q_dhw",
            "q_hp",
            "t_u",
            "t_in",
            "t_h",
            "t_dist_f",
            "t_dist_r",
            "q_unit",
            "air1",
            "air2",
            "set1",
            "set2",
            "target",
            "cyl",
            "cyl_top",
            "buffer",
            "pressure",
            "mode",
            "f",
            "running",
            "starts",
            "hours",
            "defrosts",
            "code",
            "def_on",
            "circ",
            "call1",
            "call2",
            "te",
            "to",
            "rh",
            "sun",
            "carnot",
            "short_l",
            "q_air",
            "frost",
            "season",
            "power",
        ]
    ]
)
LEDGER = np.dtype(
    [
        (n, "f8")
        for n in [
            "q_hp",
            "bu",
            "imm",
            "gains",
            "sun",
            "stove",
            "cyl_w",
            "draw",
            "loss_cyl_out",
            "loss_env",
            "loss_pipe",
            "stored0",
            "stored1",
            "elec",
            "hp_elec",
            "air",
            "carnot_bad",
        ]
    ]
)


def parameters(**values: float) -> np.ndarray:
    """Return one row of `PARAMS`: defaults overridden by `values`; KeyError for unknown names."""
    out = np.zeros(1, PARAMS)
    for name, value in DEFAULTS.items():
        out[name] = value
    for zone in (1, 2):
        for name, value in ZONE_DEFAULTS.items():
            out[f"{name}{zone}"] = value
    for name, value in values.items():
        if name not in PARAM_NAMES:
            raise KeyError(name)
        out[name] = value
    return out
