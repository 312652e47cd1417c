"""Compare two spans of days at comparable weather: electricity for rooms and for hot water."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.energy_signature import NotIdentified, change_point
from fieldfare.analysis.figures.estimate import Estimate, robust_fit
from fieldfare.analysis.figures.heat_loss import daily_sun
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import t_quantile

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_DAYS = 10
"""Days of comparable weather needed in each span: a week and a half of habits (common practice)."""
WHOLE_DAY = 0.9
"""Share of a day's minutes that must be known."""
FEWEST_FOR_BEND = 24
"""Days from which a bend of the line (the unit's efficiency falls in the cold) is fitted too (common
practice: six a coefficient)."""
LEAST_KWH = 2.0
"""Electricity a day below which a change in per cent says nothing: a tenth of a cold day's (common
practice)."""
WIDEST_PERCENT = 15.0
"""Half an interval above which nothing is reported (common practice: a change of the curve by 6 K saves as
much)."""
LEAST_PERCENT = 2.0
"""Change that an interval must exclude to be reported: habits and sun leave as much behind (common
practice)."""


@dataclass(frozen=True)
class LikeWeather:
    """Changes from the earlier to the later span [%] at comparable weather; a missing value has a reason.

    space_percent : electricity for the rooms on equally cold days. hot_water_percent : electricity for hot
        water. total_percent : all of it on equally cold days, where the meters can't tell these apart
    days_before, days_after : compared days for the rooms
    outdoor_before, outdoor_after : mean outdoor temperature of the whole spans [°C]
    """

    space_percent: Estimate
    hot_water_percent: Estimate
    days_before: int
    days_after: int
    outdoor_before: float | None
    outdoor_after: float | None
    total_percent: Estimate = field(default_factory=lambda: Estimate.none("rooms and hot water are compared"))

    @staticmethod
    def is_distinct(change: Estimate) -> bool:
        """Whether a change is worth reporting: its interval lies beyond LEAST_PERCENT on one side."""
        if change.low is None or change.high is None:
            return False
        return change.low > LEAST_PERCENT or change.high < -LEAST_PERCENT

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        out = asdict(self)
        for name in ("space_percent", "hot_water_percent", "total_percent"):
            estimate: Estimate = getattr(self, name)
            out[name] = estimate.as_dict() or {"value": None, "reason": estimate.reason}
            out[name]["is_told"] = self.is_distinct(estimate)
        return out


def like_weather(site: Site, before: Table, after: Table) -> LikeWeather:
    """Compare two spans of days of one home.

    before, after : Table, days tables. Returns LikeWeather. Method: a change-point line of electricity for
        the rooms on outdoor temperature (`energy_signature`) finds where heating ends; on heating days in the
        range of outdoor temperature that both spans have, a robust line with a step between the spans gives
        the change. The sun goes in as a condition, so that a sunny month does not count as a better unit.
        Errors after Newey and West (1987), 95 %.
    """
    if not len(before) or not len(after):
        nothing = Estimate.none("no readings of one of the spans")
        return LikeWeather(nothing, nothing, 0, 0, None, None)
    later = np.concatenate((np.zeros(len(before), dtype=bool), np.ones(len(after), dtype=bool)))

    def both(name: str) -> Floats:
        return np.concatenate((before.floats(name), after.floats(name)))

    outdoor, space, water = both("outdoor"), both("electricity_space_kwh"), both("electricity_hot_water_kwh")
    use_unknown = both("electricity_undetermined_kwh")
    measured = both("minutes_electricity_known") >= WHOLE_DAY * both("minutes_total")
    whole = measured & (np.nan_to_num(use_unknown) <= 0.05 * np.maximum(both("electricity_total_kwh"), 1e-9))
    sun = np.concatenate((daily_sun(site, before), daily_sun(site, after)))
    rooms, n_before, n_after = _space(outdoor, space, sun, later, whole)
    compared = LikeWeather(
        rooms,
        _hot_water(site, water, later, whole),
        n_before,
        n_after,
        _mean(outdoor[~later]),
        _mean(outdoor[later]),
    )
    if min(whole[later].sum(), whole[~later].sum()) >= FEWEST_DAYS:
        return compared
    total, n_before, n_after = _space(outdoor, both("electricity_total_kwh"), sun, later, measured, None)
    return replace(compared, total_percent=total, days_before=n_before, days_after=n_after)


def _space(
    outdoor: Floats,
    space: Floats,
    sun: Floats,
    later: Flags,
    whole: Flags,
    base_load: float | None = 0.0,
) -> tuple[Estimate, int, int]:
    """base_load : electricity of a day without heating [kWh], None where it is not known"""
    usable = whole & np.isfinite(outdoor) & np.isfinite(space)
    if min(usable[later].sum(), usable[~later].sum()) < FEWEST_DAYS:
        return Estimate.none("too few whole days on which heating and hot water can be told apart"), 0, 0
    try:
        fitted = change_point(outdoor[usable], space[usable], base_load=base_load, robust=True)
    except NotIdentified:
        return Estimate.none("too little heating to compare"), 0, 0
    base = fitted.base_temperature_c
    base = base if np.isfinite(base) else float(outdoor[usable].max())  # every day was heated
    low = max(outdoor[usable & later].min(), outdoor[usable & ~later].min())
    high = min(outdoor[usable & later].max(), outdoor[usable & ~later].max(), base)
    alike = usable & (outdoor >= low) & (outdoor <= high)
    n_before, n_after = int(alike[~later].sum()), int(alike[later].sum())
    if min(n_before, n_after) < FEWEST_DAYS:
        return Estimate.none("too few days as cold as each other"), n_before, n_after
    degrees = base - outdoor[alike]
    middle = degrees - degrees.mean()
    columns = [np.ones(len(middle)), middle]
    if len(middle) >= FEWEST_FOR_BEND:
        columns.append(middle**2)
    lit = sun[alike]
    if np.isfinite(lit).all() and float(np.std(lit)) > 0.0:
        columns.append(lit - lit.mean())
    columns.append(later[alike].astype(np.float64))
    fit = robust_fit(np.column_stack(columns), space[alike])
    step = np.zeros(len(columns))
    step[-1] = 1.0
    change, error = fit.combination(step)
    then = float(space[alike & ~later].mean())
    if then < LEAST_KWH:
        return Estimate.none("too little heating to compare"), n_before, n_after
    freedom = max(len(middle) - len(columns), 1)
    half = t_quantile(0.975, freedom) * error
    return _percent(change, half, then), n_before, n_after


def _hot_water(site: Site, water: Floats, later: Flags, whole: Flags) -> Estimate:
    if site.hot_water is None:
        return Estimate.none("the system makes no hot water")
    usable = whole & np.isfinite(water)
    if min(usable[later].sum(), usable[~later].sum()) < FEWEST_DAYS:
        return Estimate.none("too few whole days on which heating and hot water can be told apart")
    step = later[usable].astype(np.float64)
    fit = robust_fit(np.column_stack((np.ones(len(step)), step)), water[usable])
    then = float(fit.coefficients[0])
    if then < LEAST_KWH:
        return Estimate.none("too little hot water to compare")
    change, error = fit.combination(np.array([0.0, 1.0]))
    half = t_quantile(0.975, len(step) - 2) * error
    return _percent(change, half, then)


def _percent(change: float, half: float, then: float) -> Estimate:
    if 100.0 * half / then > WIDEST_PERCENT:
        return Estimate.none("the days differ too much to tell")
    return Estimate.around(100.0 * change / then, 100.0 * half / then, -100.0)


def _mean(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None
