"""One step of the outdoor unit: on/off, modulation, electricity, frost and defrost."""

from __future__ import annotations

import math

from numba import njit

from fieldfare.collector.simulated.step.layout import STEP_S, Record
from fieldfare.collector.simulated.step.machine import (
    DEFROST_MAX_S,
    coil_share,
    frost_growth,
    greatest_output,
)
from fieldfare.collector.simulated.step.physics import LATENT_ICE_J_PER_KG, compressor_cop

SETTLE_S = 300.0  # after a start or a diverter change the flow may overshoot without ending the run
LOW_FLOW_SHARE = 0.15  # of nominal; below it the unit locks out with a flow fault (common practice)
GREATEST_SPREAD_K = 12.0
STOP_CALL, STOP_DIFFERENTIAL, STOP_HOT, STOP_LIMIT, STOP_POWER, STOP_FLOW = 1.0, 2.0, 3.0, 4.0, 5.0, 6.0


@njit(cache=True)
def switch(c: Record, h: Record, s: Record) -> int:
    """Start or stop the compressor; s is updated in place.

    c, h, s : records
    Returns int: 1 a start, -1 a stop, 0 neither.
    """
    want = 2.0 if s.dhw > 0.5 else (1.0 if s.call > 0.5 else 0.0)
    if s.lock > 0.0:
        s.lock -= STEP_S
        if s.lock <= 0.0:
            s.fault = 0.0
    if s.on > 0.5:
        s.run += STEP_S
        reason = 0.0
        if h.power < 0.5:
            reason = STOP_POWER
        elif s.v < LOW_FLOW_SHARE * c.flow and s.run > 60.0:
            reason, s.lock, s.fault = STOP_FLOW, 900.0, 1.0
        elif s.defrost > 0.5:
            return 0
        elif want < 0.5:
            if s.run >= c.min_run:
                reason = STOP_HOT if s.mode > 1.5 else STOP_CALL
        elif s.route > 1.5:
            s.mode = 2.0
            if s.t_out > c.max_flow + 1.0:
                reason = STOP_LIMIT
        else:
            s.mode = 1.0
            over = s.t_out - s.tset
            too_warm = (over > c.stop_above and s.q <= 1.1 * s.low) or over > c.stop_above + 5.0
            if too_warm and s.route_s > SETTLE_S and s.run > SETTLE_S - 120.0:
                reason = STOP_DIFFERENTIAL
            if s.t_out > c.max_flow + 1.0:
                reason = STOP_LIMIT
        if reason > 0.0:
            s.on, s.off, s.q, s.stop_reason, s.defrost = 0.0, 0.0, 0.0, reason, 0.0
            return -1
        return 0
    s.off += STEP_S
    if h.power < 0.5 or s.lock > 0.0 or want < 0.5 or (s.v <= 0.0 and c.buffer < 1.5):
        return 0
    begins = False
    if want > 1.5:
        begins = s.off >= 120.0 and s.t_out < c.max_flow - 6.0
    else:
        sense = s.top if c.buffer > 1.5 else s.t_out
        begins = s.off >= c.min_off and sense < s.tset - c.start_below
    if not begins:
        return 0
    s.on, s.run, s.mode, s.ramp, s.q, s.integral = 1.0, 0.0, want, 0.0, 0.0, 0.0
    s.starts += 1.0
    return 1


@njit(cache=True)
def modulate(c: Record, s: Record, low: float, full: float) -> None:
    """Move the output towards the demand of flow temperature or cylinder.

    c, s : records, s updated in place; low, full : float [W] minimum and maximum continuous output now
    """
    if s.mode > 1.5:
        room = min(1.0, max(0.0, (c.max_flow + 0.5 - s.t_out) / 3.0))
        want = c.hot_share * full * room
    else:
        kp = 0.25 * max(s.cdot, 300.0)
        error = s.tset - s.t_out
        if s.integral <= 0.0:
            s.integral = max(low, 0.4 * full)
        want = s.integral + kp * error
        if low < want < full or (want >= full and error < 0.0) or (want <= low and error > 0.0):
            s.integral += kp * error * STEP_S / 240.0
        s.integral = min(full, max(low, s.integral))
    # the unit limits its output before the flow-return difference gets too large (common practice)
    want = min(want, GREATEST_SPREAD_K * s.cdot)
    want = min(full, max(low, want))
    if s.run < 180.0:
        want = min(want, max(low, 0.5 * full))
    if s.q <= 0.0:
        s.q = max(low, min(0.4 * full, GREATEST_SPREAD_K * s.cdot))
    rise = c.rate * c.rated * STEP_S
    s.q = min(max(want, s.q - 3.0 * rise), s.q + rise)
    s.q = min(full, max(low, s.q))


@njit(cache=True)
def melt(c: Record, h: Record, s: Record) -> bool:
    """One step of a defrost: heat melts frost and warms the coil; s is updated in place.

    c, h, s : records
    Returns bool, True when the defrost ends.
    """
    s.defrost_s += STEP_S
    start = min(1.0, s.defrost_s / 30.0)
    warm_enough = min(1.0, max(0.0, (s.t_in - 3.0) / 8.0))
    taken = c.defrost_w * h.defrost_heat * start * warm_enough
    s.q_cond, s.p_comp, s.p_fan = -taken, c.defrost_elec_w, 0.0
    usable = 0.8 * (taken + s.p_comp) * STEP_S  # the rest warms the air
    if s.coil_t < 0.0:
        s.coil_t = min(0.5, s.coil_t + usable / c.c_coil)
    elif s.frost > 0.02 * c.frost_full:
        s.frost = max(0.0, s.frost - 0.9 * usable / LATENT_ICE_J_PER_KG)
        s.coil_t = min(4.0, s.coil_t + 0.1 * usable / c.c_coil)
    else:
        s.coil_t += usable / c.c_coil
    s.t_ev = s.coil_t
    return s.coil_t >= c.defrost_end or s.defrost_s >= DEFROST_MAX_S


@njit(cache=True)
def unit(c: Record, h: Record, s: Record, outdoor: float, vapour: float) -> int:
    """One step of compressor, fan, coil and frost; s is updated in place.

    c, h, s : records; outdoor : float [degC]; vapour : float [Pa]
    Returns int: 2 a defrost begins, 3 a defrost ends, 0 neither.
    """
    s.p_ctrl = (c.controls_w + h.standby) if h.power > 0.5 else 0.0
    s.growth = 0.0
    if s.on < 0.5:
        s.p_comp, s.p_fan, s.q_cond, s.speed = 0.0, 0.0, 0.0, 0.0
        s.t_ev += STEP_S / 900.0 * (outdoor - s.t_ev)
        s.coil_t = s.t_ev
        if c.defrost_timed < 0.5:
            s.iced_s = 0.0
        if outdoor > 0.5:
            s.frost = max(0.0, s.frost - 5e-5 * c.frost_full * outdoor * STEP_S)
        if s.off > 1800.0 and outdoor < 12.0 and h.power > 0.5:
            s.p_ctrl += c.crankcase_w
        return 0
    s.seconds += STEP_S
    if s.defrost > 0.5:
        if melt(c, h, s):
            s.defrost, s.since_defrost, s.ramp, s.iced_s = 0.0, 0.0, 0.3, 0.0
            s.t_ev = min(outdoor, 0.0) - 2.0
            return 3
        return 0
    full = h.capacity * greatest_output(c.rated, s.t_ev, c.tev_rated, s.t_out, c.cold_slope, c.warm_slope)
    low = min(c.min_w * full / c.rated, full)
    s.low = low
    modulate(c, s, low, full)
    s.speed = min(1.0, s.q / full)
    cop = compressor_cop(s.t_ev, s.t_out + s.q / c.ua_cond, s.speed, c.eta * h.eta)
    s.p_comp = s.q / cop
    s.p_fan = c.fan_w * (0.35 + 0.65 * s.speed)
    s.ramp += STEP_S / c.ramp_s * (1.0 - s.ramp)
    s.q_cond = s.q * s.ramp
    from_air = s.q - s.p_comp
    conductance = c.ua_air * coil_share(s.frost, c.frost_full, h.airflow) * h.evaporator
    s.t_ev += (1.0 - math.exp(-STEP_S / 40.0)) * (outdoor - from_air / conductance - s.t_ev)
    s.coil_t = s.t_ev
    s.growth = frost_growth(vapour, outdoor, s.t_ev, c.frost_rate * h.airflow)
    surface = s.t_ev + 0.25 * (outdoor - s.t_ev)
    s.frost += STEP_S * s.growth
    if surface > 0.0:
        s.frost = max(0.0, s.frost - 5e-5 * c.frost_full * surface * STEP_S)
    s.since_defrost += STEP_S
    read = s.t_ev + h.coil_sensor
    inferred = from_air / max(outdoor - read, 0.5)
    if c.defrost_timed > 0.5:
        if read < -1.5:
            s.iced_s += STEP_S
        due = s.iced_s > c.defrost_gap
    else:
        if inferred < c.defrost_trigger * c.ua_air and read < -1.5:
            s.iced_s += STEP_S
        else:
            s.iced_s = max(0.0, s.iced_s - STEP_S)
        due = s.iced_s > 120.0 and s.since_defrost > c.defrost_gap
    if due and s.run > 300.0:
        s.defrost, s.defrost_s = 1.0, 0.0
        return 2
    return 0


@njit(cache=True)
def backup(c: Record, h: Record, s: Record) -> None:
    """Control the electric heater in the heating flow; s is updated in place.

    c, h, s : records
    """
    s.p_backup = 0.0
    ready = c.backup_w > 0.0 and s.call > 0.5 and s.route < 1.5 and s.v > 0.0 and s.defrost < 0.5
    if not ready or s.to_ctrl > h.bivalent + (1.0 if s.backup > 0.5 else 0.0):
        s.backup, s.short_s = 0.0, max(0.0, s.short_s - STEP_S)
        return
    if h.eager > 0.5:
        # enabled by outdoor temperature alone: its thermostat is set slightly above the unit's target
        if s.t_dist < s.tset + 1.0:
            s.backup = 1.0
        elif s.t_dist > s.tset + 3.0:
            s.backup = 0.0
        s.p_backup = c.backup_w * s.backup
        return
    lacking = s.on > 0.5 and s.speed > 0.96 and s.t_out < s.tset - 2.0
    s.short_s = s.short_s + STEP_S if lacking else max(0.0, s.short_s - STEP_S)
    if s.short_s > c.patience_s:
        s.backup = 1.0
        s.short_s = c.patience_s
    if s.backup > 0.5:
        if s.t_out > s.tset - 0.3:
            s.backup = 0.0
        s.p_backup = s.backup * min(c.backup_w, max(0.3 * c.backup_w, s.cdot * (s.tset - s.t_out)))
