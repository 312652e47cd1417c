"""Conversions of common meter and gateway units, so that site files are read without a unit library.

Factors are exact by definition of the units (SI Brochure, 9th edition; degF after ISO 80000-5). Spellings are
those that `fieldfare.analysis.plant.units` reads; a test compares every entry with pint.
"""

from __future__ import annotations

_J = 1 / 3.6e6
_L_PER_MIN = 0.06

COMMON_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "W": {
        "W": (1.0, 0.0),
        "kW": (1e3, 0.0),
        "MW": (1e6, 0.0),
        "J/s": (1.0, 0.0),
        "VA": (1.0, 0.0),
    },
    "kWh": {
        "kWh": (1.0, 0.0),
        "Wh": (1e-3, 0.0),
        "MWh": (1e3, 0.0),
        "GWh": (1e6, 0.0),
        "J": (_J, 0.0),
        "kJ": (_J * 1e3, 0.0),
        "MJ": (_J * 1e6, 0.0),
        "GJ": (_J * 1e9, 0.0),
    },
    "degC": {
        "degC": (1.0, 0.0),
        "°C": (1.0, 0.0),
        "Cel": (1.0, 0.0),
        "celsius": (1.0, 0.0),
        "degF": (5 / 9, -160 / 9),
        "°F": (5 / 9, -160 / 9),
        "K": (1.0, -273.15),
    },
    "m3/h": {
        "m3/h": (1.0, 0.0),
        "m³/h": (1.0, 0.0),
        "m3/min": (60.0, 0.0),
        "m3/s": (3600.0, 0.0),
        "m³/s": (3600.0, 0.0),
        "l/h": (1e-3, 0.0),
        "L/h": (1e-3, 0.0),
        "l/min": (_L_PER_MIN, 0.0),
        "L/min": (_L_PER_MIN, 0.0),
        "l/s": (3.6, 0.0),
        "L/s": (3.6, 0.0),
    },
    "bar": {
        "bar": (1.0, 0.0),
        "mbar": (1e-3, 0.0),
        "Pa": (1e-5, 0.0),
        "hPa": (1e-3, 0.0),
        "kPa": (1e-2, 0.0),
        "MPa": (10.0, 0.0),
    },
    "%": {"%": (1.0, 0.0), "percent": (1.0, 0.0)},
    "W/m2": {
        "W/m2": (1.0, 0.0),
        "W/m²": (1.0, 0.0),
        "W/m^2": (1.0, 0.0),
        "W/m**2": (1.0, 0.0),
        "kW/m2": (1e3, 0.0),
        "kW/m²": (1e3, 0.0),
    },
    "count": {"count": (1.0, 0.0), "counts": (1.0, 0.0)},
    "h": {
        "h": (1.0, 0.0),
        "hour": (1.0, 0.0),
        "hours": (1.0, 0.0),
        "min": (1 / 60, 0.0),
        "minute": (1 / 60, 0.0),
        "minutes": (1 / 60, 0.0),
        "s": (1 / 3600, 0.0),
        "second": (1 / 3600, 0.0),
        "seconds": (1 / 3600, 0.0),
        "d": (24.0, 0.0),
        "day": (24.0, 0.0),
    },
}
"""Canonical unit -> unit -> (scale, offset): canonical = value * scale + offset."""
