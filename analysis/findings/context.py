"""Input of a rule: facts, figures, limits and distrusted quantities; and the needs that it declares."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.money import mean_price
from fieldfare.analysis.findings.limits import LIMITS, limit_of
from fieldfare.analysis.findings.model import Evidence, Finding, Recognised
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.figures.period import Figures

T = TypeVar("T")


@dataclass(frozen=True)
class Context:
    """Facts and figures of one site and period, as a finding reads them.

    facts : Facts of days that can be judged: those recognised as no fault (`recognised`) are left out.
    all_days : Facts of every day. figures : of every day
    unreliable : quantities that can't be trusted, each with the finding about the data that says so
    """

    site: Site
    facts: Facts
    all_days: Facts
    figures: Figures
    recognised: tuple[Recognised, ...] = ()
    unreliable: Mapping[str, Finding] = field(default_factory=dict)
    _said: dict[Any, Any] = field(default_factory=dict, init=False, repr=False, compare=False)
    _of_all_days: dict[Any, tuple[Facts, Any]] = field(default_factory=dict, repr=False, compare=False)

    def once(self, work: Callable[[Context], T]) -> T:
        """Return `work(self)`, computed once per context and shared by all rules."""
        if work not in self._said:
            self._said[work] = work(self)
        said: T = self._said[work]
        return said

    def once_for_all_days(self, work: Callable[[Context], T]) -> T:
        """Like `once`, for a function that reads the site and `all_days` alone.

        Contexts made from one another share what it makes.
        """
        facts, said = self._of_all_days.get(work, (None, None))
        if facts is not self.all_days:
            said = work(self)
            self._of_all_days[work] = (self.all_days, said)
        shared: T = said  # type: ignore[assignment]
        return shared

    def limit(self, name: str) -> float:
        """A limit's value for this site: the site file's, else the default."""
        return limit_of(self.site, name)

    def evidence(
        self, label: str, value: float | str | None, unit: str, name: str, limit: float | None = None
    ) -> Evidence:
        """A number beside the limit of that name.

        limit : float, default the limit's own value. What it is after scaling for this site or weather
        A value of nan is shown as not known.
        """
        if isinstance(value, float) and not np.isfinite(value):
            value = None
        return Evidence(
            label, value, unit, self.limit(name) if limit is None else limit, name, LIMITS[name].side
        )

    @property
    def days(self) -> Table:
        return self.facts.days

    def money(self, kwh: float | None) -> float | None:
        """A year's electricity as money at this site's mean price; None without a price."""
        price = mean_price(self.site, self.all_days.days)
        return None if kwh is None or price is None else kwh * price


@dataclass(frozen=True)
class Need:
    """Quantities of which at least one must be measured, their spacing [minutes] and number of days."""

    any_of: tuple[str, ...]
    spacing_min: float = 1e9
    days: int = 0

    def require(self, context: Context) -> None:
        """Raise NotAssessed where the need is not met."""
        days = context.all_days.days
        spacings = {q: days[f"spacing.{q}"] for q in self.any_of if f"spacing.{q}" in days}
        if not spacings:
            raise NotAssessed(f"needs {' or '.join(self.any_of)}", "missing_quantity")
        if not any((s <= self.spacing_min).any() for s in spacings.values()):
            closest = f"every {self.spacing_min:g} minutes or closer"
            raise NotAssessed(f"needs {' or '.join(spacings)} {closest}", "spacing_too_wide")
        if len(days) < self.days:
            raise NotAssessed(f"needs at least {self.days} days, has {len(days)}", "too_few_days")


_CLOCK_LIMITS = ("clock_minutes", "clock_edge_minutes")
Check = Callable[[Context], Finding | None]


@dataclass(frozen=True)
class Rule:
    """One finding: its code, the function that decides, and what it needs.

    check : Context -> Finding, or None where all is well. May raise NotAssessed with the reason.
    reads : quantities it relies on; a data finding that marks one of them as unreliable withholds it
    makes_unreliable : for data rules: the quantities that the given Finding marks as unreliable
    by_day : it judges sums of whole days, in which a clock that is some minutes off moves next to nothing
    """

    code: str
    check: Check
    needs: tuple[Need, ...] = ()
    reads: frozenset[str] = frozenset()
    makes_unreliable: Callable[[Context, Finding], frozenset[str]] | None = field(default=None)
    by_day: bool = False

    def run(self, context: Context) -> Finding | None:
        for need in self.needs:
            need.require(context)
        return self.check(context)


def distrust(quantity: str, culprit: Finding) -> str:
    """Why the readings of a quantity can't be used, in a few words."""
    return f"{quantity} can't be trusted ({culprit.code} since {culprit.since})"


def minutes_off(culprit: Finding) -> float | None:
    """By how many minutes a meter's clock is off another's; None where it is about something else."""
    if culprit.code != "clock_offset":
        return None
    shown = [e.value for e in culprit.evidence if e.limit_name in _CLOCK_LIMITS]
    return max((abs(v) for v in shown if isinstance(v, float | int)), default=None)


def already_reported(quantity: str, culprit: Finding) -> str:
    """Why a rule leaves a quantity to the finding that says what is wrong with it, in a few words."""
    return f"already reported for {quantity} ({culprit.code} since {culprit.since})"


def require_hot_water(context: Context) -> None:
    """Raise NotAssessed where the site makes no hot water."""
    if context.site.hot_water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
