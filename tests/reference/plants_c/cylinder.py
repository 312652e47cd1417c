"""Hot-water cylinder of three equal layers: draws, losses, mixing, charge control, disinfection."""

from numba.extending import register_jitable

from tests.reference.plants_c import spec as n
from tests.reference.plants_c.physics import WATER_J

TOP, MID, LOW = n.TOP, n.MID, n.LOW
CHARGE, CHARGE_MIN, GIVE_UP, DISINFECT, HOLD = n.CHARGE, n.CHARGE_MIN, n.GIVE_UP, n.DISINFECT, n.HOLD
SHORT = n.SHORT


@register_jitable
def sensor(s):
    """What the cylinder's sensor reads: a third up from the bottom of the middle layer."""
    return 0.7 * s[MID] + 0.3 * s[LOW]


@register_jitable
def draw(p, s, litres40):
    """Draw water mixed to 40 degC; return the heat taken in J. Litres below 40 degC are counted."""
    if litres40 <= 0.0:
        return 0.0
    hot = litres40
    if s[TOP] > 40.0:
        hot = litres40 * (40.0 - p.cold_c) / (s[TOP] - p.cold_c)
    else:
        s[SHORT] += litres40
    layer = p.litres / 3.0
    hot = min(hot, layer)
    part = hot / layer
    taken = hot * WATER_J * (s[TOP] - p.cold_c)
    s[TOP] += part * (s[MID] - s[TOP])
    s[MID] += part * (s[LOW] - s[MID])
    s[LOW] += part * (p.cold_c - s[LOW])
    return taken


@register_jitable
def lose_and_mix(p, s, room):
    """Lose heat to the room (J returned) and let warm water rise."""
    c = p.litres / 3.0 * WATER_J
    lost = 0.0
    for layer in (TOP, MID, LOW):
        q = (p.ua_cyl + p.loop_ua) / 3.0 * (s[layer] - room) * 60.0
        s[layer] -= q / c
        lost += q
    exchange = 1.2 * 60.0 / c  # W/K of conduction between the layers
    for a, b in ((TOP, MID), (MID, LOW)):
        if s[b] > s[a]:
            mean = 0.5 * (s[a] + s[b])
            s[a] = mean
            s[b] = mean
        else:
            q = exchange * (s[a] - s[b])
            s[a] -= q
            s[b] += q
    return lost


@register_jitable
def give(p, s, joule):
    """Heat from the coil, J: it lies in the lower two thirds; a negative value cools the bottom first."""
    c = p.litres / 3.0 * WATER_J
    if joule >= 0.0:
        s[LOW] += 0.55 * joule / c
        s[MID] += 0.45 * joule / c
    else:
        s[LOW] += 0.5 * joule / c
        s[MID] += 0.5 * joule / c
    if s[LOW] > s[MID]:
        mean = 0.5 * (s[LOW] + s[MID])
        s[LOW] = mean
        s[MID] = mean
    if s[MID] > s[TOP]:
        mean = (s[LOW] + s[MID] + s[TOP]) / 3.0 if s[LOW] > s[MID] - 0.01 else 0.5 * (s[MID] + s[TOP])
        if s[LOW] > s[MID] - 0.01:
            s[LOW] = mean
        s[MID] = mean
        s[TOP] = mean


@register_jitable
def between(minute, first, last):
    """Whether a minute of the day lies in a window, which may pass midnight."""
    if first <= last:
        return first <= minute < last
    return minute >= first or minute < last


@register_jitable
def charge_control(p, s, minute, weekday):
    """Start and stop the charge and the weekly disinfection."""
    now = sensor(s)
    if p.dis_c > 0.0 and weekday == p.dis_weekday and minute == p.dis_minute:
        s[DISINFECT] = 1.0
        s[HOLD] = 0.0
    if s[DISINFECT] > 0.0:
        s[DISINFECT] += 1.0
        if min(s[TOP], s[LOW]) >= p.dis_c:
            s[HOLD] += 1.0
        if s[HOLD] >= 30.0 or s[DISINFECT] > 360.0:
            s[DISINFECT] = 0.0
    s[GIVE_UP] = max(0.0, s[GIVE_UP] - 1.0)
    if s[CHARGE] == 0.0:
        due = now < p.below and between(minute, p.dhw_from, p.dhw_to)
        if s[GIVE_UP] == 0.0 and (due or (s[DISINFECT] > 0.0 and now < p.setpoint - 1.0)):
            s[CHARGE] = 1.0
            s[CHARGE_MIN] = 0.0
    elif now >= p.setpoint:
        s[CHARGE] = 0.0
    else:
        s[CHARGE_MIN] += 1.0
        if s[CHARGE_MIN] > p.dhw_longest:
            s[CHARGE] = 0.0
            s[GIVE_UP] = 120.0


@register_jitable
def immersion(p, s, minute):
    """Power of the immersion heater now, W; the element lies at the bottom, its heat rises."""
    want = s[DISINFECT] > 0.0 and s[CHARGE] == 0.0 and s[LOW] < p.dis_c + 1.0
    if p.imm_to != p.imm_from and between(minute, p.imm_from, p.imm_to) and s[TOP] < p.imm_c:
        want = True
    power = p.imm_w if want else 0.0
    s[LOW] += power * 60.0 / (p.litres / 3.0 * WATER_J)
    give(p, s, 0.0)
    return power


@register_jitable
def solar(p, s, sun):
    """Heat of another source into the cylinder, W (a solar coil or a stove), up to 85 degC."""
    power = p.solar_w * sun / 800.0 if s[TOP] < 85.0 else 0.0
    give(p, s, power * 60.0)
    return power
