"""Accounting of a run: daily sums, the log, the event list, and energy balances."""

from __future__ import annotations

import numpy as np
from numba import njit

from fieldfare.collector.simulated.step.layout import SENSOR_NODE, STEP_S, Record

RUN, DEFROST, REHEAT = 1.0, 2.0, 3.0  # kinds of event


@njit(cache=True)
def note(
    events: np.ndarray,
    n: int,
    kind: float,
    start: float,
    end: float,
    heat: float,
    elec: float,
    a: float,
    b: float,
) -> int:
    """Append an event if there is room.

    events : float (m, 7), updated in place; n : int, events so far; kind : float; start, end : float [s];
        heat, elec : float [J]
    a, b : float: use and reason of a run, outdoor [degC] and frost [kg] of a defrost, from and to [degC] of a
        reheat
    Returns int, the new number of events.
    """
    if n >= events.shape[0]:
        return n
    events[n, 0], events[n, 1], events[n, 2] = kind, start, end
    events[n, 3], events[n, 4], events[n, 5], events[n, 6] = heat, elec, a, b
    return n + 1


@njit(cache=True)
def add_means(acc: Record, s: Record) -> None:
    """Add a step to the means of the log interval; acc is updated in place."""
    acc.comp += s.p_comp
    acc.fan += s.p_fan
    acc.controls += s.p_ctrl
    acc.backup += s.p_backup
    acc.immersion += s.p_imm
    acc.pump += s.p_pump
    acc.heat += s.q_meter
    if s.route < 1.5:
        acc.space += s.q_meter
    else:
        acc.hot += s.q_meter
    if s.defrost > 0.5:
        acc.taken += max(0.0, -s.q_meter)
    acc.flow += s.v * 3600.0


@njit(cache=True)
def add_day(
    d: Record,
    h: Record,
    s: Record,
    f: Record,
    outdoor: float,
    air: np.ndarray,
    sensor_c: float,
    started: bool,
) -> None:
    """Add a step to the sums of its local day; d is updated in place.

    d, h, s, f : records; outdoor : float [degC]; air : float (2,) [degC]; sensor_c : float [degC] of the
        cylinder
    """
    unit = s.p_comp + s.p_fan + s.p_ctrl + s.p_pump
    d.seconds += STEP_S
    d.comp += STEP_S * s.p_comp
    d.fan += STEP_S * s.p_fan
    d.controls += STEP_S * s.p_ctrl
    d.backup += STEP_S * s.p_backup
    d.immersion += STEP_S * s.p_imm
    d.pump += STEP_S * s.p_pump
    d.heat += STEP_S * s.q_meter
    if s.route < 1.5:
        d.space += STEP_S * s.q_meter
    else:
        d.hot += STEP_S * s.q_meter
    if s.defrost > 0.5:
        d.taken += STEP_S * max(0.0, -s.q_meter)
        d.elec_defrost += STEP_S * unit
    elif s.on > 0.5 and s.mode > 1.5:
        d.elec_hot += STEP_S * unit
    elif s.on > 0.5:
        d.elec_space += STEP_S * unit
    else:
        d.elec_idle += STEP_S * unit
    d.elec_space += STEP_S * s.p_backup
    d.elec_hot += STEP_S * s.p_imm
    d.outdoor += STEP_S * outdoor
    d.room0 += STEP_S * air[0]
    d.room1 += STEP_S * air[1]
    if started:
        d.starts += 1.0
    if s.on > 0.5:
        d.run_seconds += STEP_S
    if s.growth > 0.0:
        d.frost_seconds += STEP_S
        d.frost_kg += STEP_S * s.growth
    d.cylinder_loss += STEP_S * f.loss
    d.secondary_loss += STEP_S * f.secondary
    d.draw_heat += f.drawn
    d.draw_litres += f.litres
    d.cold_litres_40 += f.cold
    d.emitted += STEP_S * f.emitted
    d.solar += STEP_S * f.solar
    d.gains += STEP_S * h.gains
    d.house_loss += STEP_S * f.house_loss
    d.coil_heat += STEP_S * f.coil
    d.outdoor_pipes += STEP_S * f.pipes
    d.reach = max(d.reach, sensor_c)


@njit(cache=True)
def balance_step(flowed: np.ndarray, h: Record, s: Record, f: Record) -> None:
    """Add net inflow of house, loop, slab and cylinder [J]; flowed (4,) is updated in place."""
    to_rooms = f.room0 + f.room1
    backup = s.p_backup if s.cdot > 0.0 else 0.0
    flowed[0] += STEP_S * (to_rooms + f.loss + f.secondary + h.gains + f.solar - f.house_loss)
    flowed[1] += STEP_S * (s.q_cond + backup - f.emitted - f.coil - f.pipes)
    flowed[2] += STEP_S * (f.emitted - to_rooms)
    flowed[3] += STEP_S * (f.coil + s.p_imm - f.loss - f.secondary) - f.drawn


@njit(cache=True)
def write_log(
    row: Record,
    acc: Record,
    steps: int,
    c: Record,
    h: Record,
    s: Record,
    outdoor: float,
    vapour: float,
    air: np.ndarray,
    call: np.ndarray,
    cyl: np.ndarray,
) -> None:
    """Fill one log row: means of the interval and values at its end.

    row, acc, c, h, s : records, row changed; steps : int in the interval; outdoor : float [degC]; vapour :
        float [Pa]
    air, call : float (2,); cyl : float (nodes,) [degC]
    """
    row.comp = acc.comp / steps
    row.fan = acc.fan / steps
    row.controls = acc.controls / steps
    row.backup = acc.backup / steps
    row.immersion = acc.immersion / steps
    row.pump = acc.pump / steps
    row.heat = acc.heat / steps
    row.space = acc.space / steps
    row.hot = acc.hot / steps
    row.taken = acc.taken / steps
    row.flow = acc.flow / steps
    asking = s.season > 0.5 and h.enable > 0.5
    row.t_flow, row.t_return, row.t_dist, row.t_dist_return = s.t_out, s.t_in, s.t_dist, s.t_back
    row.room0 = air[0]
    row.room1 = air[1] if c.zones > 1.5 else air[0]
    row.target0, row.target1 = h.target0, h.target1
    row.target_flow = min(s.dhw_goal + 10.0, c.max_flow) if s.dhw > 0.5 else s.tset
    row.cylinder, row.cylinder_top = cyl[SENSOR_NODE], cyl[0]
    row.buffer = s.top
    row.mode = 3.0 if s.defrost > 0.5 else 2.0 if s.dhw > 0.5 else 1.0 if s.on > 0.5 else 0.0
    row.defrost = s.defrost
    row.call0 = call[0] if asking else 0.0
    row.call1 = call[1] if asking else 0.0
    row.diverter = 1.0 if s.route > 1.5 else 0.0
    row.speed = 100.0 * s.q / c.rated if s.on > 0.5 else 0.0
    row.starts, row.hours = s.starts, s.seconds / 3600.0
    row.frost, row.coil = s.frost, s.coil_t
    row.fault = s.fault if h.power > 0.5 else 2.0
    row.outdoor, row.vapour = outdoor, vapour
    row.loop_mean = 0.25 * (s.t_out + s.t_in + s.t_dist + s.t_back)
    row.pump_on = 1.0 if s.v > 0.0 else 0.0


@njit(cache=True)
def clear(acc: Record) -> None:
    """Reset the means for the next interval; acc is updated in place."""
    acc.comp = acc.fan = acc.controls = acc.backup = acc.immersion = acc.pump = 0.0
    acc.heat = acc.space = acc.hot = acc.taken = acc.flow = 0.0
