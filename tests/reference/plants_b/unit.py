"""Refrigeration circuit, frost on the coil and defrosting (compiled).

The circuit is a compressor between two heat exchangers. Evaporating and condensing temperature follow from
the approach of each exchanger, so part-load gains and the effect of frost or dirt are results, not inputs.
"""

import math

from numba import njit

LATENT_FROST = 2.83e6  # J/kg, sublimation
LATENT_MELT = 334e3  # J/kg


@njit(cache=True)
def saturation_pressure(t):
    """Saturation vapour pressure [Pa] at t [degC], Magnus form (WMO-No. 8), over ice below 0 degC."""
    if t >= 0.0:
        return 611.2 * math.exp(17.62 * t / (243.12 + t))
    return 611.2 * math.exp(22.46 * t / (272.62 + t))


@njit(cache=True)
def humidity_ratio(t, rh):
    """Humidity ratio [kg/kg] of air at t [degC] and rh [%] at 101.3 kPa. Humidity is over liquid water."""
    e = 0.01 * rh * 611.2 * math.exp(17.62 * t / (243.12 + t))
    return 0.622 * e / (101325.0 - e)


@njit(cache=True)
def efficiency(p, n, lift):
    """Overall compressor efficiency by speed n and temperature lift [K]."""
    speed = 1.0 - p.eta_speed * (n - p.n_opt) ** 2 - p.eta_low * math.exp(-n / 0.14)
    return p.eta0 * p.wear * max(0.2, speed) * max(0.5, 1.0 - 0.00016 * (lift - 38.0) ** 2)


@njit(cache=True)
def circuit(p, n, te, tc):
    """Return cooling capacity and compressor power [W] at speed n."""
    charge = 1.0 - 1.1 * max(0.0, 0.95 - p.charge)
    cold = p.disp * n * charge * math.exp(0.033 * te) * max(0.3, 1.0 - 0.0092 * (tc - 35.0))
    lift = max(8.0, tc - te)
    ideal = (te + 273.15) / lift * max(0.3, 1.0 - 0.0045 * lift)
    return cold, cold / (ideal * efficiency(p, n, lift)) + 25.0


@njit(cache=True)
def air_side(p, s, t_air, rh):
    """Return air capacity flow times effectiveness [W/K]; update the rate of frost [kg/s]."""
    air = p.m_air * p.air_factor / (1.0 + (s.frost / p.frost_cap) ** 2)
    ua = p.ua_evap * (0.35 + 0.65 * min(1.0, p.charge)) / (1.0 + 0.35 * s.frost / p.frost_cap)
    eps = 1.0 - math.exp(-ua * math.sqrt(p.air_factor) / (air * 1006.0))
    surface = s.te + 0.3 * (t_air - s.te)
    saturated = 0.622 * saturation_pressure(surface) / 101325.0
    excess = max(0.0, humidity_ratio(t_air, rh) - saturated)
    s.frost_rate = air * eps * 0.8 * excess
    return air * 1006.0 * eps


@njit(cache=True)
def heating_step(p, s, t_air, rh, dt):
    """Advance the running unit by dt [s]. Sets heat to the water and electricity in the state."""
    air = air_side(p, s, t_air, rh)
    n = s.speed
    cold, power = circuit(p, n, s.te, s.tc)
    latent = min(0.6 * cold, s.frost_rate * LATENT_FROST * 0.9)
    te_new = t_air - (cold - latent) / air - 9.0 * max(0.0, 0.95 - p.charge) / 0.3
    hot = cold + 0.94 * power
    water = max(40.0, s.flow * p.rho_cp)
    tc_new = s.t_in + hot / (water * (1.0 - math.exp(-p.ua_cond / water)))
    lag = min(1.0, dt / 35.0)
    s.te += lag * (te_new - s.te)
    s.tc += lag * (tc_new - s.tc)
    if s.te + 0.3 * (t_air - s.te) < -0.2:
        s.frost += s.frost_rate * dt
    elif t_air > 1.0:
        s.frost = max(0.0, s.frost - (t_air - 1.0) * 20.0 * dt / LATENT_MELT)
    s.t_coil = s.te + 1.0
    ready = 1.0 - math.exp(-s.on_s / p.start_tau)
    s.q_unit = hot * ready
    fan = p.fan_power * (0.25 + 0.75 * min(1.0, n) ** 2)
    s.p_fan = fan
    s.p_unit = power + fan + p.control_power
    s.df_since += dt
    if s.t_coil + p.coil_offset < p.df_coil_on:
        s.df_acc += dt
    gap = t_air - (s.t_coil + p.coil_offset)
    if gap > p.df_delta + p.df_clean * n and s.t_coil + p.coil_offset < p.df_coil_on:
        s.df_want += dt
    else:
        s.df_want = 0.0
    s.df_icy = s.df_icy + dt if gap > 0.4 * p.df_delta + p.df_clean * n else 0.0


@njit(cache=True)
def defrost_due(p, s):
    """True where the controller asks for a defrost."""
    if s.df_since < p.df_min_s or s.on_s < 300.0:
        return False
    if p.df_kind < 0.5:
        return s.df_want > 90.0 or s.df_acc > 8.0 * 3600.0
    dry = 1.0 + 0.12 * max(0.0, -4.0 - s.t_coil - p.coil_offset - 6.0)  # longer in dry cold
    if s.df_acc > p.df_time_s * dry:  # by time, but sooner only where the coil shows some ice
        return s.df_icy > 60.0 or s.df_acc > 5.0 * p.df_time_s * dry
    return False


@njit(cache=True)
def defrost_step(p, s, t_air, dt):
    """Advance a reverse-cycle defrost. Returns True at its end."""
    s.df_running += dt
    if s.df_running < 40.0:  # pressure equalisation
        s.q_unit = 0.0
        s.p_unit = p.control_power + 0.2 * p.df_elec
        s.p_fan = 0.0
        return False
    water = p.df_water * (0.35 + 0.65 * p.charge) * max(0.15, min(1.0, (s.t_hx - 2.0) / 16.0))
    s.q_unit = -water
    s.p_fan = 0.0
    s.p_unit = p.df_elec + p.control_power
    heat = water + 0.9 * p.df_elec
    melt = 0.0
    size = p.c_coil / 14000.0
    if s.frost > 0.0 and s.t_coil > 0.0:
        melt = min(s.frost * LATENT_MELT / dt, 900.0 * size * s.t_coil)
    s.frost = max(0.0, s.frost - melt * dt / LATENT_MELT)
    s.t_coil += (heat - melt - 45.0 * size * (s.t_coil - t_air)) * dt / p.c_coil
    return s.t_coil + p.coil_offset >= p.df_end or s.df_running > p.df_max_s or s.t_hx < p.df_water_min


@njit(cache=True)
def cooling_step(p, s, t_air, dt):
    """Advance the unit in cooling: heat is taken from the water."""
    te = min(s.t_hx - 5.0, 14.0)
    tc = t_air + 9.0 * s.speed / 0.5
    cold, power = circuit(p, s.speed, te, max(tc, te + 12.0))
    s.te = tc
    s.tc = te
    s.q_unit = -cold * (1.0 - math.exp(-s.on_s / p.start_tau))
    s.p_fan = p.fan_power * 0.6
    s.p_unit = power + s.p_fan + p.control_power


@njit(cache=True)
def idle_step(p, s, t_air, dt):
    """Advance the unit at rest."""
    lag = min(1.0, dt / 900.0)
    s.te += lag * (t_air - s.te)
    s.tc += lag * (t_air - s.tc)
    s.t_coil += lag * (t_air - s.t_coil)
    if t_air > 0.5 and s.frost > 0.0:
        s.frost = max(0.0, s.frost - (t_air - 0.5) * 25.0 * dt / LATENT_MELT)
    s.q_unit = 0.0
    s.p_fan = 0.0
    crank = p.crankcase if t_air < 18.0 else 0.3 * p.crankcase
    s.p_unit = p.unit_power * (p.control_power + crank)
