"""The plant's clockwork: ten-second steps over the whole span, with a log, sums by day and a list of events."""

from __future__ import annotations

import numpy as np
from numba import njit

from collector.simulated.layout import (
    COLUMN,
    DAY_COLUMN,
    LOG_MEANS,
    SENSOR_NODE,
    STATE_DTYPE,
    STEP_S,
)
from collector.simulated.physics import heat_coefficient
from collector.simulated.step_control import hot_water, rooms, target_flow, water_flow
from collector.simulated.step_unit import backup, switch, unit
from collector.simulated.step_water import buffer_step, coil, cylinder, emitters

RUN, DEFROST, REHEAT = 1.0, 2.0, 3.0  # kinds of event
_L = COLUMN
_D = DAY_COLUMN
(
    D_SECONDS,
    D_COMP,
    D_FAN,
    D_CTRL,
    D_BACKUP,
    D_IMM,
    D_PUMP,
    D_HEAT,
    D_SPACE,
    D_HOT,
    D_TAKEN,
    D_ESPACE,
    D_EHOT,
    D_EDEFROST,
    D_EIDLE,
    D_OUTDOOR,
    D_ROOM0,
    D_ROOM1,
    D_STARTS,
    D_RUN,
    D_FROST_S,
    D_CYL_LOSS,
    D_PIPE,
    D_DRAWN,
    D_LITRES,
    D_COLD,
    D_EMITTED,
    D_SOLAR,
    D_GAINS,
    D_LOSS,
    D_COIL,
    D_OUTSIDE,
    D_FROST_KG,
    D_REACH,
) = range(len(_D))
N_MEANS = len(LOG_MEANS)
V = N_MEANS  # first column of values


@njit(cache=True)
def loop(
    c: np.ndarray,
    em: np.ndarray,
    h: np.ndarray,
    s: np.ndarray,
    outdoor: float,
    air: np.ndarray,
    water: np.ndarray,
    slab: np.ndarray,
    valve: np.ndarray,
    cyl: np.ndarray,
    sums: np.ndarray,
) -> tuple[float, float]:
    """Move the water between unit, buffer, emitters and coil a step on.

    c, h, s : records, s changed; em : record array (zones,); outdoor : float [degC]; air, valve : float (2,)
    water : float (2, 2); slab : float (2,); cyl : float (nodes,), all changed; sums : float (4,), emitted from
    water, given to room, coil, outdoor pipes [W], set
    Returns tuple of heat to the rooms of the two zones [W].
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
    # valves share the flow; when nearly all are shut a bypass lets the rest straight back
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
    sums[0], sums[1], sums[2], sums[3] = emitted, room0 + room1, q_coil, outside_a + outside_b
    return room0, room1


@njit(cache=True)
def stored(
    c: np.ndarray,
    em: np.ndarray,
    s: np.ndarray,
    air: np.ndarray,
    fabric: np.ndarray,
    water: np.ndarray,
    slab: np.ndarray,
    cyl: np.ndarray,
    out: np.ndarray,
) -> None:
    """Heat held above 0 degC by house, water loop, slab and cylinder [J], into out (4,)."""
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
    out[3] = c.node_litres * 4187.0 * cyl.sum()


@njit(cache=True)
def run(
    c: np.ndarray,
    em: np.ndarray,
    curve: np.ndarray,
    hours: np.ndarray,
    weather: np.ndarray,
    draws: np.ndarray,
    noise: np.ndarray,
    warm_minutes: int,
    log_steps: int,
    log: np.ndarray,
    days: np.ndarray,
    events: np.ndarray,
    balance: np.ndarray,
) -> int:
    """Run the plant.

    c : record of constants; em : record array (2,); curve : float (points, 2)
    hours : record array (hours,) of settings; weather : float (minutes, 4) outdoor [degC], vapour [Pa], sun on
    the horizontal and on the south facade [W/m2]; draws : float (minutes,) [l at 40 degC]; noise : float (minutes,)
    warm_minutes : int, run before anything is logged; log_steps : int, steps in a log interval
    log : float32 (intervals, columns), days : float (days, columns), events : float (n, 7), balance : float (2, 4),
    all filled
    Returns int, the number of events.
    """
    s_array = np.zeros(1, dtype=STATE_DTYPE)
    s = s_array[0]
    zones = int(c.zones)
    air = np.full(2, 19.5)
    fabric = np.full(2, 18.5)
    slab = np.full(2, 22.0)
    sensor = np.full(2, 19.5)
    call = np.zeros(2)
    duty = np.full(2, 0.5)
    valve = np.zeros(2)
    water = np.full((2, 2), 26.0)
    cyl = np.full(6, 47.0)
    sums = np.zeros(4)
    acc = np.zeros(N_MEANS)
    s.t_out, s.t_in, s.top, s.bottom, s.t_dist = 27.0, 27.0, 27.0, 27.0, 27.0
    s.to_ctrl = weather[0, 0]
    s.to_day = weather[:1440, 0].mean()
    s.t_ev = s.to_ctrl
    s.season = 1.0 if s.to_day < 14.0 else 0.0
    s.off, s.since_defrost, s.frost = 3600.0, 3600.0, 0.03 * c.frost_full
    n_events = 0
    defrost_start = 0.0
    defrost_outdoor = 0.0
    defrost_frost = 0.0
    logged = 0
    in_log = 0
    per_minute = int(60.0 / STEP_S)
    for minute in range(weather.shape[0]):
        h = hours[minute // 60]
        outdoor, vapour, sun, facade = weather[minute]
        now_s = (minute - warm_minutes) * 60.0
        if minute == warm_minutes:
            stored(c, em, s, air, fabric, water, slab, cyl, balance[0])
        day = int(h.day)
        solar = c.aperture * facade
        vent = 0.4 + 0.6 * h.infiltration
        for sub in range(per_minute):
            t_s = now_s + sub * STEP_S
            rooms(c, h, s, outdoor, air, sensor, call, duty, valve)
            event = hot_water(c, h, s, cyl)
            target_flow(c, h, s, curve)
            route = 2.0 if s.dhw > 0.5 else 1.0
            s.route_s = 0.0 if route != s.route else s.route_s + STEP_S
            s.route = route
            opening = c.share0 * valve[0] + (c.share1 * valve[1] if zones > 1 else 0.0)
            water_flow(c, h, s, opening, noise[minute])
            s.cdot = 0.0
            if s.v > 0.0:
                s.cdot = s.v * heat_coefficient(s.t_in, s.t_out, c.glycol, c.glycol_percent)
            turned = switch(c, h, s)
            if turned == 1:
                s.run_start, s.run_heat, s.run_elec, s.run_mode = t_s, 0.0, 0.0, s.mode
            elif turned == -1 and n_events < events.shape[0]:
                events[n_events] = (RUN, s.run_start, t_s, s.run_heat, s.run_elec, s.run_mode, s.stop_reason)
                n_events += 1
            if turned == -1 and s.event_taken > 0.0 and n_events < events.shape[0]:
                # a defrost cut short by a stop
                events[n_events] = (
                    DEFROST, defrost_start, t_s, s.event_taken, s.event_elec, defrost_outdoor, defrost_frost
                )  # fmt: skip
                n_events += 1
                s.event_taken, s.event_elec = 0.0, 0.0
            frosted = unit(c, h, s, outdoor, vapour)
            if frosted == 2:
                defrost_start, defrost_outdoor, defrost_frost = t_s, outdoor, s.frost
                s.event_taken, s.event_elec = 0.0, 0.0
            elif frosted == 3 and n_events < events.shape[0]:
                events[n_events] = (
                    DEFROST, defrost_start, t_s, s.event_taken, s.event_elec, defrost_outdoor, defrost_frost
                )  # fmt: skip
                n_events += 1
                s.event_taken, s.event_elec = 0.0, 0.0
            backup(c, h, s)
            room0, room1 = loop(c, em, h, s, outdoor, air, water, slab, valve, cyl, sums)
            drawn, litres, cold, loss, pipe = cylinder(
                c, h, cyl, draws[minute] * h.draw / per_minute, air[0], s.p_imm
            ) if c.hot_water > 0.5 else (0.0, 0.0, 0.0, 0.0, 0.0)  # fmt: skip
            # rooms and fabric
            house_loss = 0.0
            shared = c.cross * (air[0] - air[1]) if zones > 1 else 0.0
            for z in range(zones):
                share = c.share0 if z == 0 else c.share1
                inside = c.ua_inside * share * (air[z] - fabric[z])
                direct = c.ua_direct * vent * share * (air[z] - outdoor)
                through = c.ua_fabric * share * (fabric[z] - outdoor)
                gain = share * (h.gains + 0.55 * solar) + (room0 if z == 0 else room1)
                if z == 0:
                    gain += loss + pipe - shared
                else:
                    gain += shared
                air[z] += STEP_S * (gain - inside - direct) / (c.c_air * share)
                fabric[z] += STEP_S * (inside - through + share * 0.45 * solar) / (c.c_fabric * share)
                house_loss += direct + through
            # electricity by use
            elec_unit = s.p_comp + s.p_fan + s.p_ctrl
            active = s.on > 0.5
            if active:
                s.run_heat += STEP_S * s.q_meter
                s.run_elec += STEP_S * elec_unit
            if s.defrost > 0.5:
                s.event_elec += STEP_S * (s.p_comp + s.p_fan)
                s.event_taken += STEP_S * max(0.0, -s.q_meter)
            if event == 1:
                s.hot_start, s.hot_heat, s.hot_elec = t_s, 0.0, 0.0
            if s.dhw > 0.5:
                s.hot_heat += STEP_S * s.q_meter
                s.hot_elec += STEP_S * elec_unit
            if event >= 2 and n_events < events.shape[0]:
                events[n_events] = (
                    REHEAT, s.hot_start, t_s, s.hot_heat, s.hot_elec, s.dhw_from, cyl[SENSOR_NODE]
                )  # fmt: skip
                n_events += 1
            # means
            acc[0] += s.p_comp
            acc[1] += s.p_fan
            acc[2] += s.p_ctrl
            acc[3] += s.p_backup
            acc[4] += s.p_imm
            acc[5] += s.p_pump
            acc[6] += s.q_meter
            if s.route < 1.5:
                acc[7] += s.q_meter
            else:
                acc[8] += s.q_meter
            if s.q_meter < 0.0 and s.defrost > 0.5:
                acc[9] -= s.q_meter
            acc[10] += s.v * 3600.0
            if minute >= warm_minutes and 0 <= day < days.shape[0]:
                d = days[day]
                d[D_SECONDS] += STEP_S
                d[D_COMP] += STEP_S * s.p_comp
                d[D_FAN] += STEP_S * s.p_fan
                d[D_CTRL] += STEP_S * s.p_ctrl
                d[D_BACKUP] += STEP_S * s.p_backup
                d[D_IMM] += STEP_S * s.p_imm
                d[D_PUMP] += STEP_S * s.p_pump
                d[D_HEAT] += STEP_S * s.q_meter
                if s.route < 1.5:
                    d[D_SPACE] += STEP_S * s.q_meter
                else:
                    d[D_HOT] += STEP_S * s.q_meter
                if s.defrost > 0.5:
                    d[D_TAKEN] += STEP_S * max(0.0, -s.q_meter)
                    d[D_EDEFROST] += STEP_S * (elec_unit + s.p_pump)
                elif active and s.mode > 1.5:
                    d[D_EHOT] += STEP_S * (elec_unit + s.p_pump)
                elif active:
                    d[D_ESPACE] += STEP_S * (elec_unit + s.p_pump)
                else:
                    d[D_EIDLE] += STEP_S * (elec_unit + s.p_pump)
                d[D_ESPACE] += STEP_S * s.p_backup
                d[D_EHOT] += STEP_S * s.p_imm
                d[D_OUTDOOR] += STEP_S * outdoor
                d[D_ROOM0] += STEP_S * air[0]
                d[D_ROOM1] += STEP_S * air[1]
                if turned == 1:
                    d[D_STARTS] += 1.0
                if active:
                    d[D_RUN] += STEP_S
                if s.growth > 0.0:
                    d[D_FROST_S] += STEP_S
                    d[D_FROST_KG] += STEP_S * s.growth
                d[D_CYL_LOSS] += STEP_S * loss
                d[D_PIPE] += STEP_S * pipe
                d[D_DRAWN] += drawn
                d[D_LITRES] += litres
                d[D_COLD] += cold
                d[D_EMITTED] += STEP_S * sums[0]
                d[D_SOLAR] += STEP_S * solar
                d[D_GAINS] += STEP_S * h.gains
                d[D_LOSS] += STEP_S * house_loss
                d[D_COIL] += STEP_S * sums[2]
                d[D_OUTSIDE] += STEP_S * sums[3]
                d[D_REACH] = max(d[D_REACH], cyl[SENSOR_NODE])
                balance[2, 0] += STEP_S * (sums[1] + loss + pipe + h.gains + solar - house_loss)
                balance[2, 1] += STEP_S * (s.q_cond + s.p_backup * (1.0 if s.cdot > 0.0 else 0.0)
                                           - sums[0] - sums[2] - sums[3])  # fmt: skip
                balance[2, 2] += STEP_S * (sums[0] - sums[1])
                balance[2, 3] += STEP_S * (sums[2] + s.p_imm - loss - pipe) - drawn
            in_log += 1
            if in_log == log_steps:
                if minute >= warm_minutes and logged < log.shape[0]:
                    row = log[logged]
                    for i in range(N_MEANS):
                        row[i] = acc[i] / log_steps
                    row[V] = s.t_out
                    row[V + 1] = s.t_in
                    row[V + 2] = s.t_dist
                    row[V + 3] = s.t_back
                    row[V + 4] = air[0]
                    row[V + 5] = air[1] if zones > 1 else air[0]
                    row[V + 6] = h.target0
                    row[V + 7] = h.target1
                    row[V + 8] = min(s.dhw_goal + 10.0, c.max_flow) if s.dhw > 0.5 else s.tset
                    row[V + 9] = cyl[SENSOR_NODE]
                    row[V + 10] = cyl[0]
                    row[V + 11] = s.top
                    row[V + 12] = (
                        3.0 if s.defrost > 0.5 else 2.0 if s.dhw > 0.5 else 1.0 if active else 0.0
                    )
                    row[V + 13] = s.defrost
                    row[V + 14] = call[0] if s.season > 0.5 and h.enable > 0.5 else 0.0
                    row[V + 15] = call[1] if s.season > 0.5 and h.enable > 0.5 else 0.0
                    row[V + 16] = 1.0 if s.route > 1.5 else 0.0
                    row[V + 17] = 100.0 * s.q / c.rated if active else 0.0
                    row[V + 18] = s.starts
                    row[V + 19] = s.seconds / 3600.0
                    row[V + 20] = s.frost
                    row[V + 21] = s.fault if h.power > 0.5 else 2.0
                    row[V + 22] = s.coil_t
                    row[V + 23] = outdoor
                    row[V + 24] = vapour
                    row[V + 25] = 0.25 * (s.t_out + s.t_in + s.t_dist + s.t_back)
                    row[V + 26] = 1.0 if s.v > 0.0 else 0.0
                    logged += 1
                in_log = 0
                acc[:] = 0.0
    stored(c, em, s, air, fabric, water, slab, cyl, balance[1])
    return n_events
