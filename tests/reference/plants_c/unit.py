"""The unit: its controls, compressor, coil and defrosts."""

from numba.extending import register_jitable

from tests.reference.plants_c import spec as n
from tests.reference.plants_c.cylinder import between
from tests.reference.plants_c.physics import MELT_J, capacity, efficiency, vapour_ratio

MODE, BEFORE, RUN, REST, SHARE, CALL, CHARGE = n.MODE, n.BEFORE, n.RUN, n.REST, n.SHARE, n.CALL, n.CHARGE
SUP, RET, MID, LOW, FROST, LOCK = n.SUP, n.RET, n.MID, n.LOW, n.FROST, n.LOCK
DEF_MIN, DEF_GAP, STARTS, DEFROSTS, HOURS = n.DEF_MIN, n.DEF_GAP, n.STARTS, n.DEFROSTS, n.HOURS
OFF, HEATING, HOT_WATER, DEFROST = n.OFF, n.HEATING, n.HOT_WATER, n.DEFROST
GIVE_UP = n.GIVE_UP


@register_jitable
def stop(s):
    """End a run."""
    s[MODE] = OFF
    s[SHARE] = 0.0
    s[REST] = 0.0
    s[RUN] = 0.0


@register_jitable
def wants_defrost(p, s, outdoor):
    """Whether the control asks for a defrost: by demand (what the coil shows) or by a timer in cold air."""
    if p.defrost_timer > 0.0:
        return s[DEF_GAP] >= p.defrost_timer and outdoor < 6.0 + p.coil_bias
    seen = s[FROST] / p.frost_full + 0.05 * p.coil_bias
    return seen > p.defrost_share and s[DEF_GAP] >= p.defrost_min_gap and outdoor < 7.0 + p.coil_bias


@register_jitable
def decide(p, s, target, outdoor, minute, chance):
    """Change the mode where a rule of the control says so."""
    s[LOCK] = max(0.0, s[LOCK] - 1.0)
    mode = s[MODE]
    if s[RUN] > 0.0 and chance < p.trip_rate / 60.0:
        s[LOCK] = p.trip_rest
    if p.powered < 1.0 or p.locked > 0.0 or s[LOCK] > 0.0:
        if mode != OFF:
            stop(s)
        s[REST] += 1.0
        return
    if mode == OFF:
        s[REST] += 1.0
        want = OFF
        if s[CHARGE] > 0.0:
            want = HOT_WATER
        elif s[CALL] > 0.0 and s[SUP] < target - p.hyst_on:
            want = HEATING
        if want != OFF and s[REST] >= p.rest_min:
            s[MODE] = want
            s[STARTS] += 1.0
            s[RUN] = 0.0
            s[SHARE] = p.min_share
    elif mode == DEFROST:
        if (s[FROST] <= 0.02 and s[DEF_MIN] >= 3.0) or s[DEF_MIN] >= p.defrost_longest:
            s[MODE] = s[BEFORE]
            s[DEF_GAP] = 0.0
    elif wants_defrost(p, s, outdoor) and s[RUN] > 5.0:
        s[BEFORE] = mode
        s[MODE] = DEFROST
        s[DEF_MIN] = 0.0
        s[DEFROSTS] += 1.0
    elif mode == HEATING:
        if s[CHARGE] > 0.0:
            s[MODE] = HOT_WATER
        elif s[RUN] >= p.min_run and (
            s[CALL] == 0.0 or (s[SUP] > target + p.hyst_off and s[SHARE] <= p.min_share + 0.03)
        ):
            stop(s)
    elif s[CHARGE] == 0.0:
        if s[CALL] > 0.0:
            s[MODE] = HEATING
        else:
            stop(s)


@register_jitable
def frost_growth(p, outdoor, humidity, share):
    """Frost on the coil, kg in a minute: air is dried down to saturation at the coil's temperature."""
    coil = outdoor - (2.5 + 5.5 * share) / p.air_factor
    if coil >= -0.5:
        return 0.0
    surplus = vapour_ratio(outdoor, humidity) - vapour_ratio(coil, 1.0)
    return max(0.0, 0.42 * p.air_kg_s * p.air_factor * surplus) * 60.0


@register_jitable
def defrost_step(p, s, rate):
    """Melt with heat from the water; return power, heat (negative), leaving and entering temperature."""
    s[DEF_MIN] += 1.0
    s[HOURS] += 1.0 / 60.0
    entering = s[RET] if s[BEFORE] == HEATING else s[LOW]
    heat = p.defrost_q * p.q_nom
    if entering < 12.0:
        heat = 0.0
    power = 0.25 * p.q_nom * 0.33 + 60.0
    melt = (0.40 * heat + 0.7 * power) * 60.0 * p.melt_factor / MELT_J
    s[FROST] = max(0.0, s[FROST] - melt)
    s[SHARE] = 0.6
    drop = heat / rate if rate > 1.0 else 0.0
    return power, -heat, entering - drop, entering


@register_jitable
def share_wanted(p, s, target, q_max, rate, minute):
    """Share of the largest output that the control asks for."""
    if s[MODE] == HOT_WATER:
        lower = 0.55 * s[LOW] + 0.45 * s[MID]
        reach = 1.0 - 2.718281828 ** (-p.coil_ua / rate)
        hottest = min(p.flow_max, p.setpoint + p.dhw_over_k)
        want = min(p.dhw_share, rate * reach * (hottest - lower) / q_max)
    else:
        want = rate * (target - s[RET]) / q_max
    top = p.quiet_share if between(minute, p.quiet_from, p.quiet_to) else 1.0
    return min(max(want, p.min_share), top)


@register_jitable
def run_unit(p, s, target, outdoor, humidity, minute, rate):
    """A minute of the unit: return its power W, heat to water W, leaving and entering temperature."""
    idle = p.standby_w * p.powered
    if s[MODE] == OFF:
        if outdoor > 2.0:
            s[FROST] = max(0.0, s[FROST] - 0.02 * (outdoor - 1.0))
        # water that is pumped through a unit at rest leaves as it came
        return idle, 0.0, s[RET] if rate > 1.0 else s[SUP], s[RET]
    if s[MODE] == DEFROST:
        power, heat, leaving, entering = defrost_step(p, s, rate)
        return power + idle, heat, leaving, entering
    s[RUN] += 1.0
    s[DEF_GAP] += 1.0
    s[HOURS] += 1.0 / 60.0
    hot_water = s[MODE] == HOT_WATER
    lower = 0.55 * s[LOW] + 0.45 * s[MID]
    reach = 1.0 - 2.718281828 ** (-p.coil_ua / rate) if hot_water else 1.0
    guess = lower + 8.0 if hot_water else target
    icing = 1.0 - 0.3 * min(s[FROST] / p.frost_full, 1.3) ** 1.5
    q_max = capacity(p.q_nom, outdoor, guess) * p.cap_factor * icing * p.air_factor**0.4
    want = share_wanted(p, s, target, q_max, rate, minute)
    s[SHARE] += min(max(want - s[SHARE], -p.ramp), p.ramp)
    starting = min(1.0, 0.25 + 0.75 * s[RUN] / p.slow_start)
    heat = s[SHARE] * q_max
    entering = lower + heat / rate * (1.0 / reach - 1.0) if hot_water else s[RET]
    leaving = entering + heat / rate
    if leaving > p.flow_max + 2.0:  # high-pressure limit of the control
        stop(s)
        if hot_water:
            s[CHARGE] = 0.0
            s[GIVE_UP] = 90.0
        return idle, 0.0, entering, entering
    cop = efficiency(p.eta, p.pl_gain, p.pl_knee, outdoor, leaving, s[SHARE])
    cop *= p.cop_factor * (0.5 + 0.5 * icing) * p.air_factor**0.3
    power = heat / cop + idle
    s[FROST] = min(s[FROST] + frost_growth(p, outdoor, humidity, s[SHARE]), 2.5 * p.frost_full)
    return power, heat * starting, entering + heat * starting / rate, entering
