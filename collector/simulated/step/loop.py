"""One step of the water loop and of the rooms it heats."""

from __future__ import annotations

import numpy as np
from numba import njit

from fieldfare.collector.simulated.step.layout import STEP_S, Record
from fieldfare.collector.simulated.step.physics import CYLINDER_J_PER_LITRE_K
from fieldfare.collector.simulated.step.water import buffer_step, coil, emitters


@njit(cache=True)
def loop(
    c: Record,
    em: Record,
    h: Record,
    s: Record,
    outdoor: float,
    air: np.ndarray,
    water: np.ndarray,
    slab: np.ndarray,
    valve: np.ndarray,
    cyl: np.ndarray,
    f: Record,
) -> None:
    """Advance the water between unit, buffer, emitters and coil by one step.

    c, h, s : records, s updated in place; em : record array (zones,); outdoor : float [degC]; air, valve :
        float (2,)
    water : float (2, 2); slab : float (2,); cyl : float (nodes,), all updated in place; f : record of flows,
        set
    """
    t_out, t_in = s.t_out, s.t_in
    cdot = s.cdot
    zones = int(c.zones)
    heating_share = 0.0 if s.route > 1.5 else 1.0
    if h.passing > 0.0:
        heating_share = h.passing if s.route > 1.5 else 1.0 - h.passing
    if c.hot_water < 0.5:
        heating_share = 1.0
    supply = t_out
    if cdot > 0.0:
        supply = t_out + s.p_backup / cdot
    c_heat = cdot * heating_share
    c_hot = cdot - c_heat
    # hot water: through the coil and back
    coil_back = supply
    q_coil = 0.0
    if c_hot > 0.0:
        coil_back, q_coil = coil(c, supply, c_hot, c.coil_ua * h.coil_ua, cyl)
    # heating: from the unit or from the buffer to the emitters
    c_em = c_heat
    to_emitters = supply
    if c.buffer > 1.5:
        to_emitters = s.top
        c_em = c.flow2 * h.flow2 * 4.15e6 if (s.call > 0.5 or h.pump_always > 0.5) and h.power > 0.5 else 0.0
    opening = c.share0 * valve[0] + (c.share1 * valve[1] if zones > 1 else 0.0)
    # valves share the flow; when nearly all are shut, a bypass takes the rest
    bypass = 1.0 - min(1.0, opening / 0.25)
    back = 0.0
    emitted = 0.0
    room0 = 0.0
    room1 = 0.0
    given = 0.0
    for z in range(zones):
        part = 0.0
        if opening > 1e-6:
            part = (c.share0 if z == 0 else c.share1) * valve[z] / opening * (1.0 - bypass)
        t_back, from_water, to_room = emitters(em, z, to_emitters, c_em * part, air[z], water, slab)
        back += part * t_back
        given += part
        emitted += from_water
        if z == 0:
            room0 = to_room
        else:
            room1 = to_room
    heat_back = back + (1.0 - given) * to_emitters
    s.t_dist = to_emitters
    s.t_back = heat_back
    if c.buffer > 1.5:
        buffer_back = s.bottom
        buffer_step(c, s, supply, heat_back, c_heat, c_em)
        heat_back = buffer_back
    elif c.buffer > 0.5:
        series_back = s.bottom
        s.bottom += STEP_S * c_heat * (heat_back - s.bottom) / c.buffer_j
        s.top = s.bottom
        heat_back = series_back
    mixed = heating_share * heat_back + (1.0 - heating_share) * coil_back
    outside_a = c.ua_outdoors * (t_out - outdoor)
    outside_b = c.ua_outdoors * (t_in - outdoor)
    s.q_meter = cdot * (t_out - t_in)
    s.t_out += STEP_S / c.c_unit * (s.q_cond - s.q_meter - outside_a)
    s.t_in += STEP_S / c.c_return * (cdot * (mixed - t_in) - outside_b)
    s.q_coil = q_coil
    f.emitted, f.room0, f.room1, f.coil, f.pipes = emitted, room0, room1, q_coil, outside_a + outside_b


@njit(cache=True)
def house(
    c: Record,
    h: Record,
    f: Record,
    outdoor: float,
    facade: float,
    air: np.ndarray,
    fabric: np.ndarray,
) -> None:
    """Advance rooms and fabric by one step.

    c, h : records; f : record of flows, house_loss and solar set; outdoor : float [degC]; facade : float
        [W/m2]
    air, fabric : float (2,) [degC], updated in place
    """
    zones = int(c.zones)
    f.solar = c.aperture * facade
    f.house_loss = 0.0
    vent = 0.4 + 0.6 * h.infiltration  # part of the direct loss is glass, which wind does not affect
    shared = c.cross * (air[0] - air[1]) if zones > 1 else 0.0
    for z in range(zones):
        share = c.share0 if z == 0 else c.share1
        inside = c.ua_inside * share * (air[z] - fabric[z])
        direct = c.ua_direct * vent * share * (air[z] - outdoor)
        through = c.ua_fabric * share * (fabric[z] - outdoor)
        gain = share * (h.gains + 0.55 * f.solar)
        if z == 0:
            gain += f.room0 + f.loss + f.secondary - shared
        else:
            gain += f.room1 + shared
        air[z] += STEP_S * (gain - inside - direct) / (c.c_air * share)
        fabric[z] += STEP_S * (inside - through + 0.45 * share * f.solar) / (c.c_fabric * share)
        f.house_loss += direct + through


@njit(cache=True)
def stored(
    c: Record,
    em: Record,
    s: Record,
    air: np.ndarray,
    fabric: np.ndarray,
    water: np.ndarray,
    slab: np.ndarray,
    cyl: np.ndarray,
    out: np.ndarray,
) -> None:
    """Heat stored above 0 degC in house, water loop, slab and cylinder [J], written to out (4,)."""
    out[:] = 0.0
    for z in range(int(c.zones)):
        share = c.share0 if z == 0 else c.share1
        out[0] += share * (c.c_air * air[z] + c.c_fabric * fabric[z])
        out[1] += em[z].c_node * (water[z, 0] + water[z, 1])
        out[2] += em[z].slab_c * slab[z]
    out[1] += c.c_unit * s.t_out + c.c_return * s.t_in
    if c.buffer > 1.5:
        out[1] += 0.5 * c.buffer_j * (s.top + s.bottom)
    elif c.buffer > 0.5:
        out[1] += c.buffer_j * s.bottom
    out[3] = c.node_litres * CYLINDER_J_PER_LITRE_K * cyl.sum()
