"""The outdoor unit for one step: heating, frost, defrost, standing, cooling."""

import math

from numba import njit

from tests.reference.plants_a.physics import cycle, humidity_ratio, saturation_ratio

MELT_J_PER_KG = 334.0e3


@njit(cache=True)
def coil_factor(p, s) -> float:
    """Return the coil's conductance over a clean coil with full air flow."""
    x = min(1.0, s.m_frost / p.m_full)
    return p.airflow * (1.0 - p.frost_loss * x**1.5)


@njit(cache=True)
def run_unit(p, s, d, dt: float) -> None:
    """Advance the running compressor in heating or hot water; sets `q_hp`, `w_hp`, `q_air` [W]."""
    share = max(s.q_unit / p.q_nom, 0.1)
    heat, power, te, tc = cycle(p, d.to, s.t_u, s.f, s.qc, s.w_comp, coil_factor(p, s), share)
    s.qc, s.w_comp, s.te, s.tc = heat, power, te, tc
    ramp = 1.0 - math.exp(-(s.t_on + dt) / p.tau_start)
    comp = power * (0.55 + 0.45 * ramp)
    s.q_hp = max(heat * ramp, 0.0)
    s.w_fan = p.p_fan * (0.25 + 0.75 * s.f * s.f)
    s.w_hp = comp + s.w_fan + p.p_base
    s.q_air = s.q_hp - comp
    s.carnot = (tc + 273.15) / max(tc - te, 12.0)
    grow_frost(p, s, d, te, dt)
    s.t_on += dt
    s.t_off = 0.0


@njit(cache=True)
def grow_frost(p, s, d, te: float, dt: float) -> None:
    """Deposit rime on a coil below zero from humid air (heat and mass transfer analogy, Lewis factor 0.9)."""
    surface = te + 0.25 * (d.to - te)
    if surface < 0.0:
        excess = humidity_ratio(d.to, d.rh) - saturation_ratio(surface)
        if excess > 0.0:
            s.m_frost += p.frost_k * p.ua_e * coil_factor(p, s) / (1006.0 * 0.9) * excess * dt
    elif d.to > 1.0:
        s.m_frost = max(0.0, s.m_frost - 1.0e-4 * d.to * dt)


@njit(cache=True)
def defrost_due(p, s, d, dt: float) -> bool:
    """Return whether a defrost starts: by timer, or by the coil's conductance as its sensors see it."""
    te = s.te + p.def_off
    if te < p.def_te and d.to < 12.0:
        s.def_t += dt
    if s.t_on < 300.0:
        return False
    if p.def_timer > 0.5:
        return s.def_t >= p.def_timer_s and te < p.def_te
    if s.def_t < p.def_min_s or te >= p.def_te:
        return False
    clean = max(s.qc - s.w_comp, 0.0) / (p.ua_e * (0.6 + 0.4 * min(s.f, 1.0)))
    return clean / max(d.to - te, 0.5) < p.def_ratio


@njit(cache=True)
def run_defrost(p, s, d, dt: float) -> None:
    """Advance a reverse-cycle defrost: heat from the water melts the rime, then warms the coil."""
    power = 0.16 * p.q_full
    taken = p.q_def * p.q_full if s.t_u > 5.0 else 0.0
    s.q_hp = -taken
    s.w_fan = 0.0
    s.w_hp = power + p.p_base
    s.q_air = -(taken + power)
    s.carnot = 99.0
    heat = (taken + 0.9 * power) * dt
    if s.t_coil < 0.0:
        step = min(heat, -s.t_coil * p.c_coil)
        s.t_coil += step / p.c_coil
        heat -= step
    if heat > 0.0 and s.m_frost > 0.0:
        step = min(heat, s.m_frost * MELT_J_PER_KG * 1.2)
        s.m_frost = max(0.0, s.m_frost - step / (MELT_J_PER_KG * 1.2))
        heat -= step
    if heat > 0.0:
        s.t_coil += (heat - 60.0 * (s.t_coil - d.to) * dt) / p.c_coil
    s.def_on += dt
    if s.t_coil >= p.def_end or s.def_on > 720.0 or (s.t_u <= 5.0 and s.def_on > 120.0):
        s.mode = s.def_prev
        s.def_on = 0.0
        s.def_t = 0.0
        s.t_on = 0.0
        s.f = max(0.6 * p.f_max, p.f_min) if p.fixed < 0.5 else 1.0
        s.qc = 0.6 * p.q_full
        s.w_comp = 0.2 * p.q_full


@njit(cache=True)
def run_cooling(p, s, d, dt: float) -> None:
    """Advance cooling: heat is taken from the water; the energy efficiency ratio falls with the lift."""
    lift = max(d.to + 12.0 - (s.t_u - 4.0), 15.0)
    s.q_hp = -s.f * p.q_full * 0.8
    comp = -s.q_hp / max(0.38 * (s.t_u + 269.15) / lift, 1.5)
    s.w_fan = p.p_fan * (0.25 + 0.75 * s.f * s.f)
    s.w_hp = comp + s.w_fan + p.p_base
    s.q_air = s.q_hp - comp
    s.carnot = 99.0
    s.te, s.tc = s.t_u - 4.0, d.to + 12.0
    s.t_on += dt
    s.t_off = 0.0


@njit(cache=True)
def stand(p, s, d, dt: float) -> None:
    """Advance a standing unit: standby, crankcase heater, rime that melts in mild air."""
    s.q_hp = 0.0
    s.q_air = 0.0
    s.w_fan = 0.0
    s.carnot = 99.0
    s.f = 0.0
    s.w_hp = 0.0
    if d.power > 0.5:
        s.w_hp = p.p_stby + (p.p_crank if d.to < 5.0 else 0.0)
    s.te = d.to
    if d.to > 1.0:
        s.m_frost = max(0.0, s.m_frost - 1.0e-4 * d.to * dt)
    s.t_off += dt
    s.t_on = 0.0


@njit(cache=True)
def step_unit(p, s, d, dt: float) -> None:
    """Advance the unit by `dt` [s] in its mode (0 off, 1 heating, 2 hot water, 3 defrost, 4 cooling)."""
    if s.mode == 3.0:
        run_defrost(p, s, d, dt)
    elif s.mode == 4.0:
        run_cooling(p, s, d, dt)
    elif s.mode == 0.0:
        stand(p, s, d, dt)
    else:
        run_unit(p, s, d, dt)
        if defrost_due(p, s, d, dt):
            s.def_prev = s.mode
            s.mode = 3.0
            s.def_on = 0.0
            s.defrosts += 1.0
            s.t_coil = min(s.te, 0.0)
