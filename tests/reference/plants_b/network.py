"""Pump, valves, water nodes, cylinder, house and system pressure (compiled)."""

import math

from numba import njit

from tests.reference.plants_b.records import (
    BUFFER_LAYERS,
    CYLINDER_LAYERS,
    I_AWAY,
    I_DRAW,
    I_GA,
    I_GB,
    I_GHI,
    I_TOUT,
    I_WIND,
)


@njit(cache=True)
def noise(s):
    """Uniform random number 0 to 1 from the state's own generator (Lehmer)."""
    s.rng = (s.rng * 16807.0) % 2147483647.0
    return s.rng / 2147483647.0


@njit(cache=True)
def hydraulics(p, s):
    """Set flows [m3/h] from the pump curve against the system curve."""
    c_a = p.cond_a * s.open_a
    c_b = p.cond_b * s.open_b
    share = (c_a + c_b) / (p.cond_a + p.cond_b)
    bypass = p.cond_byp * max(0.02, min(1.0, (0.5 - share) / 0.3))  # a differential-pressure bypass valve
    zones = c_a + c_b + bypass
    heating = 0.9 * (p.cond_a + p.cond_b) if p.buffer > 1.5 else zones
    coil = p.cond_coil * p.dhw
    div = s.diverter
    to_coil = coil * (div + (1.0 - div) * p.div_leak)
    to_heat = heating * ((1.0 - div) + div * p.div_leak)
    total = max(0.02, to_coil + to_heat)
    if s.pump > 0.0 and p.pump_failed < 0.5:
        resistance = p.pump_a + p.k_unit + p.k_strainer + 1.0 / total**2
        q = math.sqrt(p.pump_h0 * s.pump**2 / resistance)
        if p.air > 0.0:
            q *= 1.0 - p.air * noise(s)
        head = p.pump_h0 * s.pump**2 - p.pump_a * q**2
        s.flow = q
        s.p_pump = 3.0 + 9.81 * q * head / 3.6 / 0.38
    else:
        s.flow = 0.0
        s.p_pump = 1.5 if s.pump > 0.0 else 0.6
    s.share_coil = to_coil / total
    through = s.flow * (1.0 - s.share_coil)
    if p.buffer > 1.5:
        running = s.call > 0.5 or p.pump_idle > 1.5
        if running and zones > 0.02:
            q = math.sqrt(0.8 * p.pump_h0 * p.sec_speed**2 / (p.pump_a + 1.0 / zones**2))
            s.m_sec = q
            s.p_pump += 3.0 + 9.81 * q * 0.6 * p.pump_h0 * p.sec_speed**2 / 3.6 / 0.38
        else:
            s.m_sec = 0.0
        through = s.m_sec
    s.m_a = through * c_a / zones
    s.m_b = through * c_b / zones
    s.m_byp = through * bypass / zones


@njit(cache=True)
def emitters(p, s, t_dist, dt):
    """Heat from the water into both zones' emitters. Returns the mixed return temperature [degC]."""
    total = s.m_a + s.m_b + s.m_byp
    ret = s.m_byp * t_dist
    if total < 1e-6:
        ret = t_dist
        total = 1.0
        q_a = q_b = 0.0
    else:
        k_a = 1.0 + 0.6 * min(1.0, s.m_a / 0.5)
        k_b = 1.0 + 0.5 * min(1.0, s.m_b / 0.5)
        q_a = min(s.m_a * p.rho_cp * k_a, 0.5 * p.em_c_a / dt) * (t_dist - s.t_em_a)
        q_b = min(s.m_b * p.rho_cp * k_b, 0.5 * p.em_c_b / dt) * (t_dist - s.t_em_b)
        ret += s.m_a * t_dist + s.m_b * t_dist - (q_a + q_b) / p.rho_cp
    d_a = s.t_em_a - s.room_a
    d_b = s.t_em_b - s.room_b
    s.q_em_a = p.em_k_a * math.copysign(abs(d_a) ** p.em_n_a, d_a)
    s.q_em_b = p.em_k_b * math.copysign(abs(d_b) ** p.em_n_b, d_b)
    s.t_em_a += (q_a - s.q_em_a) * dt / p.em_c_a
    s.t_em_b += (q_b - s.q_em_b) * dt / p.em_c_b
    return ret / total


@njit(cache=True)
def cylinder(p, s, cyl, t_supply, m, inp, dt):
    """Advance the stratified cylinder (layer 0 on top). Returns the water temperature after the coil."""
    n = CYLINDER_LAYERS
    cap = p.cyl_l / n * 4186.0
    t = t_supply
    total = 0.0
    if m > 1e-6:
        w = m * p.rho_cp
        eps = 1.0 - math.exp(-p.coil_ua / 4.0 / w)
        for i in range(2, n):  # the coil sits in the lower four layers
            q = w * eps * (t - cyl[i])
            t -= q / w
            cyl[i] += q * dt / cap
            total += q
    s.q_dhw = total
    lost = 0.0
    for i in range(n):
        q = (p.cyl_ua / n) * (cyl[i] - p.cyl_room)
        if i == 0 or i == 1:
            q += 0.5 * p.sec_loop * (cyl[i] - p.cyl_room)
        cyl[i] -= q * dt / cap
        lost += q
    s.q_loss = lost
    if p.solar_w > 0.0 and cyl[n - 1] < p.solar_max:
        cyl[n - 1] += p.solar_w * inp[I_GHI] * dt / cap
    if p.stove_w > 0.0 and cyl[4] < p.solar_max:
        cyl[4] += p.stove_w * dt / cap
    if s.p_imm > 0.0:
        cyl[3] += 0.7 * s.p_imm * dt / cap
        cyl[2] += 0.3 * s.p_imm * dt / cap
    s.q_draw = 0.0
    if inp[I_DRAW] > 0.0 and inp[I_AWAY] < 0.5:  # litres a minute of mixed water at 40 degC
        mixed = inp[I_DRAW] * dt / 60.0
        hot = mixed * min(1.0, (40.0 - p.cold_c) / max(1.0, cyl[0] - p.cold_c))
        f = min(0.9, hot / (p.cyl_l / n))
        s.q_draw = f * cap * (cyl[0] - p.cold_c) / dt
        for i in range(n - 1):
            cyl[i] += f * (cyl[i + 1] - cyl[i])
        cyl[n - 1] += f * (p.cold_c - cyl[n - 1])
    for i in range(n - 1):  # conduction
        q = 1.2 * (cyl[i] - cyl[i + 1])
        cyl[i] -= q * dt / cap
        cyl[i + 1] += q * dt / cap
    for _ in range(2):  # warm water rises
        for i in range(n - 1, 0, -1):
            if cyl[i] > cyl[i - 1]:
                mean = 0.5 * (cyl[i] + cyl[i - 1])
                cyl[i] += 0.5 * (mean - cyl[i])
                cyl[i - 1] += 0.5 * (mean - cyl[i - 1])
    return t


@njit(cache=True)
def water_step(p, s, cyl, buf, inp, dt):
    """Advance all water nodes by dt [s]; the implicit form keeps energy exactly."""
    w = s.flow * p.rho_cp
    c = p.c_hx / dt
    ua = p.ua_pipe
    t_out = inp[I_TOUT]
    s.t_hx = (c * s.t_hx + s.q_unit + w * s.t_in + ua * t_out) / (c + w + ua)
    c = p.c_sup / dt
    s.t_sup = (c * s.t_sup + w * s.t_hx + s.p_bu + 0.5 * 19.0) / (c + w + 0.5)
    m_coil = s.flow * s.share_coil
    m_space = s.flow - m_coil
    after_coil = cylinder(p, s, cyl, s.t_sup, m_coil, inp, dt)
    if p.buffer > 1.5:
        back = parallel_buffer(p, s, buf, m_space, dt)
    else:
        s.t_dist = s.t_sup if m_space > 0.01 else s.t_dist + dt / 7200.0 * (19.0 - s.t_dist)
        s.t_dret = emitters(p, s, s.t_dist, dt)
        back = s.t_dret
        if p.buffer > 0.5:
            cb = p.buf_l * 4186.0 / dt
            wb = m_space * p.rho_cp
            buf[0] = (cb * buf[0] + wb * s.t_dret + p.buf_ua * 18.0) / (cb + wb + p.buf_ua)
            back = buf[0]
    s.q_space = m_space * p.rho_cp * (s.t_sup - back)
    c = p.c_ret / dt
    mix = s.share_coil * after_coil + (1.0 - s.share_coil) * back
    cold = 0.5 * ua  # part of the return pipe lies outdoors
    s.t_in = (c * s.t_in + w * mix + cold * t_out) / (c + w + cold)


@njit(cache=True)
def parallel_buffer(p, s, buf, m_space, dt):
    """Advance a four-pipe buffer. Returns the temperature that goes back to the heat pump."""
    n = BUFFER_LAYERS
    s.t_dist = buf[0]
    s.t_dret = emitters(p, s, s.t_dist, dt)
    f = dt / 3.6 / (p.buf_l / n)
    down = max(0.0, m_space - s.m_sec)
    up = max(0.0, s.m_sec - m_space)
    old0, old1, old2, old3 = buf[0], buf[1], buf[2], buf[3]
    buf[0] += f * (m_space * (s.t_sup - old0) + up * (old1 - old0))
    buf[1] += f * (down * (old0 - old1) + up * (old2 - old1))
    buf[2] += f * (down * (old1 - old2) + up * (old3 - old2))
    buf[3] += f * (s.m_sec * (s.t_dret - old3) + down * (old2 - old3))
    for i in range(n):
        buf[i] -= p.buf_ua / n * (buf[i] - 18.0) * dt / (p.buf_l / n * 4186.0)
    for i in range(n - 1, 0, -1):
        if buf[i] > buf[i - 1]:
            mean = 0.5 * (buf[i] + buf[i - 1])
            buf[i] = mean
            buf[i - 1] = mean
    return old3


@njit(cache=True)
def valves(p, s, inp, set_a, set_b, dt):
    """Move zone valves and thermostatic radiator valves."""
    want_a = s.call_a
    want_b = s.call_b
    if p.trv_a > 0.5:
        want_a *= max(0.03, min(1.0, 0.5 * (set_a + p.trv_offset + 1.0 - s.room_a)))
    if p.trv_b > 0.5:
        want_b *= max(0.03, min(1.0, 0.5 * (set_b + p.trv_offset + 1.0 - s.room_b)))
    if s.cool > 0.5:
        want_a = 1.0 if p.em_n_a < 1.2 else 0.0  # radiators are not cooled
        want_b = 1.0
    step = dt / 180.0
    s.open_a += max(-step, min(step, want_a * p.valve_a - s.open_a))
    s.open_b += max(-step, min(step, want_b * p.valve_b - s.open_b))


@njit(cache=True)
def house_step(p, s, inp, dt):
    """Advance the two-zone house (air and mass node each)."""
    t_out = inp[I_TOUT]
    vent = 0.65 + 0.09 * inp[I_WIND]
    sun = inp[I_GHI]
    ua_a = p.ua_a + p.vent_a * vent
    ua_b = p.ua_b + p.vent_b * vent
    cross = p.ua_ab * (s.room_a - s.room_b)
    open_window_a = 250.0 * max(0.0, s.room_a - 25.0)  # people open windows when it is hot
    open_window_b = 250.0 * max(0.0, s.room_b - 25.0)
    f_a = p.ua_mass_a * (s.mass_a - s.room_a)
    f_b = p.ua_mass_b * (s.mass_b - s.room_b)
    q_a = inp[I_GA] * 0.6 + sun * p.sun_a * 0.3 + 0.65 * s.q_em_a
    q_b = inp[I_GB] * 0.6 + sun * p.sun_b * 0.3 + 0.55 * s.q_em_b
    s.room_a += ((ua_a + open_window_a) * (t_out - s.room_a) - cross + f_a + q_a) * dt / p.c_air_a
    s.room_b += ((ua_b + open_window_b) * (t_out - s.room_b) + cross + f_b + q_b) * dt / p.c_air_b
    m_a = inp[I_GA] * 0.4 + sun * p.sun_a * 0.7 + 0.35 * s.q_em_a
    m_b = inp[I_GB] * 0.4 + sun * p.sun_b * 0.7 + 0.45 * s.q_em_b
    s.mass_a += (m_a - f_a) * dt / p.c_mass_a
    s.mass_b += (m_b - f_b) * dt / p.c_mass_b


@njit(cache=True)
def expansion(t):
    """Volume of water at t [degC] relative to 4 degC (quadratic fit to IAPWS density, 0 to 80 degC)."""
    return 1.0 + 5.1e-6 * (t - 4.0) ** 2


@njit(cache=True)
def pressure_step(p, s, dt):
    """Advance system pressure: expansion, vessel, leak, relief valve and filling loop."""
    warm = 0.35 * s.t_em_a + 0.25 * min(s.t_em_b, 45.0) + 0.2 * s.t_hx + 0.2 * s.t_in
    s.water_l -= p.leak_l_day * dt / 86400.0 * max(0.0, s.pressure) / 1.5
    if p.fill_l_h > 0.0 and s.pressure < p.mains:
        s.water_l += p.fill_l_h * dt / 3600.0
    in_vessel = s.water_l + p.vol_l * (expansion(warm) - expansion(20.0))
    gas = max(0.25, p.vessel_l - max(0.0, in_vessel))
    if in_vessel >= 0.0:
        pressure = (p.precharge + 1.0) * p.vessel_l / gas - 1.0
    else:
        pressure = p.precharge + in_vessel * 0.9
    if pressure > p.relief:
        s.water_l -= 3.0 * (pressure - p.relief) * dt / 60.0
        pressure = min(pressure, p.relief + 0.15)
    s.pressure += min(1.0, dt / 60.0) * (max(-0.05, pressure) - s.pressure)
