"""All figures of a period, as input of findings and document."""

from __future__ import annotations

from functools import cached_property

from fieldfare.analysis.facts.slots import is_little_metered
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.capacity import Capacity, capacity
from fieldfare.analysis.figures.comfort import Zone, comfort
from fieldfare.analysis.figures.expected import ExpectedPerformance, expected
from fieldfare.analysis.figures.fitted_curve import FittedCurve, fitted_curve
from fieldfare.analysis.figures.forward_only import Unseen, unseen_defrost_heat
from fieldfare.analysis.figures.from_electricity import FromElectricity, from_electricity
from fieldfare.analysis.figures.heat_loss import HeatLoss, heat_loss
from fieldfare.analysis.figures.hot_water import TO_SPLIT, HotWaterFigures, blurred_reheats, hot_water_figures
from fieldfare.analysis.figures.losses import Loss, losses
from fieldfare.analysis.figures.money import Money, money
from fieldfare.analysis.figures.operation import (
    Cycling,
    Defrosting,
    cycling,
    defrosting,
)
from fieldfare.analysis.figures.other_sources import (
    OtherHeatFigures,
    UnitFigures,
    other_heat_figures,
    unit_figures,
)
from fieldfare.analysis.figures.performance import PerformanceRatios, performance
from fieldfare.analysis.figures.unseen_heat import heat_loss_less_unseen, performance_less_unseen
from fieldfare.analysis.plant.site import Site


class Figures:
    """All figures of the facts' days, each computed when it is first read."""

    def __init__(self, site: Site, facts: Facts) -> None:
        self._site, self._facts = site, facts

    def with_parts(self, **parts: object) -> Figures:
        """All figures with some replaced; the others stay as they are, also where they rest on a replaced
        one."""
        made = Figures(self._site, self._facts)
        for name in _NAMES:
            setattr(made, name, parts[name] if name in parts else getattr(self, name))
        return made

    @cached_property
    def performance(self) -> PerformanceRatios:
        days = self._facts.days
        blurred, unsplit = blurred_reheats(self._facts), blurred_reheats(self._facts, TO_SPLIT)
        found = performance(self._site, days, blurred, unsplit)
        return performance_less_unseen(days, found, self.unseen_defrost_heat)

    @cached_property
    def unseen_defrost_heat(self) -> Unseen | None:
        return unseen_defrost_heat(self._site, self._facts.days)

    @cached_property
    def expected(self) -> ExpectedPerformance:
        return expected(self._site, self._facts.days)

    @cached_property
    def losses(self) -> list[Loss]:
        return losses(self._site, self._facts)

    @cached_property
    def heat_loss(self) -> HeatLoss:
        days = self._facts.days
        return heat_loss_less_unseen(days, heat_loss(self._site, days), self.unseen_defrost_heat)

    @cached_property
    def capacity(self) -> Capacity:
        a_day = self.hot_water.heat_kwh_per_day
        return capacity(self._site, self._facts.days, self.heat_loss, a_day)

    @cached_property
    def curve(self) -> FittedCurve:
        return fitted_curve(self._site, self._facts.days)

    @cached_property
    def cycling(self) -> Cycling:
        return cycling(self._site, self._facts)

    @cached_property
    def defrost(self) -> Defrosting:
        return defrosting(self._site, self._facts, self.unseen_defrost_heat)

    @cached_property
    def hot_water(self) -> HotWaterFigures:
        return hot_water_figures(self._site, self._facts)

    @cached_property
    def comfort(self) -> dict[str, Zone]:
        return comfort(self._facts.days)

    @cached_property
    def money(self) -> Money:
        return money(self._site, self._facts.days)

    @cached_property
    def from_electricity(self) -> FromElectricity | None:
        return from_electricity(self._site, self._facts.days) if is_little_metered(self._site) else None

    @cached_property
    def other_heat(self) -> OtherHeatFigures | None:
        return other_heat_figures(self._site, self._facts.days)

    @cached_property
    def units(self) -> list[UnitFigures]:
        return unit_figures(self._site, self._facts.days)


_NAMES = tuple(name for name, what in vars(Figures).items() if isinstance(what, cached_property))
