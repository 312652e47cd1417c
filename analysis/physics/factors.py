"""Emission factors and fuel energy contents. A factor means nothing without its unit, year, scope and source, so they travel together.

Reporting factors (kept by year) and building-regulation factors (SAP) are different families and are never mixed. Carbon does
not depend on the site's currency; the UK reporting set is the default for every site, and the result names it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Factor:
    """One published factor. `year` is the year of the set; `checked` is False for a value quoted from memory."""

    carrier: str
    kind: str
    value: float
    unit: str
    year: int
    scope: str
    source: str
    checked: bool = True


_UK = "UK government greenhouse gas reporting conversion factors"
_GROSS = "combustion, per kWh gross calorific value"

FACTORS: tuple[Factor, ...] = (
    Factor("electricity", "emission", 0.20705, "kgCO2e/kWh", 2024, "UK grid, generation only", f"{_UK} 2024"),
    Factor("electricity", "emission", 0.177, "kgCO2e/kWh", 2025, "UK grid, generation only", f"{_UK} 2025"),
    Factor("electricity_losses", "emission", 0.0183, "kgCO2e/kWh", 2024, "UK grid losses", f"{_UK} 2024, from memory", False),
    Factor("natural_gas", "emission", 0.18293, "kgCO2e/kWh", 2023, _GROSS, f"{_UK} 2023"),
    Factor("natural_gas", "emission", 0.18296, "kgCO2e/kWh", 2025, _GROSS, f"{_UK} 2025, from memory", False),
    Factor("lpg", "emission", 0.2145, "kgCO2e/kWh", 2024, _GROSS, f"{_UK} 2024, from memory", False),
    Factor("heating_oil", "emission", 0.2468, "kgCO2e/kWh", 2024, _GROSS, f"{_UK} 2024 (burning oil), from memory", False),
    Factor("heating_oil", "emission_litre", 2.540, "kgCO2e/l", 2024, "combustion", f"{_UK} 2024 (burning oil), from memory", False),
    Factor("lpg", "emission_litre", 1.557, "kgCO2e/l", 2024, "combustion", f"{_UK} 2024, from memory", False),
    Factor(
        "heating_oil", "energy_content", 10.30, "kWh/l", 2024, "gross calorific value, kerosene",
        "Digest of UK Energy Statistics: 46.2 MJ/kg, 1245.7 l/t, from memory", False,
    ),
    Factor(
        "heating_oil", "energy_content_net", 9.79, "kWh/l", 2024, "net calorific value, kerosene",
        "Digest of UK Energy Statistics: 43.9 MJ/kg, 1245.7 l/t, from memory", False,
    ),
)  # fmt: skip

DEFAULT_YEAR = 2025


def emission_factor(carrier: str, *, year: int = DEFAULT_YEAR) -> Factor:
    """Emission factor of an energy carrier: the newest set not later than a year, or the oldest there is.

    carrier : str. electricity, natural_gas, lpg or heating_oil (`none` has no factor)
    year : int, default 2025. Year in which the energy was used
    Returns Factor [kgCO2e/kWh]. Raises KeyError for a carrier without one.
    """
    return _pick(carrier, "emission", year)


def energy_content(carrier: str, *, net: bool = False, year: int = DEFAULT_YEAR) -> Factor:
    """Energy content of a liquid fuel.

    carrier : str. heating_oil
    net : bool, default False. Net instead of gross calorific value
    year : int, default 2025. Year of the set
    Returns Factor [kWh/l]. Raises KeyError for a carrier without one.
    """
    return _pick(carrier, "energy_content_net" if net else "energy_content", year)


def _pick(carrier: str, kind: str, year: int) -> Factor:
    rows = sorted((f for f in FACTORS if f.carrier == carrier and f.kind == kind), key=lambda f: f.year)
    if not rows:
        known = ", ".join(sorted({f.carrier for f in FACTORS if f.kind == kind}))
        raise KeyError(f"no {kind.replace('_', ' ')} factor for {carrier!r}; there are: {known}")
    earlier = [f for f in rows if f.year <= year]
    return earlier[-1] if earlier else rows[0]


# Seasonal efficiencies of the boiler a heat pump replaced, winter and summer, gross: SAP 2009 Table 4b.
BOILER_EFFICIENCY: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "gas condensing": (0.84, 0.74),
        "gas condensing combination": (0.84, 0.75),
        "gas non-condensing": (0.74, 0.64),
        "oil from 1998": (0.80, 0.68),
        "oil condensing": (0.84, 0.72),
        "oil condensing combination": (0.82, 0.73),
        "oil 1985 to 1997": (0.71, 0.59),
        "oil before 1985": (0.66, 0.54),
    }
)


def fuel_for_heat_kwh(heat_kwh: float, efficiency: float) -> float:
    """Fuel energy (gross) a boiler would have taken for some heat.

    heat_kwh : float [kWh]
    efficiency : float [-]. Seasonal, gross
    Returns float [kWh]. Raises ValueError if efficiency is not above 0.
    """
    if not efficiency > 0.0:
        raise ValueError(f"efficiency must be above 0, got {efficiency}")
    return heat_kwh / efficiency
