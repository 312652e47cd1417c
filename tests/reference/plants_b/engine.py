"""The main loop and the test bench of the unit."""

import numpy as np
from numba import njit

from tests.reference.plants_b.control import DEFROST, RUN, SENSOR_LAYER, START, control_step, enter
from tests.reference.plants_b.network import house_step, hydraulics, pressure_step, water_step
from tests.reference.plants_b.records import (
    BUFFER_LAYERS,
    CHANNELS,
    CYLINDER_LAYERS,
    I_RH,
    I_TOUT,
    make_state,
)
from tests.reference.plants_b.unit import cooling_step, defrost_due, defrost_step, heating_step, idle_step

STEP_S = 10.0
STEPS = 6  # steps a minute


@njit(cache=True)
def unit_step(p, s, t_air, rh, dt):
    """Advance the refrigeration unit in its mode."""
    if s.mode == START or s.mode == RUN:
        if s.speed < 0.01:
            idle_step(p, s, t_air, dt)
        elif s.use == 3.0:
            cooling_step(p, s, t_air, dt)
        else:
            heating_step(p, s, t_air, rh, dt)
        s.hours += dt / 3600.0
    elif s.mode == DEFROST:
        s.hours += dt / 3600.0
        if defrost_step(p, s, t_air, dt):
            enter(s, RUN)
            s.df_since = 0.0
            s.df_acc = 0.0
            s.df_want = 0.0
            s.speed = p.n_start
            s.te = t_air - 4.0
    else:
        idle_step(p, s, t_air, dt)


@njit(cache=True)
def run(pa, sa, cyl, buf, inputs, out, first, last, per_minute):
    """Advance from minute `first` to `last` (not included); write `per_minute` records a minute."""
    p = pa[0]
    s = sa[0]
    dt = STEP_S
    each = STEPS // per_minute
    for minute in range(first, last):
        inp = inputs[minute]
        for k in range(STEPS):
            control_step(p, s, cyl, inp, minute * 60.0 + k * dt, dt)
            hydraulics(p, s)
            unit_step(p, s, inp[I_TOUT], inp[I_RH], dt)
            water_step(p, s, cyl, buf, inp, dt)
            house_step(p, s, inp, dt)
            row = out[minute * per_minute + k // each]
            accumulate(p, s, row, 1.0 / each)
            if (k + 1) % each == 0:
                snapshot(s, cyl, buf, row)
        pressure_step(p, s, 60.0)


@njit(cache=True)
def accumulate(p, s, row, f):
    """Add mean powers of one step to the record."""
    row[0] += f * s.p_unit
    row[1] += f * s.p_fan
    row[2] += f * (s.p_bu if s.flow > 0.1 else 0.0)
    row[3] += f * s.p_imm
    row[4] += f * s.p_pump * p.unit_power
    row[5] += f * s.flow * p.rho_cp * (s.t_hx - s.t_in)
    row[6] += f * s.q_space
    row[7] += f * s.q_dhw
    row[8] += f * s.q_unit
    row[31] += f * s.flow * p.rho_cp * (s.t_sup - s.t_in)
    row[35] += f * (s.q_em_a + s.q_em_b)
    row[36] += f * s.q_loss
    row[38] += f * s.q_draw


@njit(cache=True)
def snapshot(s, cyl, buf, row):
    """Write the values at the end of the record."""
    row[9] = s.flow
    row[10] = s.t_hx
    row[11] = s.t_in
    row[12] = s.t_dist
    row[13] = s.t_dret
    row[14] = s.room_a
    row[15] = s.room_b
    row[16] = cyl[SENSOR_LAYER]
    row[17] = cyl[0]
    row[18] = buf[1] if len(buf) > 1 else buf[0]
    row[19] = s.pressure
    row[20] = s.mode
    row[21] = s.use
    row[22] = s.call
    row[23] = s.diverter
    row[24] = s.speed
    row[25] = s.target
    row[26] = s.starts
    row[27] = s.hours
    row[28] = s.fault
    row[29] = s.te
    row[30] = s.tc
    row[32] = s.defrosts
    row[33] = s.t_sup
    row[34] = s.frost
    row[37] = np.mean(cyl)
    row[39] = cyl[CYLINDER_LAYERS - 1]
    row[40] = s.open_a


@njit(cache=True)
def bench_run(pa, sa, t_air, rh, t_flow, flow, speed, seconds):
    """Test bench: constant air and leaving water. Returns mean heat [W] and electricity [W]."""
    p = pa[0]
    s = sa[0]
    s.flow = flow
    s.mode = RUN
    s.speed = speed
    s.t_hx = t_flow
    s.t_in = t_flow - 5.0
    s.on_s = 1800.0
    s.te = t_air - 6.0
    s.tc = t_flow + 1.0
    heat = elec = lasted = 0.0
    w = flow * p.rho_cp
    warm_up = 3600.0
    t = 0.0
    while t < seconds + 6.0 * 3600.0:
        t += STEP_S
        before = s.mode
        if s.mode == RUN and s.df_since > p.df_min_s and defrost_due(p, s):
            s.mode = DEFROST
            s.df_running = 0.0
            if t > warm_up + seconds and s.defrosts > 0.0:
                break  # whole frost cycles
            if s.defrosts == 0.0:  # start counting with the first defrost
                heat = elec = lasted = 0.0
            s.defrosts += 1.0
        unit_step(p, s, t_air, rh, STEP_S)
        s.speed = speed
        if before == RUN:
            s.t_in += 0.05 * (t_flow - s.t_hx)
        s.t_hx += 0.3 * (s.t_in + s.q_unit / w - s.t_hx)
        if t > warm_up or s.defrosts > 0.0:
            heat += s.q_unit * STEP_S
            elec += s.p_unit * STEP_S
            lasted += STEP_S
        if t > warm_up + seconds and s.defrosts == 0.0:
            break
    return heat / lasted, elec / lasted


def bench(
    parameters: np.ndarray, outdoor: float, flow_c: float, speed: float, rh: float = 86.0, flow: float = 1.4
):
    """Return (heat [W], electricity [W]) at a steady test point, whole frost cycles included.

    `rh` is the test humidity: about 87 % at 7 degC, 84 % at 2 degC and 75 % at -7 degC (EN 14511-2, from
    memory).
    """
    return bench_run(parameters, make_state(), outdoor, rh, flow_c, flow, speed, 7200.0)


class Simulation:
    """One home: parameters, state and output; events change parameters between calls."""

    def __init__(
        self, parameters: np.ndarray, inputs: np.ndarray, per_minute: int = 1, random: int = 1
    ) -> None:
        self.p = parameters
        self.s = make_state(rng=float(random % 1000003 + 7))
        self.inputs = np.ascontiguousarray(inputs)
        self.per_minute = per_minute
        self.out = np.zeros((len(inputs) * per_minute, len(CHANNELS)))
        self.cyl = np.linspace(49.0, 40.0, CYLINDER_LAYERS)
        self.buf = np.full(BUFFER_LAYERS, 30.0)
        self.events: list = []

    def at(self, minute: int, change) -> None:
        """Call change(simulation) at a minute (whole minutes from the start)."""
        self.events.append((int(minute), len(self.events), change))

    def set(self, **values: float) -> None:
        """Change parameters now."""
        for name, value in values.items():
            self.p[name][0] = value

    def scale(self, **factors: float) -> None:
        """Multiply parameters now."""
        for name, factor in factors.items():
            self.p[name][0] *= factor

    def run(self) -> "Simulation":
        """Run to the end, applying events in order."""
        now, end = 0, len(self.inputs)
        for minute, _, change in sorted(self.events, key=lambda e: e[:2]):
            minute = min(max(minute, now), end)
            run(self.p, self.s, self.cyl, self.buf, self.inputs, self.out, now, minute, self.per_minute)
            now = minute
            change(self)
        run(self.p, self.s, self.cyl, self.buf, self.inputs, self.out, now, end, self.per_minute)
        return self

    def channel(self, name: str) -> np.ndarray:
        """Return one output channel."""
        return self.out[:, CHANNELS.index(name)]
