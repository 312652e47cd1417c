"""Relations used by the engine; plain functions that numba also compiles.

Sources: EN 442-2 (radiator exponent), EN 1264-2 (floor), Sonntag 1990 (saturation pressure), Boyle's law.
"""

import math

from numba.extending import register_jitable

WATER_J = 4186.0  # J/(kg K); a litre counts as a kilogram
FLOOR_W = 8.92  # W/m2 at 1 K, EN 1264-2
MELT_J = 334e3  # J/kg


@register_jitable
def radiator(nominal, exponent, mean, room):
    """Output of a radiator, W, at the mean water temperature; EN 442-2: nominal at 50 K excess."""
    excess = mean - room
    if excess <= 0.0:
        return -nominal * 0.004 * (-excess)
    return nominal * (excess / 50.0) ** exponent


@register_jitable
def floor(area, surface, room):
    """Output of a heated floor, W (EN 1264-2); negative where the floor is the colder."""
    excess = surface - room
    return math.copysign(FLOOR_W * area * abs(excess) ** 1.1, excess)


@register_jitable
def vapour_ratio(temperature, humidity):
    """Water in air, kg per kg of dry air, at 1013 hPa; over ice below 0 degC (Sonntag 1990, Magnus form)."""
    if temperature < 0.0:
        full = 611.2 * math.exp(22.46 * temperature / (272.62 + temperature))
    else:
        full = 611.2 * math.exp(17.62 * temperature / (243.12 + temperature))
    part = humidity * full
    return 0.622 * part / (101325.0 - part)


@register_jitable
def density(temperature):
    """Water, kg/m3 (form of Thiesen, Scheel and Diesselhorst 1900), 0 to 100 degC."""
    t = temperature
    return 1000.0 * (1.0 - (t + 288.9414) * (t - 3.9863) ** 2 / (508929.2 * (t + 68.12963)))


@register_jitable
def pressure(vessel_litres, vessel_bar, fill_bar, system_litres, mean, lost):
    """Gauge pressure, bar: the vessel's gas follows Boyle's law; filled at 15 degC; `lost` litres since."""
    at_fill = vessel_litres * (1.0 - (vessel_bar + 1.0) / (fill_bar + 1.0))
    water = at_fill + system_litres * (density(15.0) / density(mean) - 1.0) - lost
    if water <= 0.0:  # the vessel is empty: little water left to press on
        return max(0.0, vessel_bar + 2.0 * water)
    water = min(water, vessel_litres * 0.97)
    return (vessel_bar + 1.0) * vessel_litres / (vessel_litres - water) - 1.0


@register_jitable
def capacity(q_nom, outdoor, flow):
    """Largest output, W, without frost."""
    return q_nom * max(0.3, 1.0 + 0.021 * (outdoor - 7.0) - 0.005 * (flow - 35.0))


@register_jitable
def efficiency(eta, gain, knee, outdoor, flow, share):
    """Coefficient of performance: a share of Carnot's between the refrigerant's temperatures.

    Part load helps through the heat exchangers until the compressor turns too slowly (`knee`).
    """
    hot = flow + 2.0 + 273.15
    lift = max(hot - (outdoor - 6.0 + 273.15), 15.0)
    grade = eta * (1.0 + 0.004 * (outdoor - 7.0) - 0.002 * (flow - 35.0))
    return grade * (1.0 + gain * (1.0 - share) - 0.6 * max(0.0, knee - share)) * hot / lift


@register_jitable
def curve(t_cold, f_cold, t_warm, f_warm, bend, outdoor):
    """Flow temperature that a heating curve asks for; `bend` 1 is a straight line."""
    x = min(max((t_warm - outdoor) / (t_warm - t_cold), 0.0), 1.3)
    return f_warm + (f_cold - f_warm) * x**bend
