"""Moist air, water, emitters and the refrigerant cycle, as small compiled functions.

Sources: Magnus coefficients over water and ice (Sonntag 1990, from memory); radiator EN 442 power law; floor
EN 1264-2 characteristic curve 8.92 (dT)^1.1; infiltration after Sherman and Grimsrud (stack and wind in
quadrature). The cycle is second-law efficiency on internal Carnot, with heat exchanger differences that grow
with load.
"""

import math

from numba import njit


@njit(cache=True)
def saturation_pa(t: float) -> float:
    """Return the saturation pressure [Pa] at `t` [degC], over ice below zero."""
    if t < 0.0:
        return 611.15 * math.exp(22.452 * t / (272.55 + t))
    return 611.2 * math.exp(17.62 * t / (243.12 + t))


@njit(cache=True)
def humidity_ratio(t: float, rh: float) -> float:
    """Return the humidity ratio [kg/kg] at `t` [degC] and relative humidity `rh` [%] over water."""
    e = 611.2 * math.exp(17.62 * t / (243.12 + t)) * rh / 100.0
    return 0.622 * e / (101325.0 - e)


@njit(cache=True)
def saturation_ratio(t: float) -> float:
    """Return the humidity ratio [kg/kg] of saturated air at `t` [degC]."""
    e = saturation_pa(t)
    return 0.622 * e / (101325.0 - e)


@njit(cache=True)
def radiator_w(phi: float, n: float, excess: float) -> float:
    """Return the output [W] of a radiator rated `phi` at 50 K, at `excess` [K]; zero below zero excess."""
    if excess <= 0.0:
        return 0.0
    return phi * (excess / 50.0) ** n


@njit(cache=True)
def floor_w(area: float, excess: float) -> float:
    """Return the heat [W] from a floor of `area` [m2] at surface `excess` [K]; negative when cooling."""
    if excess >= 0.0:
        return area * 8.92 * excess**1.1
    return -area * 6.5 * (-excess)


@njit(cache=True)
def infiltration_w_per_k(nominal: float, wind: float, dt: float) -> float:
    """Return infiltration [W/K] from its value at 20 K and 4 m/s."""
    return nominal * math.sqrt((0.015 * abs(dt) + 0.02 * wind * wind) / (0.015 * 20.0 + 0.02 * 16.0))


@njit(cache=True)
def water_density(t: float) -> float:
    """Return the density of water [kg/m3] at `t` [degC] (Tanaka-type fit, from memory)."""
    return 1000.0 * (1.0 - (t + 288.9414) / (508929.2 * (t + 68.12963)) * (t - 3.9863) ** 2)


@njit(cache=True)
def flush(t: float, t_in: float, g: float, q: float, c: float, dt: float) -> tuple[float, float]:
    """Return the new temperature and mean outlet temperature of a mixed volume.

    The volume has heat capacity `c` [J/K], starts at `t`, is flushed by `g` [W/K] at `t_in` and heated by
    `q` [W] for `dt` [s]. The solution is exact, so that energy is conserved.
    """
    if g < 1e-6:
        return t + q * dt / c, t
    t_end = t_in + q / g
    decay = math.exp(-g * dt / c)
    return t_end + (t - t_end) * decay, t_end + (t - t_end) * (c / (g * dt)) * (1.0 - decay)


@njit(cache=True)
def cycle(p, to: float, t_water: float, f: float, qc: float, w: float, ua_factor: float, flow_share: float):
    """Return condenser heat [W], compressor power [W], evaporating and condensing temperature [degC].

    `qc` and `w` are the last known heat and power, which set the heat exchanger differences; iterate.
    `ua_factor` scales the coil's conductance (frost, air flow), `flow_share` is water flow over nominal.
    """
    qe = max(qc - w, 0.2 * p.q_full * f)
    # the fan slows at part load, which lowers the conductance
    te = to - qe / (p.ua_e * ua_factor * (0.6 + 0.4 * min(f, 1.0))) - p.charge_dte * f
    tc = t_water + qc / (p.ua_c * max(flow_share, 0.15) ** 0.4)
    heat = f * p.q_full * math.exp(p.a_e * (te - p.te_ref)) * (1.0 - p.a_c * (tc - p.tc_ref)) * p.charge_cap
    lift = max(tc - te, 12.0)
    off = (f - p.f_opt) / (1.0 - p.f_opt)
    eta = p.eta0 * p.eff * (1.0 - p.eta_lift * (lift - 38.0)) * (1.0 - p.eta_part * off * off)
    cop = max(eta * (tc + 273.15) / lift, 1.0)
    return heat, heat / cop, te, tc
