"""All figures of a period, as input of findings and document."""

from __future__ import annotations

from dataclasses import dataclass

from fieldfare.analysis.facts.slots import is_little_metered
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.capacity import Capacity, capacity
from fieldfare.analysis.figures.comfort import Zone, comfort
from fieldfare.analysis.figures.expected import ExpectedPerformance, expected
from fieldfare.analysis.figures.fitted_curve import FittedCurve, fitted_curve
from fieldfare.analysis.figures.from_electricity import FromElectricity, from_electricity
from fieldfare.analysis.figures.heat_loss import HeatLoss, heat_loss
from fieldfare.analysis.figures.hot_water import HotWaterFigures, blurred_reheats, hot_water_figures
from fieldfare.analysis.figures.losses import Loss, losses
from fieldfare.analysis.figures.money import Money, money
from fieldfare.analysis.figures.operation import (
    Cycling,
    Defrosting,
    cycling,
    defrosting,
)
from fieldfare.analysis.figures.performance import Performance, performance
from fieldfare.analysis.plant.site import Site


@dataclass(frozen=True)
class Figures:
    """All figures of a period."""

    performance: Performance
    expected: ExpectedPerformance
    losses: list[Loss]
    heat_loss: HeatLoss
    capacity: Capacity
    curve: FittedCurve
    cycling: Cycling
    defrost: Defrosting
    hot_water: HotWaterFigures
    comfort: dict[str, Zone]
    money: Money
    from_electricity: FromElectricity | None = None


def figures(site: Site, facts: Facts) -> Figures:
    """Every figure of the facts' days."""
    days = facts.days
    loss = heat_loss(site, days)
    water = hot_water_figures(site, facts)
    return Figures(
        performance(site, days, blurred_reheats(facts)),
        expected(site, days),
        losses(site, facts),
        loss,
        capacity(site, days, loss, water.heat_kwh_per_day),
        fitted_curve(site, days),
        cycling(site, facts),
        defrosting(site, facts),
        water,
        comfort(days),
        money(site, days),
        from_electricity(site, days) if is_little_metered(site) else None,
    )
