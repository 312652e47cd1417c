"""Seasonal performance in design weather and yearly design electricity, with uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.reference_weather import reference_weather
from fieldfare.analysis.figures.estimate import robust_fit

Floats = NDArray[np.float64]

COP_PER_K = 0.025
"""Relative rise of heating performance a kelvin outdoors, the flow following the curve. Staffell et al. 2012
(Energy Environ. Sci. 5, 9291): 2.2 to 2.5 % a kelvin of lift, and half a kelvin less flow a kelvin outdoors
on half of the days."""
COP_PER_K_SD = 0.012
GAINS_W_PER_M2 = 3.2
"""Free heat of a dwelling: 2.1 to 4 W/m2 (Passive House Institute 2015; Polish ordinance for one-family
houses)."""
GAINS_W_PER_M2_SD = 1.5
DESIGN_LOSS_SD = 0.15
"""Relative spread of a house's heat loss about its design calculation (common practice: a fifth either way is
usual)."""
DESIGN_SPF_SD = 0.08
"""Relative spread of seasonal performance that a sound installation shows about its design (common
practice)."""
HOT_WATER_SD = 0.30
"""Relative spread of a household's hot-water heat about the design's (common practice; EN 16147 profiles
differ by two)."""
_FEWEST_DAYS, _LEAST_SPREAD_K = 30, 5.0


@dataclass(frozen=True)
class AtDesignWeather:
    """value : seasonal performance [-]. sd : standard deviation of what the weather adjustment adds, relative
    [-]"""

    value: float
    sd: float


def at_design_weather(
    outdoor: Floats, heat: Floats, electricity: Floats, design_outdoor_c: float, base_c: float
) -> AtDesignWeather | None:
    """Space-heating performance in a design year, from the measured days.

    outdoor [°C], heat [kWh], electricity [kWh] : float64 (n,), daily; days without all three are left out
    design_outdoor_c : float [°C]. base_c : float [°C], outdoor temperature from which the house needs heat
    Returns AtDesignWeather; None where nothing was measured.
    Method: electricity a unit of heat, as a line over outdoor temperature, from the days themselves where the
        weather varied enough, else by a usual slope; weighted by the design year's heat at each temperature.
    """
    known = np.isfinite(outdoor + heat + electricity) & (heat > 0.0) & (electricity > 0.0)
    if not known.any():
        return None
    t, q, e = outdoor[known], heat[known], electricity[known]
    level, middle = float(e.sum() / q.sum()), float(np.average(t, weights=q))
    slope, slope_sd = -COP_PER_K * level, COP_PER_K_SD * level
    if known.sum() >= _FEWEST_DAYS and float(np.ptp(np.quantile(t, (0.05, 0.95)))) >= _LEAST_SPREAD_K:
        root = np.sqrt(q / q.mean())
        fit = robust_fit(np.column_stack([root, root * (t - middle)]), root * e / q)
        slope_then, error = fit.combination(np.array([0.0, 1.0]))
        weight = slope_sd**2 / (slope_sd**2 + error**2)
        slope, slope_sd = slope + weight * (slope_then - slope), math.sqrt(1.0 - weight) * slope_sd
    weather = reference_weather(design_outdoor_c)
    need = np.maximum(base_c - weather.outdoor_c, 0.0) * weather.days
    if need.sum() <= 0.0:
        return None
    distance = float(np.average(weather.outdoor_c, weights=need)) - middle
    a_kwh = level + slope * distance
    if a_kwh <= 0.0:
        return None
    return AtDesignWeather(1.0 / a_kwh, abs(distance) * slope_sd / a_kwh)


@dataclass(frozen=True)
class DesignElectricity:
    """Electricity of each day by design and weather, float64 (n,) [kWh]; sd : relative, of the whole period
    [-]"""

    daily: Floats
    sd: float


def design_electricity(
    outdoor: Floats,
    *,
    coefficient_w_per_k: float,
    indoor_c: float,
    design_outdoor_c: float,
    floor_area_m2: float,
    spf_space: float,
    hot_water_kwh_per_day: float,
    spf_hot_water: float,
) -> DesignElectricity:
    """Electricity expected from design and weather.

    outdoor : float64 (n,) [°C], daily means; a day that is nan has no expectation
    coefficient_w_per_k [W/K], indoor_c [°C], design_outdoor_c [°C], floor_area_m2 [m2], spf_space [-],
    hot_water_kwh_per_day [kWh of heat], spf_hot_water [-] : floats, of the design
    Returns DesignElectricity.
    Method: loss less usual free heat, over the promised performance moved to each day's outdoor temperature;
        hot water at its promised performance. Spread by GUM's law of propagation: the parts are taken as
        independent.
    """
    gains = GAINS_W_PER_M2 * floor_area_m2
    base = indoor_c - gains / coefficient_w_per_k
    weather = reference_weather(design_outdoor_c)
    need = np.maximum(base - weather.outdoor_c, 0.0) * weather.days
    middle = float(np.average(weather.outdoor_c, weights=need)) if need.sum() > 0 else design_outdoor_c
    heat = np.maximum(coefficient_w_per_k * (indoor_c - outdoor) - gains, 0.0) * 0.024
    performance = spf_space * np.clip(1.0 + COP_PER_K * (outdoor - middle), 0.4, 1.6)
    space = heat / performance
    water = hot_water_kwh_per_day / spf_hot_water
    daily = np.where(np.isfinite(outdoor), space + water, np.nan)
    total = float(np.nansum(daily))
    if total <= 0.0:
        return DesignElectricity(daily, math.inf)
    spaced = float(np.nansum(space))
    heated = np.isfinite(heat) & (heat > 0.0)
    per_gain = float(np.sum(0.024 * GAINS_W_PER_M2_SD * floor_area_m2 / performance[heated]))
    per_loss = float(np.sum(coefficient_w_per_k * (indoor_c - outdoor[heated]) * 0.024 / performance[heated]))
    watered = total - spaced
    variance = (
        (DESIGN_LOSS_SD * per_loss) ** 2
        + per_gain**2
        + (DESIGN_SPF_SD * spaced) ** 2
        + (math.hypot(HOT_WATER_SD, DESIGN_SPF_SD) * watered) ** 2
    )
    return DesignElectricity(daily, math.sqrt(variance) / total)
