"""Fields of the compiled step: constants, hourly settings, state and log."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

STEP_S = 10.0  # the simulation step
CYLINDER_NODES = 6
SENSOR_NODE = 3  # counted from the top: the sensor pocket sits a little under half height
IMMERSION_NODE = 4  # element in the lower third

# One record of a structured array, or an array of them. Compiled code reads the fields by name; the array
# type does not show them.
Record: TypeAlias = Any


def _names(text: str) -> list[str]:
    """Field names from words."""
    return text.split()


# Constants of one plant. W, J/K, m3/s, degC, s.
FIXED = _names(
    "zones share0 share1 cross ua_direct ua_fabric ua_inside c_air c_fabric aperture thermostat "
    "hysteresis sensor_tau trv_floor stop_above start_below min_off min_run max_flow min_flow rated min_w "
    "eta ua_air ua_cond tev_rated cold_slope warm_slope fan_w controls_w crankcase_w pump_w flow glycol "
    "glycol_percent c_unit c_return ua_outdoors frost_full frost_rate defrost_w defrost_elec_w c_coil "
    "defrost_trigger defrost_gap defrost_end defrost_timed pump_k pump_least "
    "ramp_s rate hot_share reach reach_on buffer buffer_j flow2 pump2_w buffer_mix backup_w patience_s "
    "hot_water node_litres coil_ua loss_ua immersion_w limit_s cold_water_c"
)
FIXED_DTYPE = np.dtype([(name, "f8") for name in FIXED])

# Of one zone's emitters.
EMITTER = ["rated", "excess", "exponent", "c_node", "ua_water", "slab_c", "slab_area", "is_floor"]
EMITTER_DTYPE = np.dtype([(name, "f8") for name in EMITTER])

# Hourly settings and conditions; faults and oddities act on these.
HOURLY: dict[str, float] = {
    "day": 0.0,  # local day since the first logged one, negative before it
    "hour": 0.0,  # local clock
    "weekday": 0.0,
    "target0": 20.5,
    "target1": 20.5,
    "enable": 1.0,
    "cutoff": 16.0,
    "curve_shift": 0.0,
    "curve_slope": 1.0,
    "fixed_flow": 0.0,  # above 0: replaces the curve
    "hysteresis": 1.0,  # factor on the thermostat's own
    "anticipator": 0.0,  # K of heat beside the sensor while calling
    "gains": 0.0,
    "infiltration": 1.0,
    "power": 1.0,
    "flow": 1.0,
    "flow_hot": 1.0,
    "air_bubbles": 0.0,
    "airflow": 1.0,
    "evaporator": 1.0,
    "capacity": 1.0,
    "eta": 1.0,
    "coil_sensor": 0.0,  # K the coil's own sensor reads off
    "defrost_heat": 1.0,
    "coil_ua": 1.0,
    "hot_on": 1.0,  # reheats may start
    "setpoint": 50.0,
    "reheat_below": 42.0,
    "pasteurise": 0.0,  # above 0: a disinfection to this temperature begins
    "immersion_timer": 0.0,  # above 0: the element keeps this temperature
    "immersion_completes": 1.0,
    "bivalent": -50.0,
    "eager": 0.0,  # 1: the back-up heater does not wait for the unit
    "standby": 0.0,
    "pump_always": 0.0,
    "flow2": 1.0,
    "passing": 0.0,  # share of flow that leaks past the diverter
    "insulation": 0.0,  # W/K lost beyond the cylinder's own
    "secondary": 0.0,  # W/K of a circulation pipe
    "open0": 1.0,
    "open1": 1.0,
    "draw": 1.0,
    "min_flow": 0.0,  # added to the lowest flow temperature
    "summer_call": 0.0,  # 1: the room thermostat is ignored
    "leak": 0.0,  # bar per week
    "pressure": 0.0,  # bar added to the cold fill
}
HOURLY_DTYPE = np.dtype([(name, "f8") for name in HOURLY])

STATE = _names(
    "t_out t_in top bottom t_ev frost q integral run off route_s mode on defrost defrost_s since_defrost "
    "coil_t ramp to_ctrl to_day season call dhw dhw_s dhw_lock dhw_goal dhw_from past immersion imm_goal "
    "post backup short_s starts seconds lock fault tset speed p_comp p_fan p_pump p_backup p_imm p_ctrl "
    "q_cond v cdot q_meter t_dist t_back q_coil clock event_heat event_elec event_taken low run_start "
    "route iced_s stop_reason run_heat run_elec run_mode hot_elec hot_heat hot_start growth"
)
STATE_DTYPE = np.dtype([(name, "f8") for name in STATE])

# Powers and flows are means of the log interval that ends at the stamp, the rest are values at the stamp.
LOG_MEANS = _names("comp fan controls backup immersion pump heat space hot taken flow")
LOG_VALUES = _names(
    "t_flow t_return t_dist t_dist_return room0 room1 target0 target1 target_flow cylinder cylinder_top"
    " buffer mode defrost call0 call1 diverter speed starts hours frost fault coil outdoor vapour loop_mean"
    " pump_on"
)
LOG_DTYPE = np.dtype([(name, "f4") for name in LOG_MEANS + LOG_VALUES])
MEANS_DTYPE = np.dtype([(name, "f8") for name in LOG_MEANS])

# Sums over a local day: J, seconds, litres and kg; outdoor, room0, room1 in K s; reach the warmest [degC].
DAY = _names(
    "seconds comp fan controls backup immersion pump heat space hot taken "
    "elec_space elec_hot elec_defrost elec_idle outdoor room0 room1 "
    "starts run_seconds frost_seconds cylinder_loss secondary_loss draw_heat draw_litres cold_litres_40 "
    "emitted solar gains house_loss coil_heat outdoor_pipes frost_kg reach"
)
DAY_DTYPE = np.dtype([(name, "f8") for name in DAY])

# Flows in one step [W; J and l for draws], passed from the components to the accounting.
FLOWS = _names("emitted room0 room1 coil pipes loss secondary house_loss solar drawn litres cold")
FLOWS_DTYPE = np.dtype([(name, "f8") for name in FLOWS])
