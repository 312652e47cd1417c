"""One-minute steps of a plant. `simulate` is plain Python; `fast` is the same compiled."""

import numba
import numpy as np
from numba.extending import register_jitable

from tests.reference.plants_c import cylinder as cyl
from tests.reference.plants_c import spec as n
from tests.reference.plants_c.house import emit_and_move, room_control
from tests.reference.plants_c.physics import WATER_J, pressure
from tests.reference.plants_c.unit import decide, run_unit

SUP, RET, MODE, CALL, REST = n.SUP, n.RET, n.MODE, n.CALL, n.REST
EM0, EM1, AIR0, AIR1, MASS0, MASS1 = n.EM0, n.EM1, n.AIR0, n.AIR1, n.MASS0, n.MASS1
TOP, MID, LOW, LOST, BU_WAIT, BU_ON, SHARE = n.TOP, n.MID, n.LOW, n.LOST, n.BU_WAIT, n.BU_ON, n.SHARE
OUT_SLOW, OUT_DAY, LOCK, SNIFF, PUMP_ON = n.OUT_SLOW, n.OUT_DAY, n.LOCK, n.SNIFF, n.PUMP_ON
OFF, HEATING, HOT_WATER, DEFROST = n.OFF, n.HEATING, n.HOT_WATER, n.DEFROST


def start_state(p: n.Spec, outdoor: float) -> np.ndarray:
    """A plant in a house that is warm, with a charged cylinder."""
    s = np.zeros(n.STATES)
    for place in (AIR0, MASS0):
        s[place] = p.room_set0
    for place in (AIR1, MASS1):
        s[place] = p.room_set1
    s[EM0] = s[EM1] = s[SUP] = s[RET] = 26.0
    s[TOP], s[MID], s[LOW] = p.setpoint, p.setpoint - 1.0, p.setpoint - 5.0
    s[OUT_SLOW] = s[OUT_DAY] = outdoor
    s[REST] = 60.0
    s[n.VALVE0] = s[n.VALVE1] = 0.5
    return s


@register_jitable
def stored(p, s):
    """Heat in water, emitters, house and cylinder above 0 degC, J."""
    house = p.c_air0 * s[AIR0] + p.c_air1 * s[AIR1] + p.c_mass0 * s[MASS0] + p.c_mass1 * s[MASS1]
    water = p.c_sup * s[SUP] + p.c_ret * s[RET] + p.c_em0 * s[EM0] + p.c_em1 * s[EM1]
    return house + water + p.dhw * p.litres / 3.0 * WATER_J * (s[TOP] + s[MID] + s[LOW])


@register_jitable
def backup(p, s, target, outdoor):
    """Power of the in-line heater, W."""
    band = 1.0 if p.bu_free > 0.0 else 2.5
    lacking = s[MODE] == HEATING and s[SUP] < target - band and (s[SHARE] > 0.9 or p.bu_free > 0.0)
    if s[LOCK] > 0.0 or p.locked > 0.0:
        lacking = s[CALL] > 0.0 and s[SUP] < target - 2.5
    allowed = p.bu_w > 0.0 and outdoor < p.bu_below and s[MODE] != HOT_WATER and p.powered > 0.0
    s[BU_WAIT] = s[BU_WAIT] + 1.0 if lacking and allowed else 0.0
    if s[BU_ON] > 0.0:
        s[BU_ON] = 1.0 if allowed and s[SUP] < target - 0.5 + 1.5 * p.bu_free and s[CALL] > 0.0 else 0.0
    elif s[BU_WAIT] > p.bu_wait:
        s[BU_ON] = 1.0
    return p.bu_w if s[BU_ON] > 0.0 else 0.0


@register_jitable
def pumping(p, s):
    """Whether the unit's circulating pump runs."""
    if s[MODE] != OFF:
        return 1.0
    if p.powered < 1.0:
        return 0.0
    if p.pump_always > 0.0 or s[BU_ON] > 0.0:
        return 1.0
    if s[CALL] == 0.0:
        return 1.0 if s[REST] <= 3.0 else 0.0  # overrun
    if p.pump_rest > 0.0:
        return 1.0
    s[SNIFF] = (s[SNIFF] + 1.0) % p.sniff
    return 1.0 if s[SNIFF] < 4.0 else 0.0


@register_jitable
def circuit_pressure(p, s):
    """Pressure at the mean temperature of the circuit's water, bar; leaks and the safety valve take water."""
    s[LOST] += p.leak_l_day / 1440.0
    mean = 0.5 * (s[SUP] + s[RET])
    if p.kind0 == n.RADIATOR:
        c0, c1 = 0.6 * p.c_em0, 0.6 * p.c_em1  # the water in the radiators, without their steel
        heat = p.c_sup * s[SUP] + p.c_ret * s[RET] + c0 * s[EM0] + c1 * s[EM1]
        mean = heat / (p.c_sup + p.c_ret + c0 + c1)
    bar = pressure(p.vessel_litres, p.vessel_bar, p.fill_bar, p.sys_litres, mean, s[LOST])
    if bar > 3.0:  # the safety valve opens
        s[LOST] += 0.4
    return bar


@register_jitable
def share_heat(p, s, q_hp, rate, charging):
    """Heat to the cylinder, heat past the diverter's seat (both W) and heat to the heating circuit."""
    if charging:
        leak = p.leak_share * q_hp
        cyl.give(p, s, (q_hp - leak) * 60.0)
        return q_hp - leak, leak, leak
    if p.dhw > 0.0 and p.leak_share > 0.0 and rate > 0.0:
        leak = p.leak_share * rate * 0.6 * (s[SUP] - cyl.sensor(s))
        cyl.give(p, s, leak * 60.0)
        return 0.0, leak, q_hp - leak
    return 0.0, 0.0, q_hp


@register_jitable
def step(p, s, w, i, minute, weekday, litres40, out):
    """One minute; writes a row of `out` in the order of `CHANNELS`."""
    outdoor, humidity, sun, wind, chance = w[i, 0], w[i, 1], w[i, 2], w[i, 3], w[i, 4]
    s[OUT_SLOW] += (outdoor - s[OUT_SLOW]) / 120.0
    s[OUT_DAY] += (outdoor - s[OUT_DAY]) / 1440.0
    target, ask0 = room_control(p, s, minute)
    q_draw, cyl_loss, p_imm, p_sun = 0.0, 0.0, 0.0, 0.0
    if p.dhw > 0.0:
        q_draw = cyl.draw(p, s, litres40)
        cyl_loss = cyl.lose_and_mix(p, s, s[AIR0])
        cyl.charge_control(p, s, minute, weekday)
        p_imm = cyl.immersion(p, s, minute)
        p_sun = cyl.solar(p, s, sun)
    decide(p, s, target, outdoor, minute, chance)
    on = pumping(p, s)
    s[PUMP_ON] = on
    speed = 1.0
    if p.pump_mod > 0.0 and s[MODE] != HOT_WATER and s[MODE] != DEFROST:
        speed = min(max(0.35 + 0.8 * s[SHARE], 0.5), 1.0)
    rate = p.flow * p.flow_factor * on * speed
    p_unit, q_hp, t_flow, t_in = run_unit(p, s, target, outdoor, humidity, minute, rate)
    charging = s[MODE] == HOT_WATER or (s[MODE] == DEFROST and s[n.BEFORE] == HOT_WATER)
    q_dhw, q_leak, q_loop = share_heat(p, s, q_hp, rate, charging)
    heater = backup(p, s, target, outdoor)
    loop_rate = rate * p.leak_share if charging else rate
    gain, loss, q_space, t_ret2, ua = emit_and_move(
        p, s, q_loop + heater, loop_rate, outdoor, sun, wind, minute, cyl_loss
    )
    bar = circuit_pressure(p, s)
    second = 1.0 if p.parallel > 0.0 and (s[CALL] > 0.0 or p.pump_always > 0.0) else 0.0
    code = p.trip_code if s[LOCK] > 0.0 or p.locked > 0.0 else 0.0
    first = (
        p_unit,
        heater,
        p_imm,
        on * p.pump_w * speed**2 + second * p.pump2_w,
        q_hp,
        q_dhw,
        t_flow,
        t_in,
        rate / WATER_J * 3.6,
        s[SUP],
        t_ret2,
        s[AIR0],
        s[AIR1],
        cyl.sensor(s),
        s[MODE],
        bar,
        s[CALL],
        target,
        s[SHARE] * 100.0,
    )
    rest = (
        s[n.STARTS],
        ask0,
        code,
        s[TOP],
        s[n.SHORT],
        1.0 if charging else 0.0,
        gain + p_sun,
        loss,
        q_draw / 60.0,
        stored(p, s),
        s[n.DEFROSTS],
        s[n.HOURS],
        s[n.FROST],
        q_space,
        q_leak,
        ua,
    )
    for k in range(len(first)):
        out[i, k] = first[k]
    for k in range(len(rest)):
        out[i, len(first) + k] = rest[k]


def simulate(p, s, weather, draws, first_minute, out):
    """Run a plant over weather (outdoor, humidity, sun, wind, chance by column); `out` is filled in place.

    first_minute : minutes since a Monday 00:00 at the first row
    draws : litres at 40 degC drawn in each minute
    """
    for i in range(len(draws)):
        now = first_minute + i
        step(p, s, weather, i, float(now % 1440), float((now // 1440) % 7), draws[i], out)


fast = numba.njit(cache=True)(simulate)
