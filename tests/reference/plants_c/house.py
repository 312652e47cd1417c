"""Rooms, room controls, emitters and the water between them."""

import math

from numba.extending import register_jitable

from tests.reference.plants_c import spec as n
from tests.reference.plants_c.cylinder import between
from tests.reference.plants_c.physics import curve, floor, radiator

AIR0, AIR1, MASS0, MASS1, EM0, EM1 = n.AIR0, n.AIR1, n.MASS0, n.MASS1, n.EM0, n.EM1
SUP, RET, VALVE0, VALVE1, CALL = n.SUP, n.RET, n.VALVE0, n.VALVE1, n.CALL
OUT_SLOW, OUT_DAY = n.OUT_SLOW, n.OUT_DAY
TRV, ON_OFF, MODULATING, RADIATOR = n.TRV, n.ON_OFF, n.MODULATING, n.RADIATOR


@register_jitable
def room_control(p, s, minute):
    """Move the valves and the call for heat; return target flow temperature and asked temperature."""
    night = between(minute, p.night_from, p.night_to)
    lower = p.setback_k if night else 0.0
    ask0, ask1 = p.room_set0 - lower, p.room_set1 - lower
    want0, want1 = 1.0, 1.0
    if p.control == TRV:
        want0 = min(max((ask0 + 0.5 * p.trv_band - s[AIR0]) / p.trv_band + 0.15, 0.0), 1.0)
    if p.control != n.NO_CONTROL:
        want1 = min(max((ask1 + 0.5 * p.trv_band - s[AIR1]) / p.trv_band + 0.15, 0.0), 1.0)
    s[VALVE0] += 0.08 * (want0 - s[VALVE0])
    s[VALVE1] += 0.08 * (min(want1, p.valve1_max) - s[VALVE1])
    if p.control == ON_OFF:
        if s[AIR0] < ask0 - 0.25:
            s[CALL] = 1.0
        elif s[AIR0] > ask0 + 0.25:
            s[CALL] = 0.0
    elif s[OUT_DAY] > p.heat_limit + 0.7:
        s[CALL] = 0.0
    elif s[OUT_DAY] < p.heat_limit - 0.3:
        s[CALL] = 1.0
    if p.heating_on < 1.0 or (s[OUT_DAY] > p.heat_limit + 0.7 and p.control == ON_OFF):
        s[CALL] = 0.0
    target = curve(p.t_cold, p.f_cold, p.t_warm, p.f_warm, p.bend, s[OUT_SLOW]) + p.manual_offset
    if p.control == MODULATING:
        target += min(max(p.room_gain * (ask0 - s[AIR0]), -6.0), 4.0)
    if night:
        target -= p.night_flow_k
    return min(target, p.flow_max - 2.0), ask0


@register_jitable
def emitter(kind, nominal, exponent, c, node, room, supply, rate):
    """One emitter over a minute: return new node temperature, heat to the room W, heat from the water W.

    The node is the mean of a radiator's water, or the screed of a floor.
    """
    if kind == RADIATOR:
        given = radiator(nominal, exponent, node, room)
        leaving = max(2.0 * node - supply, min(room, supply)) if supply > node else node
        taken = rate * (supply - leaving)
        most = 0.9 * c * (supply - node) / 60.0 + max(given, 0.0)
        if taken > most > 0.0:
            taken = most
    else:
        given = floor(nominal, node, room)
        pipes = 6.0 * nominal  # W/K from water to screed, pipes 15 to 20 cm apart
        taken = rate * (1.0 - math.exp(-pipes / rate)) * (supply - node) if rate > 1.0 else 0.0
    return node + (taken - given) * 60.0 / c, given, taken


@register_jitable
def gains(p, sun, minute):
    """Heat of people and things, and of the sun through each zone's glass, W."""
    hour = minute / 60.0
    people = p.gain_w * (0.55 if hour < 6.5 or hour > 23.0 else 1.0)
    if 17.0 <= hour < 21.5:
        people = p.gain_w * 1.6 + p.stove_w
    return people, 0.45 * p.glass0 * sun, 0.45 * p.glass1 * sun


@register_jitable
def open_windows(room, outdoor, volume):
    """What open windows add to a zone's loss, W/K: people open them above 24 degC, up to 2 air changes."""
    if room <= 24.0 or outdoor >= room:
        return 0.0
    return 0.33 * volume * min((room - 24.0) / 1.5, 1.0) * 2.0


@register_jitable
def emit_and_move(p, s, heat, rate, outdoor, sun, wind, minute, cyl_loss):
    """Move the water, warm the rooms; return gains, losses, heat to emitters, return temperature, UA."""
    rate2 = rate if p.parallel == 0.0 else (p.flow2 if s[CALL] > 0.0 or p.pump_always > 0.0 else 0.0)
    biggest = max(rate, rate2)
    from_unit = s[RET] * rate + heat  # W: water through the unit and what it adds
    sup = (p.c_sup * s[SUP] + 60.0 * (from_unit + (biggest - rate) * s[RET])) / (p.c_sup + 60.0 * biggest)
    s[SUP] = sup
    flow0, flow1 = rate2 * p.share0 * s[VALVE0], rate2 * (1.0 - p.share0) * s[VALVE1]
    s[EM0], given0, taken0 = emitter(p.kind0, p.out0, p.exponent, p.c_em0, s[EM0], s[AIR0], sup, flow0)
    s[EM1], given1, taken1 = emitter(p.kind1, p.out1, p.exponent, p.c_em1, s[EM1], s[AIR1], sup, flow1)
    taken = taken0 + taken1
    back = sup - taken / rate2 if rate2 > 1.0 else s[RET]
    pipe = p.ua_buffer * (s[RET] - s[AIR0])
    through = rate2 * back + (biggest - rate2) * sup - biggest * s[RET]
    s[RET] += 60.0 * (through - pipe) / p.c_ret
    people, sun0, sun1 = gains(p, sun, minute)
    ach = p.ach_base + p.ach_wind * wind
    ua0, ua1 = p.ua0 + 0.33 * ach * p.vol0, p.ua1 + 0.33 * ach * p.vol1
    across = p.ua_between * (s[AIR0] - s[AIR1])
    deep0, deep1 = p.ua_mass0 * (s[AIR0] - s[MASS0]), p.ua_mass1 * (s[AIR1] - s[MASS1])
    loss0 = (ua0 + open_windows(s[AIR0], outdoor, p.vol0)) * (s[AIR0] - outdoor)
    loss1 = (ua1 + open_windows(s[AIR1], outdoor, p.vol1)) * (s[AIR1] - outdoor)
    inner = 0.6 * people + 0.5 * sun0 + pipe + cyl_loss / 60.0
    s[AIR0] += 60.0 * (given0 + inner - across - deep0 - loss0) / p.c_air0
    s[AIR1] += 60.0 * (given1 + 0.4 * people + 0.5 * sun1 + across - deep1 - loss1) / p.c_air1
    s[MASS0] += 60.0 * (deep0 + 0.5 * sun0) / p.c_mass0
    s[MASS1] += 60.0 * (deep1 + 0.5 * sun1) / p.c_mass1
    return people + sun0 + sun1, loss0 + loss1, taken, back, ua0 + ua1
