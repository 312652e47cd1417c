"""Withhold figures that another source, a cascade or surplus electricity makes meaningless, with the
reason."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.sums import known_sum
from fieldfare.analysis.plant.other_sources import names_of
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.figures.period import Figures


def as_declared(site: Site, figures: Figures, days: Table) -> Figures:
    """The figures without those that declared sources make meaningless. days : of the period"""
    if site.heat_pump.units > 1:
        figures = _of_a_cascade(site, figures)
    figures = _with_a_boiler(site, figures)
    if site.other_heat_for("hot_water"):
        figures = _with_other_hot_water(site, figures)
    return _with_own_electricity(site, figures, days) if site.pv is not None else figures


def _of_a_cascade(site: Site, figures: Figures) -> Figures:
    reason = (
        f"{site.heat_pump.units} heat pumps share the load: see each unit's own"
        if any(p.heat_pump is not None for p in site.point)
        else f"{site.heat_pump.units} heat pumps share the load: needs points of each unit (point.heat_pump)"
    )
    return figures.with_parts(
        cycling=figures.cycling.withheld(reason), defrost=figures.defrost.withheld(reason)
    )


def _with_a_boiler(site: Site, figures: Figures) -> Figures:
    boiler = next((s for s in site.other_heat_for("space_heating") if s.kind == "boiler"), None)
    if boiler is None:
        return figures
    below = f"below {boiler.below_c:g} °C" if boiler.below_c is not None else "in the cold"
    margin = Estimate.none(
        f"a boiler helps to heat the rooms {below}: the heat pump need not hold the design day"
    )
    m = figures.money
    compared = f"{m.compared}; the boiler's own fuel is not counted" if m.compared else ""
    return figures.with_parts(
        capacity=replace(figures.capacity, margin=margin), money=replace(m, compared=compared)
    )


def _with_other_hot_water(site: Site, figures: Figures) -> Figures:
    names = names_of(site.other_heat_for("hot_water"))
    reason = f"the {names} makes part of the hot water: the heat pump's part is under energy"
    water = figures.hot_water
    return figures.with_parts(
        hot_water=replace(water, heat_kwh_per_day=None, reasons=water.reasons | {"heat_kwh_per_day": reason})
    )


def _with_own_electricity(site: Site, figures: Figures, days: Table) -> Figures:
    """Money and emissions count every kWh as bought; part of it is the home's own."""
    m = figures.money
    used = known_sum(days, "electricity_total_kwh")
    bought = bought_kwh(days)
    if bought is None or not used:
        needs = "needs pv_output and heat_pump_electricity every 15 minutes or closer"
        reason = f"part of the electricity is the home's own, how much is not known: {needs}"
    else:
        reason = f"of {used:.0f} kWh between {bought[0]:.0f} and {bought[1]:.0f} kWh were bought"
        if m.running_cost is not None:
            low, high = (m.running_cost * kwh / used for kwh in bought)
            reason += f", for {low:.0f} to {high:.0f} {m.currency} without the standing charge"
    lost = dict.fromkeys(("total", "running_cost", "co2_kg", "mean_price"), reason)
    m = replace(m, total=None, running_cost=None, co2_kg=None, mean_price=None, reasons=m.reasons | lost)
    return figures.with_parts(money=m)


def bought_kwh(days: Table) -> tuple[float, float] | None:
    """Least and most of the plant's electricity that was bought [kWh]; None where it is not known."""
    least, most = (
        known_sum(days, "electricity_bought_least_kwh"),
        known_sum(days, "electricity_bought_most_kwh"),
    )
    return None if least is None or most is None else (least, most)
