"""The controller as a state machine (compiled).

Modes: OFF, PRE (pre-circulation), START, RUN, DEFROST, POST (pump overrun), LOCKED.
`use` says for what the unit runs: 1 space heating, 2 hot water, 3 cooling.
"""

from numba import njit

from tests.reference.plants_b.network import noise, valves
from tests.reference.plants_b.records import (
    I_AWAY,
    I_BLOCK,
    I_DAY,
    I_HOUR,
    I_SETA,
    I_SETB,
    I_TOUT,
)
from tests.reference.plants_b.unit import defrost_due

OFF, PRE, START, RUN, DEFROST, POST, LOCKED = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0
SENSOR_LAYER = 3


@njit(cache=True)
def in_window(hour, start, end):
    """True where the hour of day lies in a window that may pass midnight."""
    if start <= end:
        return start <= hour < end
    return hour >= start or hour < end


@njit(cache=True)
def thermostat(kind, p, call, sensed, wanted, phase):
    """Heat call of one zone: 0 or 1."""
    if kind < 0.5:
        return 1.0
    if kind < 1.5:
        if sensed < wanted - p.stat_hyst:
            return 1.0
        if sensed > wanted + p.stat_hyst:
            return 0.0
        return call
    if kind < 2.5:
        duty = max(0.0, min(1.0, 0.5 + (wanted - sensed) / p.stat_band))
        return 1.0 if phase < duty else 0.0
    if sensed < wanted + 0.6:
        return 1.0
    return 0.0 if sensed > wanted + 1.0 else call


@njit(cache=True)
def space_demand(p, s, inp, clock, dt):
    """Heating season, zone calls and wanted flow temperature."""
    t_out = inp[I_TOUT] + p.ctl_out_offset
    s.t_out_avg += dt / 64800.0 * (t_out - s.t_out_avg)
    if s.t_out_avg < p.heat_limit - 0.5:
        s.season = 1.0
    elif s.t_out_avg > p.heat_limit + 0.5:
        s.season = 0.0
    lag = dt / p.stat_tau
    s.stat_a += lag * (s.room_a + 0.0015 * (s.t_em_a - s.room_a) - s.stat_a)
    s.stat_b += lag * (s.room_b - s.stat_b)
    phase = (clock % p.tpi_s) / p.tpi_s
    wish_a, wish_b = inp[I_SETA], inp[I_SETB]
    on = s.season * p.heat_enabled * p.unit_power
    s.call_a = on * thermostat(p.stat_a, p, s.call_a, s.stat_a, wish_a, phase)
    s.call_b = on * thermostat(p.stat_b, p, s.call_b, s.stat_b, wish_b, phase)
    s.call = max(s.call_a * p.valve_a_asks, s.call_b * p.valve_b_asks)
    slope = (p.curve_y1 - p.curve_y0) / (p.curve_x1 - p.curve_x0)
    level = p.curve_y0 + slope * (t_out - p.curve_x0)
    level += p.curve_shift + p.setback_slope * min(0.0, max(wish_a, wish_b) - 20.0)
    level += p.room_gain * max(-2.0, min(2.0, wish_a - s.stat_a))
    if p.fixed_flow > 0.0:
        level = p.fixed_flow
    s.target = max(p.flow_set_min, min(p.flow_set_max, level))
    s.cool = 0.0
    start_at = 22.8 if s.use == 3.0 else 23.5
    if p.cooling > 0.5 and s.season < 0.5 and s.t_out_avg > 19.0 and s.room_b > start_at:
        s.cool = p.unit_power


@njit(cache=True)
def water_demand(p, s, cyl, inp, dt):
    """Hot-water request, disinfection and time limits."""
    sensed = cyl[SENSOR_LAYER] + p.cyl_offset
    hour = inp[I_HOUR]
    allowed = in_window(hour, p.dhw_from, p.dhw_to) or in_window(hour, p.dhw_from2, p.dhw_to2)
    ready = p.dhw * p.dhw_enabled * p.unit_power
    if inp[I_AWAY] > 0.5:
        allowed = False
    if s.dhw_wait > 0.0:
        s.dhw_wait -= dt
    if p.dis_on > 0.5 and ready > 0.5:
        day = inp[I_DAY]
        starts = (day - p.dis_day) % p.dis_every == 0.0 and abs(hour - p.dis_hour) < 0.009
        if (starts and s.dis_req < 0.5) or p.dis_stuck > 0.5:
            s.dis_req = 1.0
            s.dhw_req = 1.0
            if starts:
                s.dis_s = 0.0
                s.dis_held = 0.0
    goal = p.dhw_set
    if s.dis_req > 0.5:
        goal = p.dis_set
        s.dis_s += dt
        if sensed >= p.dis_set - 1.0:
            s.dis_held += dt
        if (s.dis_held > p.dis_hold_s or s.dis_s > p.dis_max_s) and p.dis_stuck < 0.5:
            s.dis_req = 0.0
            s.dhw_req = 0.0
    if ready < 0.5:
        s.dhw_req = 0.0
        s.dis_req = 0.0
    elif s.dhw_req < 0.5:
        if sensed < p.dhw_on and allowed and s.dhw_wait <= 0.0:
            s.dhw_req = 1.0
            s.dhw_s = 0.0
    else:
        s.dhw_s += dt
        if sensed >= goal and s.dis_req < 0.5:
            s.dhw_req = 0.0
        elif s.dhw_s > p.dhw_max_s and s.dis_req < 0.5:
            s.dhw_req = 0.0
            s.dhw_wait = p.dhw_wait_s
            s.assist = p.imm_assist
        elif not allowed and s.dis_req < 0.5:
            s.dhw_req = 0.0
    immersion(p, s, cyl, hour, sensed, goal)
    return goal


@njit(cache=True)
def immersion(p, s, cyl, hour, sensed, goal):
    """Immersion heater: disinfection, assistance above the heat pump's reach, or its own timer."""
    on = False
    if s.dis_req > 0.5 and sensed > p.flow_max - 9.0 and sensed < p.dis_set + 0.5:
        on = True
    if p.imm_assist > 0.5 and p.unit_power > 0.5:
        if s.dhw_req > 0.5 and sensed > p.flow_max - 7.0 and sensed < goal:
            s.assist = 1.0
        if s.assist > 0.5:
            on = True
            if sensed >= goal:
                s.assist = 0.0
                s.dhw_wait = 0.0
    if p.imm_timer_on >= 0.0 and in_window(hour, p.imm_timer_on, p.imm_timer_off) and cyl[1] < p.imm_set:
        on = True
    if p.imm_assist > 1.5 and sensed < p.dhw_on - 3.0:  # emergency: the immersion alone makes hot water
        on = True
    if max(cyl[1], cyl[2]) > 80.0:  # safety thermostat
        on = False
    s.p_imm = p.imm_max if on else 0.0


@njit(cache=True)
def trips(p, s, dt):
    """Stop on too little flow or too high a pressure; count down a lock-out."""
    if s.mode == RUN or s.mode == START or s.mode == DEFROST:
        s.low_flow_s = s.low_flow_s + dt if s.flow < p.flow_trip else 0.0
        if s.low_flow_s > 60.0:
            s.fault = 7.0
            s.lock = p.lock_s
        elif s.tc > p.tc_max and s.use < 2.5:
            s.fault = 12.0
            s.lock = p.lock_s
    if s.lock != 0.0 and s.mode != LOCKED:
        enter(s, LOCKED)
        s.off_s = 0.0
        s.low_flow_s = 0.0
    if s.mode == LOCKED:
        if s.lock > 0.0:
            s.lock = max(0.0, s.lock - dt)
        if s.lock == 0.0:
            s.fault = 0.0
            enter(s, OFF)


@njit(cache=True)
def enter(s, mode):
    """Change the controller's mode."""
    s.mode = mode
    s.t_state = 0.0


@njit(cache=True)
def machine(p, s, cyl, goal, inp, dt):
    """One step of the state machine."""
    s.t_state += dt
    may = p.unit_power > 0.5 and p.compressor_enabled > 0.5 and inp[I_BLOCK] < 0.5
    water = s.dhw_req > 0.5 and (cyl[SENSOR_LAYER] + p.cyl_offset) < p.flow_max - 4.0
    heat = s.call > 0.5
    wanted = water or heat or s.cool > 0.5
    s.off_s += dt
    s.speed_goal = 0.0
    if s.mode == OFF:
        if wanted and may and s.off_s > p.min_off_s:
            s.use = 2.0 if water else (1.0 if heat else 3.0)
            if s.use != 1.0 or start_due(p, s):
                enter(s, PRE)
    elif s.mode == PRE:
        if not (wanted and may):
            enter(s, POST)
        elif s.t_state >= p.pre_s:
            warm = s.use == 1.0 and s.t_hx > s.target - (p.hyst_on if p.ctl_kind < 0.5 else -1.0)
            if warm or (s.use == 3.0 and s.t_hx < 19.5):
                enter(s, POST)  # the water is still warm (or cold) enough
                s.off_s = 0.0
            else:
                enter(s, START)
                s.starts += 1.0
                s.on_s = 0.0
                s.df_want = 0.0
                s.integ = p.n_start if s.use < 2.5 else p.n_min
                s.dm = 0.0
    elif s.mode == START or s.mode == RUN:
        run(p, s, water, heat, may, dt)
    elif s.mode == POST and s.t_state >= p.post_s:
        enter(s, OFF)


@njit(cache=True)
def start_due(p, s):
    """True where the water is cold enough to start for space heating (or nothing is known: no flow)."""
    if s.flow < 0.05:
        return s.t_hx < s.target - p.hyst_on or s.off_s > 900.0
    if p.ctl_kind > 0.5:
        return s.dm < -p.dm_start
    return s.t_hx < s.target - p.hyst_on


@njit(cache=True)
def run(p, s, water, heat, may, dt):
    """START and RUN: choose the use, watch the stop conditions, modulate."""
    s.on_s += dt
    if water and s.use != 2.0:
        s.use = 2.0
    if s.use == 2.0 and not water:
        if p.keep_running > 0.5 and heat:
            s.use = 1.0
        else:
            stop(s)
            return
    if s.use == 1.0 and not heat and s.on_s > p.min_on_s:
        stop(s)
        return
    if s.use == 3.0 and ((s.cool < 0.5 and s.on_s > p.min_on_s) or s.t_hx < 14.5):
        stop(s)
        return
    if not may:
        stop(s)
        return
    if s.use == 1.0 and s.t_hx > s.target + p.hyst_off and s.on_s > p.min_on_s and s.speed <= p.n_min + 0.05:
        stop(s)
        return
    if (
        p.ctl_kind > 0.5
        and s.use == 1.0
        and s.dm > 30.0
        and s.on_s > p.min_on_s
        and s.speed <= p.n_min + 0.02
    ):
        stop(s)
        return
    if s.use != 3.0 and s.t_hx > p.flow_max + 2.0 and s.on_s > 120.0:
        stop(s)
        return
    if s.use != 3.0 and defrost_due(p, s):
        enter(s, DEFROST)
        s.defrosts += 1.0
        s.df_running = 0.0
        return
    if s.mode == START:
        s.speed_goal = p.n_start
        if s.t_state >= p.start_s:
            enter(s, RUN)


@njit(cache=True)
def stop(s):
    """Stop the compressor; the pump runs on."""
    enter(s, POST)
    s.off_s = 0.0
    s.on_s = 0.0


@njit(cache=True)
def modulate(p, s, cyl, dt):
    """Set compressor speed by PI control on the flow temperature."""
    if s.mode == START:
        start = p.n_start if s.use < 2.5 else p.n_min + 0.03
        s.speed = min(start, s.speed + 0.02 * dt / 2.0)
        return
    if s.mode != RUN:
        s.speed = 0.0
        return
    top = p.n_max
    goal = s.target
    if s.use == 2.0:
        goal = min(cyl[SENSOR_LAYER] + p.cyl_offset + p.dhw_lift, p.flow_max)
        if s.dis_req > 0.5:
            goal = p.flow_max
        top = min(top, p.dhw_speed)
    error = goal - s.t_hx
    if s.use == 3.0:
        error = s.t_hx - 18.0
    s.integ = max(p.n_min, min(top, s.integ + p.kp * error * dt / p.ti_s))
    wish = max(p.n_min, min(top, s.integ + p.kp * error))
    s.speed += max(-0.012 * dt, min(0.006 * dt, wish - s.speed))


@njit(cache=True)
def pumps(p, s, inp, dt):
    """Circulation pump, diverter, degree-minutes and frost protection."""
    active = s.mode == PRE or s.mode == START or s.mode == RUN or s.mode == DEFROST or s.mode == POST
    idle = (p.pump_idle > 0.5 and s.call > 0.5) or p.pump_idle > 1.5
    frost = p.frost_pump_on > 0.5 and s.t_hx < p.frost_pump and inp[I_TOUT] < 4.0
    heater = s.p_bu > 0.0
    on = (active or idle or frost or heater) and p.unit_power > 0.5
    busy = s.mode == PRE or s.mode == START or s.mode == RUN or s.mode == DEFROST
    water = s.use == 2.0 and (busy or s.mode == POST)
    want = 1.0 if water and p.dhw > 0.5 else 0.0
    s.diverter += max(-dt / 20.0, min(dt / 20.0, want - s.diverter))
    if not on:
        s.pump = 0.0
    elif water:
        s.pump = p.pump_speed_dhw
    elif p.pump_kind > 0.5:
        spread = abs(s.t_hx - s.t_in)
        if s.mode == RUN:
            s.pump_s += 0.0008 * dt * max(-2.0, min(2.0, spread - p.pump_dt))
        s.pump_s = max(0.42, min(1.0, s.pump_s))
        s.pump = s.pump_s
    else:
        s.pump = p.pump_speed
    if s.flow > 0.05 and s.use == 1.0:
        s.dm = max(-400.0, min(200.0, s.dm + (s.t_hx - s.target) * dt / 60.0))


@njit(cache=True)
def backup(p, s, inp, dt):
    """Back-up heater in the flow pipe: degree-minutes below the bivalent temperature, or emergency."""
    s.p_bu = 0.0
    if p.bu_max <= 0.0 or p.unit_power < 0.5:
        return
    heat = s.call > 0.5 and s.diverter < 0.1
    emergency = p.bu_emergency > 0.5 and (s.mode == LOCKED or p.compressor_enabled < 0.5)
    if not heat:
        s.bu_dm = min(s.bu_dm + 3.0 * dt / 60.0, 0.0)
        return
    cold = inp[I_TOUT] + p.ctl_out_offset < p.bu_bivalent
    gap = s.target - s.t_sup
    if (cold and (s.mode == RUN or s.mode == DEFROST)) or emergency:
        s.bu_dm = max(-2.0 * p.bu_dm, min(0.0, s.bu_dm - gap * dt / 60.0))
    else:
        s.bu_dm = min(0.0, s.bu_dm + 10.0 * dt / 60.0)
    if (s.bu_dm < -p.bu_dm or (emergency and gap > 0.5) or (cold and p.bu_manual > 0.5)) and s.flow > 0.1:
        lacking = max(0.0, s.target - s.t_hx) * s.flow * p.rho_cp
        stage = p.bu_max / 3.0
        s.p_bu = min(p.bu_max, stage * (int(lacking / stage) + 1))
    elif emergency and s.flow <= 0.1:
        s.p_bu = 1.0  # asks for the pump; one watt, no heat yet


@njit(cache=True)
def control_step(p, s, cyl, inp, clock, dt):
    """All decisions of one step."""
    space_demand(p, s, inp, clock, dt)
    goal = water_demand(p, s, cyl, inp, dt)
    trips(p, s, dt)
    machine(p, s, cyl, goal, inp, dt)
    if p.unit_power < 0.5 and s.mode != OFF:
        enter(s, OFF)
        s.off_s = 0.0
        s.speed = 0.0
    modulate(p, s, cyl, dt)
    backup(p, s, inp, dt)
    pumps(p, s, inp, dt)
    valves(p, s, inp, inp[I_SETA], inp[I_SETB], dt)
    if p.air > 0.9:
        noise(s)
