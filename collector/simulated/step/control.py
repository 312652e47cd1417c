"""One step of the controls: season, room calls, hot-water request, target flow temperature and pumps."""

from __future__ import annotations

import numpy as np
from numba import njit

from fieldfare.collector.simulated.step.layout import SENSOR_NODE, STEP_S, Record


@njit(cache=True)
def curve_at(curve: np.ndarray, outdoor: float) -> float:
    """Flow temperature of a heating curve.

    curve : float array (points, 2) [degC], coldest first; outdoor : float [degC]
    Returns float [degC]; beyond the ends the last slope goes on.
    """
    n = curve.shape[0]
    i = 0
    while i < n - 2 and outdoor > curve[i + 1, 0]:
        i += 1
    slope = (curve[i + 1, 1] - curve[i, 1]) / (curve[i + 1, 0] - curve[i, 0])
    return curve[i, 1] + slope * (outdoor - curve[i, 0])


@njit(cache=True)
def rooms(
    c: Record,
    h: Record,
    s: Record,
    outdoor: float,
    air: np.ndarray,
    sensor: np.ndarray,
    call: np.ndarray,
    duty: np.ndarray,
    valve: np.ndarray,
) -> None:
    """Decide which zones call for heat and how far their valves open.

    c, h, s : records, s updated in place; outdoor : float [degC]; air, sensor, call, duty, valve : float
        arrays (2,), all but the first updated in place
    """
    s.to_ctrl += STEP_S / 7200.0 * (outdoor - s.to_ctrl)
    s.to_day += STEP_S / 86400.0 * (outdoor - s.to_day)
    if s.season > 0.5:
        if s.to_day > h.cutoff + 0.5:
            s.season = 0.0
    elif s.to_day < h.cutoff - 0.5:
        s.season = 1.0
    valve_opening = 0.0
    for z in range(int(c.zones)):
        target = h.target0 if z == 0 else h.target1
        if c.thermostat > 0.5:
            # An anticipator warms the sensor while it calls; the thermostat learns to correct for its mean
            # warmth.
            duty[z] += STEP_S / 7200.0 * (call[z] - duty[z])
            sensor[z] += STEP_S / c.sensor_tau * (air[z] + h.anticipator * (call[z] - duty[z]) - sensor[z])
            band = 0.5 * c.hysteresis * h.hysteresis
            if call[z] > 0.5:
                if sensor[z] > target + band:
                    call[z] = 0.0
            elif sensor[z] < target - band:
                call[z] = 1.0
            opening = max(call[z], h.summer_call)
        else:
            call[z] = 1.0
            floor = c.trv_floor * min(1.0, max(0.02, (target + 4.0 - air[z]) / 2.0))
            opening = min(1.0, max(floor, (target + 1.3 - air[z]) / 1.6))
        valve[z] = opening * (h.open0 if z == 0 else h.open1)
        valve_opening = max(valve_opening, opening)
    s.call = 1.0 if (s.season > 0.5 and h.enable > 0.5 and h.power > 0.5 and valve_opening > 0.02) else 0.0
    if h.enable < 0.5 or s.season < 0.5:
        for z in range(2):
            valve[z] = 0.0


@njit(cache=True)
def target_flow(c: Record, h: Record, s: Record, curve: np.ndarray) -> None:
    """Set the target flow temperature from the curve or a fixed setting; s is updated in place."""
    top = curve[0, 1]
    t = top + h.curve_slope * (curve_at(curve, s.to_ctrl) - top) + h.curve_shift
    if h.fixed_flow > 0.0:
        t = h.fixed_flow
    s.tset = min(max(t, c.min_flow + h.min_flow), c.max_flow - 2.0)


@njit(cache=True)
def hot_water(c: Record, h: Record, s: Record, cyl: np.ndarray) -> int:
    """Start and end reheats; control the immersion heater.

    c, h, s : records, s updated in place; cyl : float array (nodes,) [degC], top first
    Returns int, 1 reheat starts, 2 reaches its goal, 3 gives up, 0 no change.
    """
    if c.hot_water < 0.5 or h.power < 0.5:
        s.p_imm = 0.0
        ended = 3 if s.dhw > 0.5 else 0
        s.dhw = 0.0
        return ended
    now = cyl[SENSOR_NODE]
    event = 0
    if h.pasteurise > 0.0 and s.past < 1.0:
        s.past = h.pasteurise
    if s.past > 0.0 and now >= s.past:
        s.past = 0.0
    goal = max(h.setpoint, s.past)
    begin = h.reheat_below if s.past <= 0.0 else goal - 0.5
    if s.dhw_lock > 0.0:
        s.dhw_lock -= STEP_S
    completes = h.immersion_completes > 0.5 and c.reach_on > 0.5
    unit_goal = min(goal, c.reach) if completes else goal
    if s.dhw < 0.5:
        may = h.hot_on > 0.5 or s.past > 0.0
        if may and s.dhw_lock <= 0.0 and now < min(begin, unit_goal - 0.3) and s.imm_goal <= 0.0:
            s.dhw, s.dhw_s, s.dhw_goal, s.dhw_from = 1.0, 0.0, goal, now
            event = 1
        elif s.past > 0.0 and completes and now < goal and s.imm_goal <= 0.0 and now >= unit_goal - 0.3:
            s.imm_goal = goal
    else:
        s.dhw_s += STEP_S
        s.dhw_goal = max(s.dhw_goal, goal) if s.past > 0.0 else s.dhw_goal
        if now >= min(s.dhw_goal, unit_goal):
            s.dhw = 0.0
            event = 2
            if completes and s.dhw_goal > unit_goal + 0.1:
                s.imm_goal = s.dhw_goal
        elif s.dhw_s > c.limit_s:
            s.dhw, s.dhw_lock = 0.0, 10800.0
            event = 3
            s.past = 0.0 if not completes else s.past
            if completes:
                s.imm_goal = s.dhw_goal
    if s.imm_goal > 0.0 and now >= s.imm_goal + 0.3:
        s.imm_goal = 0.0
    heats = s.imm_goal > 0.0 or (h.immersion_timer > 0.0 and now < h.immersion_timer)
    s.p_imm = c.immersion_w if heats else 0.0
    return event


@njit(cache=True)
def water_flow(c: Record, h: Record, s: Record, opening: float, noise: float) -> None:
    """Set pumps and the flow through the unit.

    c, h, s : records, s changed; opening : float, 0 to 1, mean of the valves; noise : float, standard normal
    """
    frost_guard = s.t_out < 5.0 or s.t_in < 5.0
    needed = s.call > 0.5 and c.buffer < 1.5
    busy = s.on > 0.5 or s.dhw > 0.5 or s.defrost > 0.5
    if busy:
        s.post = 180.0
    elif s.post > 0.0:
        s.post -= STEP_S
    runs = h.power > 0.5 and (needed or busy or s.post > 0.0 or frost_guard or h.pump_always > 0.5)
    if not runs:
        s.v, s.p_pump = 0.0, 0.0
        return
    share = h.flow * (h.flow_hot if s.route > 1.5 else 0.85 + 0.15 * opening)
    if c.pump_k > 0.0 and s.defrost < 0.5 and c.flow > 0.0:
        # the pump follows the output to keep its difference; a restriction only takes away from the top
        share_wanted = s.q / (c.pump_k * 4.15e6) / c.flow
        before = s.v / c.flow if s.v > 0.0 else share
        share_wanted = before + STEP_S / 60.0 * (share_wanted - before)
        share = min(share, max(c.pump_least * h.flow**0.5, share_wanted))
    if h.air_bubbles > 0.0:
        share *= max(0.25, 1.0 + h.air_bubbles * noise)
    s.v = c.flow * share
    s.p_pump = c.pump_w
    if c.pump_k > 0.0:
        s.p_pump = c.pump_w * (0.15 + 0.85 * min(1.0, share) ** 2)
    if c.buffer > 1.5 and (s.call > 0.5 or h.pump_always > 0.5):
        s.p_pump += c.pump2_w
