"""Controls for one step: calls, heating curve, hot-water priority, speed, pump and direct heaters."""

from numba import njit


@njit(cache=True)
def zone_valve(thermostat, hyst, band, valve_max, room, target, v, th, phase, dt):
    """Return valve opening and thermostat state of one zone; actuators take three minutes.

    `phase` is the position in the cycle of a time-proportional thermostat (kind 2), 0 to 1.
    """
    if thermostat > 1.5:
        th = 1.0 if phase < min(max(0.5 + target - room, 0.0), 1.0) else 0.0
        want = th
    elif thermostat > 0.5:
        if room < target - hyst:
            th = 1.0
        elif room > target + hyst:
            th = 0.0
        want = th
    else:
        want = min(max((target + 0.75 * band - room) / band, 0.0), 1.0)
        th = 1.0 if want > 0.05 else 0.0
    want = min(want, valve_max)
    step = dt / 180.0
    v += min(max(want - v, -step), step)
    return v, th


@njit(cache=True)
def heat_call(p, s, d, dt):
    """Update filters, season and zone valves; return whether heating is called."""
    s.to_f += (d.to - s.to_f) * dt / (p.filter_h * 3600.0)
    s.to_day += (d.to - s.to_day) * dt / 86400.0
    if s.season > 0.5:
        s.season = 0.0 if s.to_day > p.limit_c + 0.7 and p.limit_on > 0.5 else 1.0
    else:
        s.season = 1.0 if s.to_day < p.limit_c - 0.7 or p.limit_on < 0.5 else 0.0
    s.clock += dt
    phase = (s.clock % p.period_s) / p.period_s
    s.v1, s.th1 = zone_valve(
        p.thermostat1,
        p.th_hyst,
        p.trv_band,
        p.valve_max1,
        s.air1 + p.sense_off1,
        d.set1,
        s.v1,
        s.th1,
        phase,
        dt,
    )
    call = s.th1 > 0.5
    if p.zones > 1.5:
        s.v2, s.th2 = zone_valve(
            p.thermostat2,
            p.th_hyst,
            p.trv_band,
            p.valve_max2,
            s.air2 + p.sense_off2,
            d.set2,
            s.v2,
            s.th2,
            phase,
            dt,
        )
        call = call or s.th2 > 0.5
    if p.thermostat1 < 0.5:
        call = True  # radiator valves give no signal to the unit
    return call and s.season > 0.5


@njit(cache=True)
def flow_target(p, s, d):
    """Return the flow temperature that the heating curve asks for, with room influence and set-back."""
    if p.fixed_flow > 0.0:
        return p.fixed_flow
    x = min(max(s.to_f, p.x1 - 8.0), p.x2)
    t = p.y1 + (p.y2 - p.y1) * (x - p.x1) / (p.x2 - p.x1)
    t += p.shift + p.set_k * (d.set1 - p.set_base)
    t += p.room_k * min(max(d.set1 - s.air1, -1.5), 1.5)
    return min(max(t, 22.0), p.t_max)


@njit(cache=True)
def water_call(p, s, d, dt):
    """Update the hot-water charge and the weekly disinfection; sets the immersion heater."""
    s.imm_w = 0.0
    if p.dhw < 0.5 or d.power < 0.5:
        s.dhw_on = 0.0
        return
    s.dhw_block = max(0.0, s.dhw_block - dt)
    if d.past_start > 0.5 and p.past_c > 0.0 and s.past < 0.5:
        s.past = 1.0
        s.past_t = 0.0
    goal = p.setp
    if s.past > 0.5:
        s.past_t += dt
        goal = min(p.past_c, p.hp_past)
        if s.cyl_sense >= p.past_c or s.past_t > 21600.0:
            s.past = 0.0
        elif p.imm_w > 0.0 and s.cyl_sense >= goal - 0.5:
            s.imm_w = p.imm_w
    if s.dhw_on < 0.5:
        due = s.cyl_sense < p.reheat and d.dhw_ok > 0.5
        if (due or (s.past > 0.5 and s.cyl_sense < goal - 1.0)) and s.dhw_block <= 0.0:
            s.dhw_on = 1.0
            s.dhw_t = 0.0
    else:
        s.dhw_t += dt
        if s.cyl_sense >= goal:
            s.dhw_on = 0.0
        elif s.dhw_t > p.dhw_timeout_s:
            s.dhw_on = 0.0
            s.dhw_block = 7200.0
    if d.imm_ok > 0.5 and p.imm_w > 0.0:
        if s.cyl_sense < p.imm_c - 4.0:
            s.imm_run = 1.0
        elif s.cyl_sense >= p.imm_c:
            s.imm_run = 0.0
        if s.imm_run > 0.5:
            s.imm_w = p.imm_w


@njit(cache=True)
def pump(p, s, d, want, dt):
    """Set the water flow through the unit [m3/h] and the pumps' power [W]."""
    on = want > 0.0 or p.pump_always > 0.5 or s.mode > 0.5 or s.idle_t < 180.0
    if d.to < 3.0 and min(s.t_u, s.t_rp) < 6.0:
        on = True
    s.idle_t = 0.0 if want > 0.0 or s.mode > 0.5 else s.idle_t + dt
    s.sec_on = 1.0 if (s.call > 0.5 or p.pump_always > 0.5) and d.power > 0.5 else 0.0
    if d.power < 0.5 or not on:
        s.q_unit = 0.0
        s.pump_w = p.pump2_w * s.sec_on if d.power > 0.5 else 0.0
        return
    speed = 1.0
    if p.modulating > 0.5 and s.mode == 1.0 and s.circ == 1.0:
        s.ps += 0.0015 * dt * ((s.t_u - s.t_rp) - p.dt_set) / p.dt_set
        s.ps = min(max(s.ps, 0.4), 1.0)
        speed = s.ps
    part = 1.0
    if p.buffer < 1.5 and s.circ == 1.0:
        total = p.share1 * s.v1 + (p.share2 * s.v2 if p.zones > 1.5 else 0.0)
        part = max(min(total, 1.0) ** 0.7 if total > 0.0 else 0.0, p.bypass)
    s.q_unit = p.q_nom * p.flow_factor * speed * part
    s.pump_w = p.pump_w * (0.25 + 0.75 * speed**2.5) + p.pump2_w * s.sec_on


@njit(cache=True)
def backup(p, s, d, want, blocked, dt):
    """Set the back-up heater [W]: below the bivalent point after a lasting deficit, or in an emergency."""
    if d.power < 0.5 or want != 1.0 or p.bu_w <= 0.0:
        s.bu_w = 0.0
        s.bu_t = 0.0
        s.bu_on = 0.0
        return
    emergency = blocked and p.bu_emergency > 0.5
    if (d.to < p.bivalent or emergency) and s.t_h < s.target - 2.5:
        s.bu_t += dt
    else:
        s.bu_t = max(0.0, s.bu_t - dt)
    if s.bu_t > (300.0 if emergency else p.bu_delay_s):
        s.bu_on = 1.0
    if s.t_h > s.target + 1.0 or (d.to > p.bivalent + 0.5 and not emergency):
        s.bu_on = 0.0
    s.bu_w = 0.0
    if s.bu_on > 0.5 and s.q_unit > 0.0:
        s.bu_w = p.bu_w * min(max((s.target + 0.5 - s.t_h) / 3.0, 0.0), 1.0)


@njit(cache=True)
def compressor(p, s, d, want, blocked, dt):
    """Start, stop and modulate the compressor."""
    f_max = p.f_max * (1.0 + p.boost * min(max((7.0 - d.to) / 14.0, 0.0), 1.0))
    if d.quiet > 0.5:
        f_max *= p.quiet_f
    f_max = max(f_max, p.f_min)
    if want == 2.0:
        goal = min(s.cyl_sense + p.dhw_dt, p.dhw_tmax)
        f_max = max(min(f_max, p.dhw_f), p.f_min)
    elif want == 4.0:
        goal = p.cool_flow
    else:
        goal = s.target
    # fixed-speed units are switched by the return temperature
    sensed = s.t_u if p.fixed < 0.5 or want == 2.0 else s.t_rp + p.dt_set
    error = goal - sensed if want != 4.0 else s.t_u - goal
    if s.running < 0.5:
        start = error > p.hyst_on or (want == 2.0 and error > 1.0)
        if want > 0.0 and not blocked and start and s.t_off >= p.min_off_s and s.q_unit > 0.0:
            s.running = 1.0
            s.starts += 1.0
            s.mode = want
            s.f = max(0.5 * p.f_max, p.f_min) if p.fixed < 0.5 else 1.0
            s.qc = 0.5 * p.q_full
            s.w_comp = 0.15 * p.q_full
            s.over_t = 0.0
            s.e_prev = error
        else:
            s.mode = 0.0
        return
    s.over_t = s.over_t + dt if error < -p.hyst_off else 0.0
    off = want == 0.0 or blocked or s.t_u > p.t_max + 3.0
    off = off or (s.over_t > 45.0 and s.t_on > p.min_on_s and want != 2.0)
    off = off or (want == 2.0 and s.t_u > p.dhw_tmax + 2.5 and s.t_on > 120.0)
    if off:
        s.running = 0.0
        s.mode = 0.0
        s.f = 0.0
        return
    s.mode = want
    if p.fixed > 0.5:
        s.f = 1.0
        return
    if s.t_on > 180.0:
        s.f += p.kp * (error - s.e_prev) + p.ki * error * dt
    if s.bu_on > 0.5:
        s.f = f_max
    s.f = min(max(s.f, p.f_min), f_max)
    s.e_prev = error


@njit(cache=True)
def step_controls(p, s, d, dt):
    """Choose mode, speed, flows and direct heaters for one step."""
    call = heat_call(p, s, d, dt)
    s.call = 1.0 if call else 0.0
    s.target = flow_target(p, s, d)
    water_call(p, s, d, dt)
    blocked = d.power < 0.5 or d.enable < 0.5 or d.lock > 0.5
    want = 0.0
    if d.power > 0.5:
        if s.dhw_on > 0.5 and not blocked:
            want = 2.0
        elif call:
            want = 1.0
        elif p.cool > 0.5 and d.cool_ok > 0.5:
            want = 4.0
    if s.mode == 3.0:
        if blocked:
            s.mode = 0.0
            s.running = 0.0
        else:
            pump(p, s, d, 1.0, dt)
            s.circ = 1.0 if s.season > 0.5 or p.dhw < 0.5 else 2.0
            backup(p, s, d, want, blocked, dt)
            return
    s.circ = 2.0 if want == 2.0 else 1.0
    pump_want = want if d.enable > 0.5 or p.bu_emergency > 0.5 else 0.0
    pump(p, s, d, pump_want, dt)
    backup(p, s, d, want if d.enable > 0.5 else 0.0, blocked, dt)
    compressor(p, s, d, want, blocked, dt)
