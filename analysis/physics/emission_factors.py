"""Emission factors and fuel energy contents, each with unit, year, scope and source.

Reporting factors (kept by country and year) and building-regulation factors (SAP) are different families and
are never mixed. Carbon does not depend on the site's currency. A site without a country gets the United
Kingdom's set, and the result says so. Fuels burn alike everywhere: a country without its own fuel factor gets
the IPCC's default. Electricity differs: a country without a factor has no carbon figure.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Factor:
    """One published factor. `year` is the year of the set; `checked` is False for a value quoted from memory.

    country : ISO 3166-1 alpha-2, or ANY
    """

    carrier: str
    kind: str
    value: float
    unit: str
    year: int
    scope: str
    source: str
    checked: bool = True
    country: str = "GB"


ANY = "*"
COUNTRIES = {"GB": "United Kingdom", "DE": "Germany", "FR": "France", "IE": "Ireland", ANY: "any country"}
DEFAULT_COUNTRY = "GB"
DEFAULT_CURRENCY = "GBP"
"""Where a site file names no country, its prices must be in this currency for the
default country to count."""
_IPCC = "IPCC 2006 Guidelines, vol. 2, table 2.2, from memory"
_SEAI = "Sustainable Energy Authority of Ireland, emission factors"
_GERMAN = "IINAS for HEA, greenhouse gases of electricity, 2025"
# Net over gross calorific value: natural gas 0.9017, kerosene 43.9/46.2, gas oil 42.6/45.3, LPG 0.92 (Digest
# of UK Energy Statistics, from memory); heat bills and this service count gross.
_NET_GAS, _NET_KEROSENE, _NET_GAS_OIL, _NET_LPG = 0.9017, 0.950, 0.940, 0.920
_UK = "UK government greenhouse gas reporting conversion factors"
_GROSS = "combustion, per kWh gross calorific value"

FACTORS: tuple[Factor, ...] = (
    Factor("electricity", "emission", 0.20705, "kgCO2e/kWh", 2024, "UK grid, generation only", f"{_UK} 2024"),
    Factor("electricity", "emission", 0.177, "kgCO2e/kWh", 2025, "UK grid, generation only", f"{_UK} 2025"),
    Factor(
        "electricity_losses",
        "emission",
        0.0183,
        "kgCO2e/kWh",
        2024,
        "UK grid losses",
        f"{_UK} 2024, from memory",
        False,
    ),
    Factor("natural_gas", "emission", 0.18293, "kgCO2e/kWh", 2023, _GROSS, f"{_UK} 2023"),
    Factor("natural_gas", "emission", 0.18296, "kgCO2e/kWh", 2025, _GROSS, f"{_UK} 2025, from memory", False),
    Factor("lpg", "emission", 0.2145, "kgCO2e/kWh", 2024, _GROSS, f"{_UK} 2024, from memory", False),
    Factor(
        "heating_oil",
        "emission",
        0.2468,
        "kgCO2e/kWh",
        2024,
        _GROSS,
        f"{_UK} 2024 (burning oil), from memory",
        False,
    ),
    Factor(
        "heating_oil",
        "emission_litre",
        2.540,
        "kgCO2e/l",
        2024,
        "combustion",
        f"{_UK} 2024 (burning oil), from memory",
        False,
    ),
    Factor("lpg", "emission_litre", 1.557, "kgCO2e/l", 2024, "combustion", f"{_UK} 2024, from memory", False),
    Factor("electricity", "emission", 0.439, "kgCO2e/kWh", 2022, "mix, generation", _GERMAN, country="DE"),
    Factor("electricity", "emission", 0.381, "kgCO2e/kWh", 2023, "mix, generation", _GERMAN, country="DE"),
    Factor("electricity", "emission", 0.343, "kgCO2e/kWh", 2024, "mix, generation", _GERMAN, country="DE"),
    Factor(
        "electricity",
        "emission",
        0.032,
        "kgCO2e/kWh",
        2023,
        "French mix, generation",
        "grid operator's yearly review 2023, from memory",
        False,
        "FR",
    ),
    Factor(
        "electricity",
        "emission",
        0.0217,
        "kgCO2e/kWh",
        2024,
        "French mix, generation",
        "grid operator's yearly review 2024, from memory",
        False,
        "FR",
    ),
    Factor("electricity", "emission", 0.4675, "kgCO2/kWh", 2015, "Irish mix, supplied", _SEAI, country="IE"),
    Factor(
        "electricity",
        "emission",
        0.2547,
        "kgCO2/kWh",
        2023,
        "Irish mix, supplied",
        f"{_SEAI}, from memory",
        False,
        "IE",
    ),
    Factor(
        "natural_gas",
        "emission",
        round(0.2047 * _NET_GAS, 4),
        "kgCO2/kWh",
        2015,
        f"{_GROSS}, from 56.9 t/TJ net",
        _SEAI,
        country="IE",
    ),
    Factor(
        "heating_oil",
        "emission",
        round(0.2570 * _NET_KEROSENE, 4),
        "kgCO2/kWh",
        2015,
        f"{_GROSS}, kerosene, from 71.4 t/TJ net",
        _SEAI,
        country="IE",
    ),
    Factor(
        "natural_gas",
        "emission",
        round(0.20196 * _NET_GAS, 4),
        "kgCO2/kWh",
        2006,
        f"{_GROSS}, from 56.1 t/TJ net",
        _IPCC,
        False,
        ANY,
    ),
    Factor(
        "heating_oil",
        "emission",
        round(0.26676 * _NET_GAS_OIL, 4),
        "kgCO2/kWh",
        2006,
        f"{_GROSS}, gas oil, from 74.1 t/TJ net",
        _IPCC,
        False,
        ANY,
    ),
    Factor(
        "lpg",
        "emission",
        round(0.22716 * _NET_LPG, 4),
        "kgCO2/kWh",
        2006,
        f"{_GROSS}, from 63.1 t/TJ net",
        _IPCC,
        False,
        ANY,
    ),
    Factor(
        "heating_oil",
        "energy_content",
        10.30,
        "kWh/l",
        2024,
        "gross calorific value, kerosene",
        "Digest of UK Energy Statistics: 46.2 MJ/kg, 1245.7 l/t, from memory",
        False,
    ),
    Factor(
        "heating_oil",
        "energy_content_net",
        9.79,
        "kWh/l",
        2024,
        "net calorific value, kerosene",
        "Digest of UK Energy Statistics: 43.9 MJ/kg, 1245.7 l/t, from memory",
        False,
    ),
)

DEFAULT_YEAR = 2025


def emission_factor(carrier: str, *, year: int = DEFAULT_YEAR, country: str = DEFAULT_COUNTRY) -> Factor:
    """Emission factor of an energy carrier: the newest set not later than a year, or the oldest there is.

    carrier : str. electricity, natural_gas, lpg or heating_oil (`none` has no factor)
    year : int, default 2025. Year in which the energy was used
    country : str, default GB. ISO 3166-1 alpha-2
    Returns Factor [kgCO2e/kWh, or kgCO2/kWh where its unit says so]. Raises KeyError for a carrier or country
    without one.
    """
    return _pick(carrier, "emission", year, country)


def energy_content(carrier: str, *, net: bool = False, year: int = DEFAULT_YEAR) -> Factor:
    """Energy content of a liquid fuel.

    carrier : str. heating_oil
    net : bool, default False. Net instead of gross calorific value
    year : int, default 2025. Year of the set
    Returns Factor [kWh/l]. Raises KeyError for a carrier without one.
    """
    return _pick(carrier, "energy_content_net" if net else "energy_content", year)


def _pick(carrier: str, kind: str, year: int, country: str = DEFAULT_COUNTRY) -> Factor:
    rows = [f for f in FACTORS if f.carrier == carrier and f.kind == kind]
    if not rows:
        known = ", ".join(sorted({f.carrier for f in FACTORS if f.kind == kind}))
        raise KeyError(f"no {kind.replace('_', ' ')} factor for {carrier!r}; there are: {known}")
    own = [f for f in rows if f.country == country] or [f for f in rows if f.country == ANY]
    if not own:
        known = ", ".join(sorted({f.country for f in rows}))
        raise KeyError(
            f"no {kind.replace('_', ' ')} factor of {carrier} in {country}; there are those of: {known}"
        )
    own.sort(key=lambda f: f.year)
    earlier = [f for f in own if f.year <= year]
    return earlier[-1] if earlier else own[0]
