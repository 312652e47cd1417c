"""Physics of moist air, water, emitters and the compressor as compiled scalar functions.

Every function takes and returns plain floats, so that the simulation step and the rating points of the site
file share one implementation.
"""

from __future__ import annotations

import math

from numba import njit

ATMOSPHERE_PA = 101325.0
LATENT_ICE_J_PER_KG = 334e3  # heat of fusion of water, textbook value
CYLINDER_J_PER_LITRE_K = 4187.0  # 1.163 Wh/(l K), the conversion the trade uses


@njit(cache=True)
def vapour_pressure_water(t: float) -> float:
    """Saturation pressure over liquid water.

    t : float [degC]
    Returns float [Pa]. Source: Magnus form with the coefficients of Sonntag (1990), 0.1 % from -20 to 50 C.
    """
    return 611.213 * math.exp(17.62 * t / (243.12 + t))


@njit(cache=True)
def vapour_pressure_ice(t: float) -> float:
    """Saturation pressure over ice.

    t : float [degC], below 0
    Returns float [Pa]. Source: Magnus form with the coefficients of Sonntag (1990), 0.2 % from -40 to 0 C.
    """
    return 611.213 * math.exp(22.46 * t / (272.62 + t))


@njit(cache=True)
def humidity_ratio(vapour_pa: float) -> float:
    """Kilograms of water to a kilogram of dry air at sea level.

    vapour_pa : float [Pa]
    Returns float [kg/kg]. Source: ideal mixture, ratio of molar masses 0.62195.
    """
    return 0.62195 * vapour_pa / (ATMOSPHERE_PA - vapour_pa)


@njit(cache=True)
def heat_coefficient(t_return: float, t_flow: float, glycol: float, percent: float) -> float:
    """Heat per cubic metre and kelvin for a volume measured in the return pipe.

    t_return, t_flow : float [degC]
    glycol : float, 0 water, 1 propylene glycol, 2 ethylene glycol
    percent : float [% by mass]
    Returns float [J/(m3 K)].
    Source: EN 1434-1 form rho(return) times mean cp; polynomials fitted to IAPWS R7-97 at 2.5 bar from 2 to
        90 C (density 0.003 %, cp 0.03 %); glycol ratio fitted to the mixtures of Melinder (2010), 0.2 %.
    """
    r = t_return
    rho = 999.9772 + r * (0.04887047 + r * (-7.494664e-3 + r * (4.238278e-5 - 1.401684e-7 * r)))
    m = 0.5 * (t_return + t_flow)
    cp = 4215.82775 + m * (-2.57858966 + m * (6.15727603e-2 + m * (-6.28727552e-4 + 2.76142962e-6 * m)))
    k = rho * cp
    if glycol > 0.5 and percent > 0.0:
        x = percent / 100.0
        if glycol < 1.5:
            k *= 1.0 + x * (
                -0.25250402 + x * (0.29524557 - 0.65406449 * x) + m * (0.00333018 - 0.00476093 * x)
            )
        else:
            k *= 1.0 + x * (
                -0.22437832 + x * (-0.21418092 - 0.12258546 * x) + m * (0.00234193 - 0.00040014 * x)
            )
    return k


@njit(cache=True)
def emission(rated_w: float, rated_excess_k: float, excess_k: float, exponent: float) -> float:
    """Heat output of a radiator or fan coil.

    rated_w : float [W] at rated_excess_k [K] of mean water over room
    excess_k : float [K], negative gives nothing
    exponent : float [-], 1.3 for radiators (EN 442), 1.1 for floors (EN 1264-2)
    Returns float [W]. Source: EN 442-2 characteristic equation.
    """
    if excess_k <= 0.0:
        return 0.0
    return rated_w * (excess_k / rated_excess_k) ** exponent


@njit(cache=True)
def compressor_cop(t_evaporating: float, t_condensing: float, speed: float, eta: float) -> float:
    """Heat per compressor electricity: a second-law efficiency times the ideal cycle.

    t_evaporating, t_condensing : float [degC]
    speed : float, 0 to 1 of the greatest continuous output
    eta : float [-]. Second-law efficiency at a lift of 38 K and full output
    Returns float [-].
    Source: Carnot; efficiency falls 0.9 % per K of lift and is best near two thirds of full speed, as the
        spread of published EN 14511 points shows (common practice, no single source).
    """
    lift = max(t_condensing - t_evaporating, 8.0)
    shape = 1.0 - 0.26 * ((speed - 0.7) / 0.7) ** 2
    return eta * (1.0 - 0.009 * (lift - 38.0)) * (shape / 0.952245) * (t_condensing + 273.15) / lift
