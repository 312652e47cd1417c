"""Effect of a change to a plant: before against after, at comparable weather."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.estimate import Estimate, Fit, robust_fit
from fieldfare.analysis.figures.other_sources import by_the_pump_alone
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import t_quantile

Floats = NDArray[np.float64]

FEWEST_DAYS = 7
"""Days needed on each side: a week holds every weekday's habits once (common practice)."""
BASES_C = np.arange(11.0, 19.01, 0.5)
"""Base temperatures tried for degree-days, over the usual range of houses (CIBSE TM41: 15.5 °C by
default)."""
WHOLE_DAY = 0.9
"""Share of a day's minutes that must be known."""


class ComparedDay(NamedTuple):
    """A day of the comparison: local date as ISO text, its degree-days [K d] and electricity [kWh]."""

    day: str
    degree_days: float
    electricity_kwh: float
    is_after: bool


@dataclass(frozen=True)
class Effect:
    """Differences at the weather after the change.

    electricity_percent : change of a day's electricity at the same degree-days [%]
    flow_k : change of the flow temperature at the same outdoor temperature [K]
    starts_per_day : change of compressor starts a day at the same degree-days
    electricity_kwh : what the days after used more than the line before gives in their weather, in all [kWh]
    money : the same at the mean price of these days, in the site's currency
    compared : the days behind it. lines : (at no degree-days [kWh a day], for each degree-day [kWh]) before
        and after
    days_before, days_after : days that were compared. degree_days : a day's mean after the change [K d], base
        `base_c`
    """

    electricity_percent: Estimate
    flow_k: Estimate
    starts_per_day: Estimate
    electricity_kwh: Estimate
    money: Estimate
    days_before: int
    days_after: int
    degree_days: float | None
    base_c: float | None
    sentence: str
    reason: str | None
    compared: tuple[ComparedDay, ...] = ()
    lines: tuple[tuple[float, float], ...] = ()
    method: str = (
        "robust regression on degree-days with a step at the change; errors after Newey and West, 95 %"
    )


def effect_of_work(days: Table, changed: date, site: Site | None = None) -> Effect:
    """Compare the days before a change with those after it; the day itself is left out.

    days : Table, the days table, of days that no other change lies in
    site : whose days on which another source heated the rooms are left out too
    Returns Effect; what is not known is None, with the reason.
    """
    if not len(days):
        return _none(0, 0, "no facts of these days")
    if site is not None:
        try:
            days = days.where(by_the_pump_alone(site, days))
        except NotAssessed as unknown:
            return _none(0, 0, str(unknown))
    known = days["minutes_electricity_known"] >= WHOLE_DAY * days["minutes_total"]
    then = np.datetime64(changed)
    usable = days.where(known & np.isfinite(days["outdoor"]) & (days["day"] != then))
    after = usable["day"] > then
    n_after = int(after.sum())
    n_before = len(after) - n_after
    if min(n_before, n_after) < FEWEST_DAYS:
        side = "before" if n_before < FEWEST_DAYS else "after"
        return _none(
            n_before, n_after, f"needs {FEWEST_DAYS} whole days {side} it, has {min(n_before, n_after)}"
        )
    outdoor = usable.floats("outdoor")
    energy = usable.floats("electricity_total_kwh")
    base = _base(outdoor, energy, after)
    degrees = np.maximum(base - outdoor, 0.0)
    if not _is_alike(degrees, after):
        return _none(n_before, n_after, "no comparable weather yet")
    fit = robust_fit(_design(degrees, after), energy)
    electricity = _relative_step(fit, degrees, energy, after)
    total = _total(fit, degrees, after)
    starts = _step(degrees, usable.floats("starts"), after)
    flow = _flow_step(usable, after)
    mean = float(degrees[after].mean())
    sentence = _sentence(electricity, flow, n_after)
    compared = tuple(
        ComparedDay(day, d, e, is_after)
        for day, d, e, is_after in zip(
            np.datetime_as_string(usable["day"], unit="D").tolist(),
            degrees.round(2).tolist(),
            energy.round(2).tolist(),
            after.tolist(),
            strict=True,
        )
    )
    a, b, step, steeper = (float(v) for v in fit.coefficients)
    lines = (a, b), (a + step, b + steeper)
    return Effect(
        electricity,
        flow,
        starts,
        total,
        _money(total, usable.where(after)),
        n_before,
        n_after,
        mean,
        float(base),
        sentence,
        None,
        compared,
        lines,
    )


def _none(before: int, after: int, reason: str) -> Effect:
    nothing = Estimate.none(reason)
    return Effect(nothing, nothing, nothing, nothing, nothing, before, after, None, None, "", reason)


def _base(outdoor: Floats, energy: Floats, after: NDArray[np.bool_]) -> float:
    """The base temperature that explains both sides best, each with its own line."""

    def misfit(base: float) -> float:
        x = _design(np.maximum(base - outdoor, 0.0), after)
        beta, *_ = np.linalg.lstsq(x, energy, rcond=None)
        return float(np.abs(energy - x @ beta).sum())

    return float(min(BASES_C, key=misfit))


def _design(degrees: Floats, after: NDArray[np.bool_]) -> Floats:
    step = after.astype(np.float64)
    return np.column_stack([np.ones_like(degrees), degrees, step, step * degrees])


def _is_alike(degrees: Floats, after: NDArray[np.bool_]) -> bool:
    """The mean weather of each side must lie within the range of the other, tails left out."""
    a, b = degrees[~after], degrees[after]
    return all(
        np.percentile(y, 2) - 0.5 <= x.mean() <= np.percentile(y, 98) + 0.5 for x, y in ((a, b), (b, a))
    )  # half a degree-day of slack: a narrow range is still alike


def _total(fit: Fit, degrees: Floats, after: NDArray[np.bool_]) -> Estimate:
    """Change over all days after [kWh], in their weather."""
    days = float(after.sum())
    step, error = fit.combination(np.array([0.0, 0.0, days, float(degrees[after].sum())]))
    return Estimate.around(step, error * _t(len(degrees) - 4))


def _money(total: Estimate, days: Table) -> Estimate:
    """Electricity at the mean price of the days on which it was used."""
    paid, used = days.floats("money"), days.floats("electricity_total_kwh")
    priced = np.isfinite(paid) & np.isfinite(used)
    electricity = float(used[priced].sum())
    price = float(paid[priced].sum()) / electricity if electricity > 0 else 0.0
    return total.times(price) if price > 0 else Estimate.none("needs cost.electricity or cost.band")


def _relative_step(fit: Fit, degrees: Floats, energy: Floats, after: NDArray[np.bool_]) -> Estimate:
    """Change in per cent of what the line before would have given in the weather after."""
    mean = float(degrees[after].mean())
    change, expected = np.array([0, 0, 1, mean]), np.array([1, mean, 0, 0])
    step, _ = fit.combination(change)
    before, _ = fit.combination(expected)
    if before <= 0.1:
        return Estimate.none("next to no electricity was used before it")
    ratio = step / before
    gradient = (change - ratio * expected) / before
    _, error = fit.combination(gradient)
    return Estimate.around(100.0 * ratio, 100.0 * error * _t(len(energy) - 4))


def _step(degrees: Floats, values: Floats, after: NDArray[np.bool_]) -> Estimate:
    known = np.isfinite(values)
    if min(known[after].sum(), known[~after].sum()) < FEWEST_DAYS:
        return Estimate.none("too few days on which it is known")
    fit = robust_fit(_design(degrees[known], after[known]), values[known])
    step, error = fit.combination(np.array([0, 0, 1, float(degrees[after].mean())]))
    return Estimate.around(step, error * _t(int(known.sum()) - 4))


def _flow_step(days: Table, after: NDArray[np.bool_]) -> Estimate:
    """Change of the flow temperature while heating, at the same outdoor temperature."""
    flow = fill_nan(days["flow_by_heat"], days["flow"])
    outdoor = fill_nan(days["outdoor_steady"], days["outdoor"])
    known = np.isfinite(flow) & np.isfinite(outdoor)
    if min(known[after].sum(), known[~after].sum()) < FEWEST_DAYS:
        return Estimate.none("too few days of heating on which the flow temperature is known")
    step = after[known].astype(np.float64)
    fit = robust_fit(np.column_stack([np.ones(len(step)), outdoor[known], step]), flow[known])
    change, error = fit.combination(np.array([0.0, 0.0, 1.0]))
    return Estimate.around(change, error * _t(int(known.sum()) - 3))


def _t(freedom: int) -> float:
    return t_quantile(0.975, max(freedom, 1))


def _sentence(electricity: Estimate, flow: Estimate, days: int) -> str:
    parts = []
    if flow.value is not None and abs(flow.value) >= 0.5:
        parts.append(f"flow temperature {abs(flow.value):.0f} K {'lower' if flow.value < 0 else 'higher'}")
    if electricity.value is not None:
        less = "less" if electricity.value < 0 else "more"
        parts.append(
            f"{abs(electricity.value):.0f} % +- {electricity.half:.0f} % {less} electricity at the same"
            " degree-days"
        )
    return "; ".join([*parts, f"{days} days"])
