"""What it cost and emitted, against the fuel it replaced."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.facts.table import Table
from analysis.figures.sums import known_sum
from analysis.physics.factors import emission_factor
from analysis.plant.site import Site

# A boiler's seasonal efficiency where the site file gives none: comparator of the UK field study (reference 2.3).
_USUAL_EFFICIENCY = {"heating_oil": 0.84, "natural_gas": 0.84, "lpg": 0.84, "electricity": 1.0}


@dataclass(frozen=True)
class Money:
    """Money in `currency`, carbon in kg CO2e; None with a reason where a price or a meter is missing."""

    currency: str | None
    total: float | None
    standing_charge: float | None
    previous_fuel: str | None
    previous_fuel_total: float | None
    previous_fuel_kwh: float | None
    co2_kg: float | None
    previous_fuel_co2_kg: float | None
    mean_price: float | None
    factors: list[str]
    reasons: dict[str, str]


def money(site: Site, days: Table) -> Money:
    """Cost and carbon of the given days. Heat that the old boiler would have made is all useful heat measured."""
    reasons: dict[str, str] = {}
    factors: list[str] = []
    electricity = known_sum(days, "e_total")
    year = days.day(-1).year
    cost = site.cost
    total = standing = price = None
    if cost is None:
        reasons["total"] = "needs [cost] in the site file"
    elif electricity is None:
        reasons["total"] = "needs heat_pump_electricity"
    else:
        spent = known_sum(days, "money")
        if spent is None:
            reasons["total"] = "needs cost.electricity or cost.band"
        else:
            standing = cost.standing_charge_per_day * len(days)
            total = spent + standing
            price = spent / electricity if electricity > 0 else None
    co2 = None
    if electricity is not None:
        factor = emission_factor("electricity", year=year)
        co2 = electricity * factor.value
        factors.append(f"electricity {factor.value:g} {factor.unit}, {factor.scope}, {factor.source}")
    previous_total = previous_kwh = previous_co2 = None
    fuel = cost.previous_fuel if cost is not None and cost.previous_fuel != "none" else None
    useful = useful_heat(site, days)
    if fuel is None:
        reasons["previous_fuel_total"] = "no previous fuel is given"
    elif useful is None:
        reasons["previous_fuel_total"] = "needs a heat meter"
    else:
        assert cost is not None
        previous_kwh = useful / (cost.previous_efficiency or _USUAL_EFFICIENCY[fuel])
        if cost.previous_fuel_price is not None:
            previous_total = previous_kwh * cost.previous_fuel_price
        else:
            reasons["previous_fuel_total"] = "needs cost.previous_fuel_price"
        factor = emission_factor(fuel, year=year)
        previous_co2 = previous_kwh * factor.value
        factors.append(
            f"{fuel.replace('_', ' ')} {factor.value:g} {factor.unit}, {factor.scope}, {factor.source}"
        )
    return Money(
        cost.currency if cost else None, total, standing, fuel, previous_total, previous_kwh, co2, previous_co2, price,
        factors, reasons,
    )  # fmt: skip


def useful_heat(site: Site, days: Table) -> float | None:
    """All heat delivered [kWh]: the heat pump's and that of direct heaters no heat meter sees."""
    heat = known_sum(days, "q_total")
    if heat is None:
        return None
    if not (site.measures("space_heat") and not site.measures("heat_output")):
        heat += days.total("e_backup")
    return heat + days.total("e_immersion")


def mean_price(site: Site, days: Table) -> float | None:
    """Money per kWh over the days, for pricing a saving; None without prices."""
    if site.cost is None:
        return None
    spent, used = known_sum(days, "money"), known_sum(days, "e_total")
    if spent is not None and used and used > 1.0:
        return spent / used
    return site.cost.electricity
