"""Water side for one step: unit, heater, buffer, emitters, cylinder; explicit, conserving energy."""

import math

from numba import njit

from tests.reference.plants_a.physics import floor_w, flush, infiltration_w_per_k, radiator_w
from tests.reference.plants_a.records import LAYERS

WATER_J_PER_L_K = 4150.0


@njit(cache=True)
def radiator(phi, n, c_em, a, b, room, t_in, g, dt):
    """Return both halves' temperatures, outlet temperature and heat [W] of a radiator circuit."""
    qa = radiator_w(0.5 * phi, n, a - room)
    qb = radiator_w(0.5 * phi, n, b - room)
    a2, out = flush(a, t_in, g, -qa, 0.5 * c_em, dt)
    b2, out = flush(b, out, g, -qb, 0.5 * c_em, dt)
    return a2, b2, out, qa + qb


@njit(cache=True)
def underfloor(area, ua_tube, c_em, a, room, t_in, g, dt):
    """Return screed temperature, outlet temperature and heat to the room [W] of an underfloor circuit."""
    taken = 0.0
    out = a
    if g > 1e-6:
        taken = g * (1.0 - math.exp(-ua_tube / g)) * (t_in - a)
        out = t_in - taken / g
    q = floor_w(area, a - room)
    return a + (taken - q) * dt / c_em, out, q


@njit(cache=True)
def emitters(p, s, g1, g2, t_in, dt):
    """Advance both zones' emitters; return their outlet temperatures."""
    if p.floor1 > 0.5:
        s.a1, out1, s.em1 = underfloor(p.area1, p.ua_tube1, p.c_em1, s.a1, s.air1, t_in, g1, dt)
    else:
        s.a1, s.b1, out1, s.em1 = radiator(p.phi1, p.n1, p.c_em1, s.a1, s.b1, s.air1, t_in, g1, dt)
    out2 = t_in
    if p.zones > 1.5:
        if p.floor2 > 0.5:
            s.a2, out2, s.em2 = underfloor(p.area2, p.ua_tube2, p.c_em2, s.a2, s.air2, t_in, g2, dt)
        else:
            s.a2, s.b2, out2, s.em2 = radiator(p.phi2, p.n2, p.c_em2, s.a2, s.b2, s.air2, t_in, g2, dt)
    return out1, out2


@njit(cache=True)
def distribute(p, s, g, t_in, dt):
    """Send `g` [W/K] through both zones and the bypass; return the mixed return temperature."""
    w1 = p.share1 * s.v1
    w2 = p.share2 * s.v2 if p.zones > 1.5 else 0.0
    total = w1 + w2
    through = min(1.0, total) ** 0.7 if total > 0.0 else 0.0
    # the part of the flow which the valves do not take goes through the bypass
    part = through / max(through, p.bypass) if p.buffer < 1.5 else 1.0
    ge = g * part
    if total < 0.02:
        emitters(p, s, 0.0, 0.0, t_in, dt)
        return t_in
    g1 = ge * w1 / total
    g2 = ge * w2 / total
    out1, out2 = emitters(p, s, g1, g2, t_in, dt)
    if g <= 1e-6:
        return t_in
    return (g1 * out1 + g2 * out2 + (g - ge) * t_in) / g


@njit(cache=True)
def heating_side(p, s, g, t_in, dt):
    """Advance flow pipe, buffer and emitters; return the temperature of the water going back to the unit."""
    q = p.ua_in * (s.t_fp - s.air1)
    s.t_fp, supply = flush(s.t_fp, t_in, g, -q, p.pipe_l * WATER_J_PER_L_K, dt)
    s.pipe_w = q
    if p.buffer < 1.5:
        back = distribute(p, s, g, supply, dt)
        s.t_dist_f, s.t_dist_r = supply, back
        if p.buffer > 0.5:
            q = p.ua_in * (s.t_sb - s.air1)
            s.pipe_w += q
            s.t_sb, back = flush(s.t_sb, back, g, -q, p.buffer_l * WATER_J_PER_L_K, dt)
        return back
    gs = p.sec_ratio * p.q_nom * p.rho_cp / 3600.0 if s.sec_on > 0.5 else 0.0
    if s.v1 * p.share1 + (s.v2 * p.share2 if p.zones > 1.5 else 0.0) < 0.02:
        gs = 0.0
    top, bottom = s.t_bt, s.t_bb
    ret = distribute(p, s, gs, top, dt)
    s.t_dist_f = top if gs > 0.0 else s.t_dist_f + (s.air1 - s.t_dist_f) * dt / 7200.0
    s.t_dist_r = ret if gs > 0.0 else s.t_dist_r + (s.air1 - s.t_dist_r) * dt / 7200.0
    down, up = max(g - gs, 0.0), max(gs - g, 0.0)
    half = 0.5 * p.buffer_l * WATER_J_PER_L_K
    s.t_bt += (g * supply + up * bottom - gs * top - down * top) * dt / half
    s.t_bb += (gs * ret + down * top - g * bottom - up * bottom) * dt / half
    return bottom


@njit(cache=True)
def mix_layers(lay):
    """Mix layers that are colder than the layer below (natural convection); layer 0 is the bottom."""
    n = LAYERS
    for _ in range(n):
        done = True
        i = 0
        while i < n - 1:
            if lay[i] > lay[i + 1] + 1e-9:
                mean = 0.5 * (lay[i] + lay[i + 1])
                lay[i] = mean
                lay[i + 1] = mean
                done = False
            i += 1
        if done:
            break


@njit(cache=True)
def cylinder(p, s, d, lay, g, t_in, dt):
    """Advance the cylinder: coil, immersion, draws, standing loss; return the coil's outlet temperature."""
    c = p.cyl_l / LAYERS * WATER_J_PER_L_K
    out = t_in
    s.q_dhw = 0.0
    coil_layers = 6
    if g > 1e-6:
        share = 1.0 - math.exp(-p.coil_ua / coil_layers / g)
        for k in range(coil_layers):
            i = coil_layers - 1 - k
            q = g * share * (out - lay[i])
            out -= q / g
            lay[i] += q * dt / c
            s.q_dhw += q
    if s.imm_w > 0.0:
        lay[2] += s.imm_w * dt / c
    if d.cyl_w > 0.0 and lay[3] < 92.0:
        lay[3] += d.cyl_w * dt / c
    litres = d.draw * dt / 60.0
    s.short_l = 0.0
    if litres > 0.0:
        top = lay[LAYERS - 1]
        if top >= 40.0:
            v = litres * (40.0 - d.cold) / (top - d.cold)
        else:
            v = litres
            s.short_l = litres
        x = min(v / (p.cyl_l / LAYERS), 0.95)
        s.draw_j += x * c * (top - d.cold)
        for i in range(LAYERS - 1, 0, -1):
            lay[i] += x * (lay[i - 1] - lay[i])
        lay[0] += x * (d.cold - lay[0])
    loss = 0.0
    for i in range(LAYERS):
        q = p.ua_cyl / LAYERS * (lay[i] - s.air1)
        lay[i] -= q * dt / c
        loss += q
    for i in range(LAYERS - 1):
        q = 1.2 * (lay[i + 1] - lay[i])
        lay[i + 1] -= q * dt / c
        lay[i] += q * dt / c
    mix_layers(lay)
    s.loss_cyl_j = loss * dt
    s.cyl_sense = lay[int(p.sense_layer)] + p.cyl_sense_off
    return out


@njit(cache=True)
def step_water(p, s, d, lay, dt):
    """Advance all water by `dt` [s]. The common return volume is explicit, which closes the loop."""
    g = s.q_unit / 3600.0 * p.rho_cp
    t_in = s.t_rp
    c_unit = p.unit_l * WATER_J_PER_L_K + p.c_unit
    lost = p.ua_pipe * (s.t_u - d.to)
    s.t_u, out = flush(s.t_u, t_in, g, s.q_hp - lost, c_unit, dt)
    s.t_h, hot = flush(s.t_h, out, g, s.bu_w, 4.0 * WATER_J_PER_L_K, dt)
    s.loss_pipe_j = lost * dt
    s.q_meter = g * (out - t_in)
    s.t_in_m, s.t_u_m, s.g_m = t_in, out, g
    leak = p.div_leak
    to_coil = 0.0
    if p.dhw > 0.5:
        to_coil = 1.0 - leak if s.circ == 2.0 else leak
    gc, gh = g * to_coil, g * (1.0 - to_coil)
    coil_out = cylinder(p, s, d, lay, gc, hot, dt)
    heat_out = heating_side(p, s, gh, hot, dt)
    s.q_sh = gh * (hot - heat_out)
    q = p.ua_in * (t_in - s.air1)
    s.pipe_w += q
    back = (gc * coil_out + gh * heat_out) / g if g > 1e-6 else t_in
    s.t_rp = t_in + (g * (back - t_in) - q) * dt / (p.return_l * WATER_J_PER_L_K)


@njit(cache=True)
def step_house(p, s, d, dt):
    """Advance the rooms: envelope, infiltration, sun, people, emitters, stove, opened windows."""
    s.loss_env_j = 0.0
    s.vent_j = 0.0
    cyl_gain = s.loss_cyl_j / dt * p.loss_inside
    between = p.uzz * (s.air1 - s.air2) if p.zones > 1.5 else 0.0
    sun1 = p.aperture1 * d.sun
    vent = 40.0 * min(max(s.air1 - p.vent_c, 0.0), 5.0) if s.air1 > d.to else 0.0
    out1 = (p.ua_air1 + vent + infiltration_w_per_k(p.inf1, d.wind, s.air1 - d.to)) * (s.air1 - d.to)
    wall1 = p.ua_mass1 * (s.mass1 - d.to)
    am = p.h_am1 * (s.air1 - s.mass1)
    s.air1 += (
        (s.em1 + s.pipe_w + d.g1 + d.stove + cyl_gain + 0.5 * sun1 - out1 - am - between) * dt / p.c_air1
    )
    s.mass1 += (0.5 * sun1 + am - wall1) * dt / p.c_mass1
    s.loss_env_j += (out1 + wall1) * dt
    s.gain_j = d.g1 * dt
    s.sun_j = sun1 * dt
    if p.zones > 1.5:
        sun2 = p.aperture2 * d.sun
        vent = 40.0 * min(max(s.air2 - p.vent_c, 0.0), 5.0) if s.air2 > d.to else 0.0
        out2 = (p.ua_air2 + vent + infiltration_w_per_k(p.inf2, d.wind, s.air2 - d.to)) * (s.air2 - d.to)
        wall2 = p.ua_mass2 * (s.mass2 - d.to)
        am = p.h_am2 * (s.air2 - s.mass2)
        s.air2 += (s.em2 + d.g2 + 0.5 * sun2 - out2 - am + between) * dt / p.c_air2
        s.mass2 += (0.5 * sun2 + am - wall2) * dt / p.c_mass2
        s.loss_env_j += (out2 + wall2) * dt
        s.gain_j += d.g2 * dt
        s.sun_j += sun2 * dt
