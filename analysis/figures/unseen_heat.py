"""Figures less sure by the heat of defrosts that a heat meter may not have taken off."""

from __future__ import annotations

from dataclasses import replace

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.forward_only import Unseen
from fieldfare.analysis.figures.heat_loss import HeatLoss
from fieldfare.analysis.figures.performance import PerformanceRatios
from fieldfare.analysis.figures.sums import known_sum


def performance_less_unseen(days: Table, p: PerformanceRatios, unseen: Unseen | None) -> PerformanceRatios:
    """Performance with its lower ends widened by the heat that the meter may not have taken off."""
    if unseen is None:
        return p
    total, space = known_sum(days, "heat_total_kwh"), known_sum(days, "heat_space_kwh")
    return replace(
        p,
        boundaries={name: _less(e, unseen, total) for name, e in p.boundaries.items()},
        space_heating=_less(p.space_heating, unseen, space),
    )


def heat_loss_less_unseen(days: Table, loss: HeatLoss, unseen: Unseen | None) -> HeatLoss:
    """The same of the house's heat loss."""
    if unseen is None:
        return loss
    space = known_sum(days, "heat_space_kwh")
    return replace(
        loss,
        coefficient=_less(loss.coefficient, unseen, space),
        heat_loss_kw=_less(loss.heat_loss_kw, unseen, space),
        ratio=_less(loss.ratio, unseen, space),
        load_kw=_less(loss.load_kw, unseen, space),
    )


def _less(estimate: Estimate, unseen: Unseen, heat: float | None) -> Estimate:
    if estimate.value is None or estimate.low is None or not heat or heat <= 0.0:
        return estimate
    return replace(estimate, low=estimate.low * max(1.0 - unseen.most_kwh / heat, 0.0))
