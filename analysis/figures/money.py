"""Cost and emissions, compared with the replaced fuel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.sums import known_sum
from fieldfare.analysis.minutes.balance import only_split_meters
from fieldfare.analysis.physics.emission_factors import (
    COUNTRIES,
    DEFAULT_COUNTRY,
    DEFAULT_CURRENCY,
    Factor,
    emission_factor,
)
from fieldfare.analysis.plant.cost import Cost
from fieldfare.analysis.plant.site import Site

# Default seasonal efficiency of a boiler: comparator of the UK field study (reference
# 2.3).
_USUAL_EFFICIENCY = {"heating_oil": 0.84, "natural_gas": 0.84, "lpg": 0.84, "electricity": 1.0}

_FUELS = {
    "heating_oil": "heating oil",
    "natural_gas": "gas",
    "lpg": "bottled gas",
    "electricity": "direct electric heating",
}


@dataclass(frozen=True)
class Money:
    """Money in `currency`, carbon in kg CO2e; None with a reason where a price or a meter is missing.

    total : electricity and its standing charge. running_cost : the electricity alone
    previous_fuel_total : the old fuel for the same heat, with its standing charge only if the home no longer
        pays it
    compared : what running_cost and previous_fuel_total count, in a sentence
    country : of the carbon factors. factors : each factor used, in words
    """

    currency: str | None
    total: float | None
    standing_charge: float | None
    running_cost: float | None
    previous_fuel: str | None
    previous_fuel_total: float | None
    previous_fuel_kwh: float | None
    co2_kg: float | None
    previous_fuel_co2_kg: float | None
    mean_price: float | None
    compared: str
    country: str
    factors: list[str]
    reasons: dict[str, str]


def money(site: Site, days: Table) -> Money:
    """Cost and carbon of the days, each at its own price and its year's factor.

    The old boiler would have made all measured useful heat.
    """
    reasons: dict[str, str] = {}
    factors: dict[str, None] = {}
    electricity, cost = known_sum(days, "electricity_total_kwh"), site.cost
    spent = standing = price = None
    if cost is None:
        reasons["total"] = "needs [cost] in the site file"
    elif electricity is None:
        reasons["total"] = "needs heat_pump_electricity"
    elif (spent := known_sum(days, "money")) is None:
        reasons["total"] = "needs cost.electricity or cost.band"
    else:
        standing = sum(
            len(part) * cost.on(part.day(0)).standing_charge_per_day for part in _parts(days, cost)
        )
        price = spent / electricity if electricity > 0 else None
    country = _country(cost)
    co2 = _carbon("electricity", _used(days, cost), country, factors, reasons, "co2_kg")
    fuel = cost.previous_fuel if cost is not None and cost.previous_fuel != "none" else None
    previous_total = previous_kwh = previous_co2 = None
    if fuel is None:
        reasons["previous_fuel_total"] = "no previous fuel is given"
    elif useful_heat(site, days) is None:
        reasons["previous_fuel_total"] = "needs a heat meter"
    else:
        assert cost is not None
        burnt = list(_burnt(site, days, cost, fuel))
        previous_kwh = sum(kwh for _, kwh in burnt)
        previous_total = _paid(burnt, cost)
        if previous_total is None:
            reasons["previous_fuel_total"] = "needs cost.previous_fuel_price"
        by_year = [(part.day(0).year, kwh) for part, kwh in burnt]
        previous_co2 = _carbon(fuel, by_year, country, factors, reasons, "previous_fuel_co2_kg")
    return Money(
        cost.currency if cost else None,
        None if spent is None or standing is None else spent + standing,
        standing,
        spent,
        fuel,
        previous_total,
        previous_kwh,
        co2,
        previous_co2,
        price,
        _compared(cost, fuel),
        country,
        list(factors),
        reasons,
    )


def _country(cost: Cost | None) -> str:
    """Country of the carbon factors: the site file's, else the default where its currency fits;
    else empty."""
    if cost is None or cost.country:
        return (cost.country if cost else None) or DEFAULT_COUNTRY
    return DEFAULT_COUNTRY if cost.currency == DEFAULT_CURRENCY else ""


def _parts(days: Table, cost: Cost | None) -> Iterator[Table]:
    """Split the days by calendar year and set of prices."""
    day = days["day"].astype("datetime64[D]")
    starts = np.array([p.start for p in cost.price] if cost else [], dtype="datetime64[D]")
    key = day.astype("datetime64[Y]").astype(np.int64) * 10_000 + np.searchsorted(starts, day, side="right")
    for each in np.unique(key):
        yield days.where(key == each)


def _used(days: Table, cost: Cost | None) -> list[tuple[int, float]]:
    """Electricity by calendar year [kWh]; empty if unknown."""
    known = ((part.day(0).year, known_sum(part, "electricity_total_kwh")) for part in _parts(days, cost))
    return [(year, kwh) for year, kwh in known if kwh is not None]


def _burnt(site: Site, days: Table, cost: Cost, fuel: str) -> Iterator[tuple[Table, float]]:
    """Fuel for the same heat [kWh], by part of the days."""
    for part in _parts(days, cost):
        heat = useful_heat(site, part)
        if heat is not None:
            yield part, heat / (cost.previous_efficiency or _USUAL_EFFICIENCY[fuel])


def _paid(burnt: list[tuple[Table, float]], cost: Cost) -> float | None:
    """Cost of the old fuel; None without its price on some day."""
    total = 0.0
    for part, kwh in burnt:
        price = cost.on(part.day(0)).previous_fuel_price
        if price is None:
            return None
        total += kwh * price + len(part) * cost.previous_standing_charge_per_day
    return total


def _carbon(
    carrier: str,
    used: list[tuple[int, float]],
    country: str,
    factors: dict[str, None],
    reasons: dict[str, str],
    name: str,
) -> float | None:
    """Emissions by year [kg]; None with the reason without energy or factor."""
    if not used:
        return None
    if not country:
        reasons[name] = "needs cost.country"
        return None
    total = 0.0
    for year, kwh in used:
        try:
            factor = emission_factor(carrier, year=year, country=country)
        except KeyError:
            reasons[name] = f"no carbon factor of {carrier.replace('_', ' ')} is known for {country}"
            return None
        total += kwh * factor.value
        factors[_price_text(factor)] = None
    return total


def _price_text(factor: Factor) -> str:
    where = COUNTRIES[factor.country]
    source = factor.source.replace(", from memory", "") + (
        "" if factor.checked else " (value still to be compared with it)"
    )
    return (
        f"{factor.carrier.replace('_', ' ')} {factor.value:g} {factor.unit}, {where} {factor.year},"
        f" {factor.scope}, {source}"
    )


def _compared(cost: Cost | None, fuel: str | None) -> str:
    """What the comparison with the old fuel includes."""
    if cost is None or fuel is None:
        return ""
    words = _FUELS[fuel]
    text = (
        "electricity for the heating without its standing charge, which the home pays anyway, against"
        f" {words} for the same heat"
    )
    if cost.previous_standing_charge_per_day > 0.0:
        return f"{text} with its standing charge, which the home no longer pays"
    return f"{text} without a standing charge"


def useful_heat(site: Site, days: Table) -> float | None:
    """All heat delivered [kWh]: the heat pump's, and that of direct heaters without heat measurement."""
    heat = known_sum(days, "heat_total_kwh")
    if heat is None:
        return None
    if not only_split_meters(site):
        heat += days.total("electricity_backup_kwh")
    return heat + days.total("electricity_immersion_kwh")


def mean_price(site: Site, days: Table) -> float | None:
    """Money per kWh over the days, to price a saving; None without prices."""
    if site.cost is None:
        return None
    spent, used = known_sum(days, "money"), known_sum(days, "electricity_total_kwh")
    if spent is not None and used and used > 1.0:
        return spent / used
    return site.cost.newest.electricity
