"""The minute loop: controls, unit, water and house; logs a row a minute and keeps the energy ledger."""

import numpy as np
from numba import njit

from tests.reference.plants_a.control import step_controls
from tests.reference.plants_a.hydronics import WATER_J_PER_L_K, step_house, step_water
from tests.reference.plants_a.physics import water_density
from tests.reference.plants_a.records import DRIVE, LAYERS, LEDGER, LOG, PARAM_NAMES, PARAMS, STATE
from tests.reference.plants_a.unit import step_unit

STEPS = 4
DT = 60.0 / STEPS
KWH = 3.6e6


@njit(cache=True)
def stored_j(p, s, lay):
    """Return the heat stored above 0 degC [J] in water, emitters, rooms and cylinder."""
    w = WATER_J_PER_L_K
    e = s.t_u * (p.unit_l * w + p.c_unit) + s.t_h * 4.0 * w + s.t_fp * p.pipe_l * w + s.t_rp * p.return_l * w
    if p.buffer > 1.5:
        e += 0.5 * p.buffer_l * w * (s.t_bt + s.t_bb)
    elif p.buffer > 0.5:
        e += p.buffer_l * w * s.t_sb
    e += p.c_em1 * (s.a1 if p.floor1 > 0.5 else 0.5 * (s.a1 + s.b1)) + p.c_air1 * s.air1 + p.c_mass1 * s.mass1
    if p.zones > 1.5:
        e += p.c_em2 * (s.a2 if p.floor2 > 0.5 else 0.5 * (s.a2 + s.b2))
        e += p.c_air2 * s.air2 + p.c_mass2 * s.mass2
    for i in range(LAYERS):
        e += lay[i] * p.cyl_l / LAYERS * w
    return e


@njit(cache=True)
def step_pressure(p, s):
    """Advance the circuit's pressure [bar gauge] by a minute: expansion, leak, filling, safety valve."""
    mean = 0.25 * (s.t_fp + s.t_rp + s.a1 + s.b1)
    s.water += (p.refill - p.leak_l) / 1440.0
    grown = p.sys_l * (water_density(15.0) / water_density(mean) - 1.0)
    gas = p.ves_l - (s.ves_in + s.water + grown)
    gas = max(gas, 0.02 * p.ves_l)
    s.pressure = (p.ves_pre + 1.013) * p.ves_l / gas - 1.013
    if s.pressure > 3.0:
        want = (p.ves_pre + 1.013) * p.ves_l / 4.0
        s.water -= want - gas
        s.pressure = 3.0 - 0.013
    s.pressure = max(s.pressure, 0.0)


@njit(cache=True)
def apply_schedule(pv, schedule, minute):
    """Set parameters that change in time; rows are start minute, end minute, index, from, to."""
    for k in range(schedule.shape[0]):
        if minute >= schedule[k, 0]:
            x = 1.0
            if minute < schedule[k, 1]:
                x = (minute - schedule[k, 0]) / (schedule[k, 1] - schedule[k, 0])
            pv[int(schedule[k, 2])] = schedule[k, 3] + x * (schedule[k, 4] - schedule[k, 3])


@njit(cache=True)
def add_ledger(led, p, s, d, dt):
    """Add one step's energies [J] to the ledger."""
    led.q_hp += s.q_hp * dt
    led.bu += s.bu_w * dt
    led.imm += s.imm_w * dt
    led.gains += s.gain_j
    led.sun += s.sun_j
    led.stove += d.stove * dt
    led.draw += s.draw_j
    led.loss_cyl_out += s.loss_cyl_j * (1.0 - p.loss_inside)
    led.loss_env += s.loss_env_j
    led.loss_pipe += s.loss_pipe_j
    led.elec += (s.w_hp + s.bu_w + s.imm_w + s.pump_w) * dt
    led.hp_elec += s.w_hp * dt
    led.air += s.q_air * dt


@njit(cache=True)
def run(params, state, layers, drive, schedule, log, ledger, first):
    """Simulate every minute of `drive`; minutes before `first` are run-in, outside the ledger."""
    p = params[0]
    s = state[0]
    led = ledger[0]
    pv = params.view(np.float64)
    for t in range(drive.shape[0]):
        d = drive[t]
        o = log[t]
        apply_schedule(pv, schedule, t)
        if t == first:
            led.stored0 = stored_j(p, s, layers)
            s.starts = 0.0
            s.defrosts = 0.0
            s.hours = 0.0
        for _ in range(STEPS):
            s.draw_j = 0.0
            step_controls(p, s, d, DT)
            step_unit(p, s, d, DT)
            before = layers[3]
            step_water(p, s, d, layers, DT)
            step_house(p, s, d, DT)
            if t >= first:
                add_ledger(led, p, s, d, DT)
                if d.cyl_w > 0.0 and before < 92.0:
                    led.cyl_w += d.cyl_w * DT
                heating = s.mode == 1.0 or s.mode == 2.0
                if heating and s.q_hp > s.carnot * (s.w_hp - s.w_fan - p.p_base) * 1.0001:
                    led.carnot_bad += 1.0
            k = 1.0 / STEPS
            o.hp_w += k * s.w_hp
            o.fan_w += k * s.w_fan
            o.bu_w += k * s.bu_w
            o.imm_w += k * s.imm_w
            o.pump_w += k * s.pump_w
            o.q_meter += k * s.q_meter
            o.q_sh += k * s.q_sh
            o.q_dhw += k * s.q_dhw
            o.q_hp += k * s.q_hp
            o.q_air += k * s.q_air
            o.short_l += k * s.short_l
            if s.running > 0.5:
                s.hours += DT / 3600.0
        step_pressure(p, s)
        write_row(p, s, d, layers, o)
    led.stored1 = stored_j(p, s, layers)


@njit(cache=True)
def write_row(p, s, d, layers, o):
    """Copy the gauges at the end of the minute into the log row."""
    o.t_u, o.t_in, o.t_h = s.t_u_m if s.g_m > 0.0 else s.t_u, s.t_in_m, s.t_h
    o.t_dist_f, o.t_dist_r, o.q_unit = s.t_dist_f, s.t_dist_r, s.q_unit
    o.air1, o.air2, o.set1, o.set2, o.target = s.air1, s.air2, d.set1, d.set2, s.target
    o.cyl, o.cyl_top = s.cyl_sense, layers[LAYERS - 1]
    o.buffer = s.t_bt if p.buffer > 1.5 else s.t_sb
    o.pressure, o.mode, o.f, o.running = s.pressure, s.mode, s.f, s.running
    o.starts, o.hours, o.defrosts, o.code = s.starts, s.hours, s.defrosts, d.lock
    o.def_on = 1.0 if s.mode == 3.0 else 0.0
    o.circ, o.call1, o.call2 = s.circ, s.th1 * s.season, s.th2 * s.season
    o.te, o.to, o.rh, o.sun, o.carnot = s.te, d.to, d.rh, d.sun, s.carnot
    o.frost, o.season, o.power = s.m_frost, s.season, d.power


def initial_state(params: np.ndarray, drive: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return a plausible start state and cylinder layers [degC]."""
    p, s = params[0], np.zeros(1, STATE)
    room1, room2 = drive["set1"][0], drive["set2"][0]
    for name in (
        "t_u",
        "t_h",
        "t_fp",
        "t_rp",
        "t_sb",
        "t_bt",
        "t_bb",
        "t_dist_f",
        "t_dist_r",
        "t_u_m",
        "t_in_m",
    ):
        s[name] = 32.0
    for name, value in (
        ("a1", 25.0),
        ("b1", 25.0),
        ("a2", 25.0),
        ("b2", 25.0),
        ("air1", room1),
        ("air2", room2),
    ):
        s[name] = value
    s["mass1"], s["mass2"] = room1 - 0.8, room2 - 0.8
    s["to_f"] = s["to_day"] = s["te"] = drive["to"][:1440].mean()
    s["season"], s["v1"], s["v2"], s["ps"], s["t_off"], s["cyl_sense"] = 1.0, 0.5, 0.5, 1.0, 9999.0, p["setp"]
    gas = (p["ves_pre"] + 1.013) * p["ves_l"] / (p["p_fill"] + 1.013)
    s["ves_in"] = p["ves_l"] - gas
    return s, np.full(LAYERS, p["setp"] - 1.0)


def simulate(
    params: np.ndarray, drive: np.ndarray, schedule: list, run_in_min: int
) -> tuple[np.ndarray, np.ndarray]:
    """Simulate and return the log of all minutes after the run-in, and the ledger [J].

    `schedule` rows are (start minute, end minute, parameter name, from, to); minute 0 is the run-in's start.
    """
    if drive.dtype != DRIVE or params.dtype != PARAMS:
        raise TypeError("drive and params must have the simulator's record types")
    params = params.copy()
    rows = [(a, max(b, a + 1), PARAM_NAMES.index(n), v0, v1) for a, b, n, v0, v1 in schedule]
    table = np.array(rows, float).reshape(-1, 5)
    state, layers = initial_state(params, drive)
    log, ledger = np.zeros(len(drive), LOG), np.zeros(1, LEDGER)
    run(params, state, layers, drive, table, log, ledger, run_in_min)
    return log[run_in_min:], ledger


def closure_error(ledger: np.ndarray) -> float:
    """Return the first-law error of the whole home over the heat put in [-]."""
    led = ledger[0]
    into = sum(led[n] for n in ("q_hp", "bu", "imm", "gains", "sun", "stove", "cyl_w"))
    out = sum(led[n] for n in ("draw", "loss_cyl_out", "loss_env", "loss_pipe"))
    return float((into - out - (led["stored1"] - led["stored0"])) / max(abs(into), 1.0))
