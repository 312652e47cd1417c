"""The outdoor unit alone: output, electricity, coil frost, and the rating points that result."""

from __future__ import annotations

import math
from dataclasses import dataclass

from numba import njit

from fieldfare.collector.simulated.design.spec import HeatPumpSpec
from fieldfare.collector.simulated.step.physics import (
    compressor_cop,
    humidity_ratio,
    vapour_pressure_ice,
    vapour_pressure_water,
)

WATER_APPROACH_K = 2.0  # condensing over leaving water at full output; common practice
DEFROST_MAX_S = 480.0


@dataclass(frozen=True)
class Machine:
    """Constants derived from a rating."""

    eta: float
    ua_air: float  # W/K
    ua_cond: float  # W/K
    tev_rated: float  # degC


def derive(hp: HeatPumpSpec) -> Machine:
    """Constants that make the unit meet its A7/W35 point exactly.

    hp : HeatPumpSpec
    Returns Machine.
    """
    total = hp.rated_w / hp.cop_a7w35
    compressor = total - hp.fan_w - hp.controls_w
    t_ev, t_cond = 7.0 - hp.air_approach_k, 35.0 + WATER_APPROACH_K
    eta = (hp.rated_w / compressor) / compressor_cop(t_ev, t_cond, 1.0, 1.0)
    return Machine(eta, (hp.rated_w - compressor) / hp.air_approach_k, hp.rated_w / WATER_APPROACH_K, t_ev)


@njit(cache=True)
def greatest_output(
    rated: float, t_ev: float, tev_rated: float, t_out: float, cold: float, warm: float
) -> float:
    """Maximum continuous output at an evaporating and a flow temperature.

    rated : float [W]; t_ev, tev_rated, t_out : float [degC]; cold, warm : float [1/K]
    Returns float [W].
    """
    factor = (1.0 + cold * (t_ev - tev_rated)) * (1.0 - warm * (t_out - 35.0))
    return rated * min(1.12, max(0.2, factor))


@njit(cache=True)
def coil_share(frost: float, full: float, airflow: float) -> float:
    """Conductance of a frosted or blocked coil as a share of the clean one.

    frost, full : float [kg]; airflow : float, 1 clean
    Returns float.
    """
    x = min(frost / full, 1.4)
    return airflow * max(0.12, 1.0 - 0.55 * x**1.5)


@njit(cache=True)
def frost_growth(vapour_pa: float, t_air: float, t_ev: float, rate: float) -> float:
    """Frost rate on a coil at this evaporating temperature.

    vapour_pa : float [Pa]; t_air, t_ev : float [degC]; rate : float [kg/s of air] in contact with the fins
    Returns float [kg/s]; 0 where the surface is above freezing or above the frost point.
    Source: mass transfer by the Lewis relation; surface a quarter of the way from refrigerant to air.
    """
    surface = t_ev + 0.25 * (t_air - t_ev)
    if surface >= 0.0:
        return 0.0
    return rate * max(0.0, humidity_ratio(vapour_pa) - humidity_ratio(vapour_pressure_ice(surface)))


def frost_air_rate(ua_air: float) -> float:
    """Air that exchanges moisture with the fins [kg/s], from the coil's ua_air [W/K] (half of Lewis)."""
    return 0.5 * ua_air / 1006.0


@njit(cache=True)
def settle(
    rated: float,
    cold: float,
    warm: float,
    eta: float,
    ua_air: float,
    ua_cond: float,
    tev_rated: float,
    outdoor: float,
    flow: float,
    share: float,
    coil: float,
) -> tuple[float, float]:
    """Heat and compressor electricity in equilibrium of air, coil and compressor (fixed point).

    rated : float [W]; cold, warm : float [1/K]; eta : float; ua_air, ua_cond : float [W/K]; tev_rated : float
        [degC]
    outdoor, flow : float [degC]; share : float of full output; coil : float of the clean coil's conductance
    Returns tuple (heat [W], compressor electricity [W]).
    """
    t_ev = outdoor - 8.0 * share
    heat = 0.0
    compressor = 0.0
    for _ in range(60):
        heat = share * greatest_output(rated, t_ev, tev_rated, flow, cold, warm)
        compressor = heat / compressor_cop(t_ev, flow + heat / ua_cond, share, eta)
        t_ev += 0.5 * (outdoor - (heat - compressor) / (ua_air * coil) - t_ev)
    return heat, compressor


def steady(
    hp: HeatPumpSpec, outdoor_c: float, flow_c: float, share: float = 1.0, coil: float = 1.0
) -> tuple[float, float]:
    """Output and electricity (including fan and controls) in steady state.

    hp : HeatPumpSpec; outdoor_c, flow_c : float [degC]; share : float of full output; coil : float, 1 clean
    Returns tuple (output [W], electricity [W]).
    """
    m = derive(hp)
    heat, compressor = settle(
        hp.rated_w,
        hp.cold_slope,
        hp.warm_slope,
        m.eta,
        m.ua_air,
        m.ua_cond,
        m.tev_rated,
        outdoor_c,
        flow_c,
        share,
        coil,
    )
    return heat, compressor + hp.fan_w * (0.35 + 0.65 * share) + hp.controls_w


def defrost_heat(hp: HeatPumpSpec) -> tuple[float, float, float]:
    """Heat from the water [W], electricity [W] and heat capacity of the coil [J/K] in a defrost."""
    return 0.62 * hp.rated_w, 0.14 * hp.rated_w, 2.2 * hp.rated_w


def rating(
    hp: HeatPumpSpec, outdoor_c: float, flow_c: float, relative_humidity: float = 0.84
) -> tuple[float, float]:
    """Output and COP as in an EN 14511 test: over whole frost and defrost cycles where frost grows.

    hp : HeatPumpSpec; outdoor_c, flow_c : float [degC]; relative_humidity : float, over water
    Returns tuple (output [W], COP).
    Source: EN 14511-3 counts heat and electricity over complete cycles; A2(1) is 84 % relative humidity.
    """
    m = derive(hp)
    vapour = relative_humidity * vapour_pressure_water(outdoor_c)
    full = hp.coat_kg_per_kw * hp.rated_w / 1000.0
    frost, heat, elec, seconds = 0.03 * full, 0.0, 0.0, 0.0
    while seconds < 3.0 * 3600.0:
        coil = coil_share(frost, full, 1.0)
        if coil < hp.defrost_trigger and seconds > hp.defrost_gap_s:
            break
        q, p = steady(hp, outdoor_c, flow_c, 1.0, coil)
        t_ev = outdoor_c - (q - p + hp.fan_w + hp.controls_w) / (m.ua_air * coil)
        frost += 60.0 * frost_growth(vapour, outdoor_c, t_ev, frost_air_rate(m.ua_air))
        heat, elec, seconds = heat + 60.0 * q, elec + 60.0 * p, seconds + 60.0
    if frost <= 0.031 * full:
        q, p = steady(hp, outdoor_c, flow_c)
        return q, q / p
    taken, power, c_coil = defrost_heat(hp)
    lasts = (frost * 334e3 + c_coil * (hp.defrost_end_c + 8.0)) / (0.8 * (taken + power))
    heat, elec, seconds = heat - taken * lasts, elec + (power + hp.controls_w) * lasts, seconds + lasts
    return heat / seconds, heat / elec


def round_rating(value: float, digits: int) -> float:
    """Round to significant digits, as a data sheet prints."""
    if value == 0.0:
        return 0.0
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))
