"""Convert a system's spec to the constants of the compiled step."""

from __future__ import annotations

import numpy as np

from fieldfare.collector.simulated.design.spec import EmitterSpec, PlantSpec
from fieldfare.collector.simulated.step.layout import (
    CYLINDER_NODES,
    EMITTER_DTYPE,
    FIXED_DTYPE,
    STEP_S,
)
from fieldfare.collector.simulated.step.machine import defrost_heat, derive, frost_air_rate
from fieldfare.collector.simulated.step.physics import heat_coefficient

WATER_J_PER_LITRE_K = 4170.0  # near 35 C
GLYCOL = {"none": 0.0, "propylene_glycol": 1.0, "ethylene_glycol": 2.0}


def fixed_of(spec: PlantSpec) -> np.ndarray:
    """Constants of one plant.

    spec : PlantSpec
    Returns one record of layout.FIXED_DTYPE.
    """
    house, hp, control = spec.house, spec.heat_pump, spec.control
    machine = derive(hp)
    c = np.zeros(1, dtype=FIXED_DTYPE)[0]
    two = len(house.zones) > 1
    c["zones"] = 2 if two else 1
    c["share0"], c["share1"] = house.zone_shares[0], house.zone_shares[-1] if two else 0.0
    c["cross"] = 1.0 * house.htc_w_per_k if two else 0.0  # floor between storeys, stairs and doors
    c["ua_direct"] = house.direct_share * house.htc_w_per_k
    through = (1.0 - house.direct_share) * house.htc_w_per_k
    c["ua_inside"] = 9.0 * house.htc_w_per_k  # air to fabric; surface films over about three floor areas
    c["ua_fabric"] = 1.0 / (1.0 / through - 1.0 / c["ua_inside"])
    c["c_air"], c["c_fabric"] = 1e3 * house.air_kj_per_k, 1e3 * house.fabric_kj_per_k
    c["aperture"] = house.aperture_m2
    c["thermostat"] = float(control.kind == "thermostat")
    c["hysteresis"] = control.hysteresis_k
    c["sensor_tau"] = 420.0
    c["trv_floor"] = 0.16  # one room has no valve, until it is much too warm and someone shuts it
    c["stop_above"], c["start_below"] = control.stop_above_k, control.start_below_k
    c["min_off"], c["min_run"] = control.min_off_s, control.min_run_s
    c["max_flow"], c["min_flow"] = hp.max_flow_c, control.min_flow_c
    c["rated"], c["min_w"] = hp.rated_w, hp.min_w
    c["eta"], c["ua_air"], c["ua_cond"], c["tev_rated"] = (
        machine.eta,
        machine.ua_air,
        machine.ua_cond,
        machine.tev_rated,
    )
    c["cold_slope"], c["warm_slope"] = hp.cold_slope, hp.warm_slope
    c["fan_w"], c["controls_w"], c["crankcase_w"], c["pump_w"] = (
        hp.fan_w,
        hp.controls_w,
        hp.crankcase_w,
        hp.pump_w,
    )
    c["flow"] = hp.flow_m3_per_h / 3600.0
    c["glycol"], c["glycol_percent"] = GLYCOL[hp.antifreeze], hp.antifreeze_percent
    c["frost_full"] = hp.coat_kg_per_kw * hp.rated_w / 1000.0
    c["defrost_trigger"], c["defrost_gap"], c["defrost_end"] = (
        hp.defrost_trigger,
        hp.defrost_gap_s,
        hp.defrost_end_c,
    )
    c["defrost_timed"] = float(hp.defrost_timed)
    c["pump_k"], c["pump_least"] = hp.pump_difference_k, hp.pump_least
    c["frost_rate"] = frost_air_rate(machine.ua_air)
    c["defrost_w"], c["defrost_elec_w"], c["c_coil"] = defrost_heat(hp)
    c["ramp_s"] = 50.0  # refrigerant and metal come up to temperature; common practice
    c["rate"] = 0.15 / 60.0  # of rated output a second
    c["hot_share"], c["reach"] = hp.hot_water_share, hp.hot_water_reach_c
    c_rate = c["flow"] * heat_coefficient(30.0, 35.0, 0.0, 0.0)
    # exchanger, its water and outdoor pipes; large enough for numerical stability at one step's flow
    c["c_unit"] = max(4.2 * hp.rated_w, 2.2 * c_rate * STEP_S)
    c["c_return"] = max(25e3, 2.2 * c_rate * STEP_S)
    c["ua_outdoors"] = 1.5 + 0.08 * hp.rated_w / 1000.0
    if spec.buffer is not None:
        c["buffer"] = 2.0 if spec.buffer.arrangement == "parallel" else 1.0
        c["buffer_j"] = max(spec.buffer.litres * WATER_J_PER_LITRE_K, 2.2 * c_rate * STEP_S)
        c["flow2"] = spec.buffer.secondary_flow_m3_per_h / 3600.0
        c["pump2_w"] = spec.buffer.secondary_pump_w
        c["buffer_mix"] = 12.0  # W/K between the layers; common practice for a small separator
    if spec.backup is not None:
        c["backup_w"], c["patience_s"] = spec.backup.power_w, 60.0 * spec.backup.patience_min
    c["node_litres"] = 1.0
    hw = spec.hot_water
    if hw is not None:
        c["hot_water"] = 1.0
        c["node_litres"] = hw.litres / CYLINDER_NODES
        c["coil_ua"], c["loss_ua"] = hw.coil_w_per_k, hw.loss_w_per_k
        c["immersion_w"], c["limit_s"] = hw.immersion_w, 60.0 * hw.limit_min
        c["reach_on"] = float(hw.immersion_w > 0.0)
        c["cold_water_c"] = 10.0
    return c


def water_to_slab(e: EmitterSpec) -> float:
    """Conductance from floor pipes to screed [W/K] that makes the floor give its output at its excess.

    e : Emitter, underfloor
    Returns float. Source: EN 1264-2 surface characteristic 8.92 W/m2 with exponent 1.1.
    """
    surface = (e.output_w / (8.92 * e.slab_area_m2)) ** (1.0 / 1.1)
    return e.output_w / max(e.excess_k - surface, 0.5)


def emitters_of(spec: PlantSpec) -> np.ndarray:
    """Emitters of up to two zones for the compiled step: record array (2,)."""
    out = np.zeros(2, dtype=EMITTER_DTYPE)
    flow = spec.heat_pump.flow_m3_per_h
    if spec.buffer is not None and spec.buffer.arrangement == "parallel":
        # margin for a far too fast secondary pump: numerical stability at one step's flow
        flow = max(flow, 4.6 * spec.buffer.secondary_flow_m3_per_h)
    floor_j = 1.1 * flow / 3600.0 * 4.15e6 * STEP_S
    for i, e in enumerate(spec.emitters):
        own = 0.5 * (e.litres * WATER_J_PER_LITRE_K + 1e3 * e.metal_kj_per_k)
        out[i]["rated"], out[i]["excess"], out[i]["exponent"] = e.output_w, e.excess_k, e.exponent
        out[i]["c_node"] = max(own, floor_j)
        if e.kind == "underfloor":
            out[i]["is_floor"] = 1.0
            out[i]["ua_water"] = water_to_slab(e)
            out[i]["slab_c"], out[i]["slab_area"] = 1e3 * e.slab_kj_per_k, e.slab_area_m2
    return out
