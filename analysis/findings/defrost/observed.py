"""Shared by the defrost rules: defrosts that can be judged, and timed defrosting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.defrost import too_long, too_often
from fieldfare.analysis.expectation.frost import frost_mass
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need
from fieldfare.analysis.findings.defrost.causes import (
    drawn_share,
    efficiency,
    rated_kw,
    used_wh,
)
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.statistics.moving import moving_median, moving_sum
from fieldfare.analysis.statistics.quantiles import nan_median

NEEDS = (
    Need(("outdoor_temperature",), 60.0),
    Need(("defrost_active", "operating_mode", "heat_output", "flow_rate", "flow_temperature"), 5.0),
)
_WEEK = 7
READS = frozenset({"outdoor_temperature", "heat_output"})


def seen(context: Context) -> Table:
    """The defrosts, heat taken nan where no meter shows it: none, or one that counts forwards only.

    Raises NotAssessed where the source is not air, or nothing shows defrosts.
    """
    if context.site.heat_pump.source != "air":
        raise NotAssessed("the source is not air", "not_applicable")
    defrosts, figure = context.facts.defrosts, context.figures.defrost
    if figure.reason and figure.count_least is None:
        raise NotAssessed(figure.reason, "not_enough_data")
    if figure.reason:  # sampled: those seen are the least there are, their length and heat unknown
        unknown = np.full(len(defrosts), np.nan)
        return defrosts.with_columns(minutes=unknown, heat_taken=unknown, electricity=unknown)
    if not len(defrosts):
        return defrosts
    taken = nan_median(defrosts.floats("heat_taken")) * 1000.0 / rated_kw(context)
    shown = context.all_days.days.total("minutes_heat_known") > 0 and taken > context.limit(
        "defrost_taken_wh_per_kw"
    )
    shown = shown and not context.figures.defrost.taken_reason
    return defrosts if shown else defrosts.with_columns(heat_taken=np.full(len(defrosts), np.nan))


@dataclass(frozen=True)
class DailyFrost:
    """Frost by day of the days table [g/kW], three guesses of it: float64 (n,)."""

    least: Floats
    usual: Floats
    most: Floats

    @classmethod
    def of(cls, context: Context) -> DailyFrost:
        """Raises NotAssessed without an outdoor temperature."""
        per_kw = 1000.0 / rated_kw(context)
        guesses = [context.days.floats(f"frost_{name}") * per_kw for name in ("least", "usual", "most")]
        if not np.isfinite(guesses[1]).any():
            raise NotAssessed("needs outdoor_temperature", "missing_quantity")
        return cls(*(fill_nan(g, 0.0) for g in guesses))

    def total(self, rows: NDArray[Any]) -> Lognormal:
        """Frost of some days together [g/kW]. rows : flags or numbers of the days"""
        return frost_mass(*(float(g[rows].sum()) for g in (self.least, self.usual, self.most)))

    def clearest(self, coat: float) -> Flags:
        """Days with the most certain frost estimates: those holding half of the frost."""
        frosty = self.usual >= coat / 2.0
        apart = np.full(len(self.usual), np.inf)
        apart[frosty] = self.most[frosty] / np.maximum(self.least[frosty], 0.01 * self.usual[frosty])
        order = np.argsort(apart, kind="stable")
        held = np.cumsum(np.where(frosty, self.usual, 0.0)[order])
        chosen = np.zeros(len(apart), dtype=np.bool_)
        chosen[order[: int(np.searchsorted(held, held[-1] / 2.0)) + 1]] = True
        return chosen & frosty


def weekly(context: Context, defrosts: Table, frost: DailyFrost, days: Flags) -> dict[str, Floats]:
    """Daily scores of "too often", each over the week around it; nan on other days.

    days : bool (n,), days that are judged
    Returns float64 (n,) by name [standard deviations]. rate : by the number of defrosts alone. often : by
        what each used as well. long : by length and heat drawn, -inf where they are not long
    """
    day, rated = context.days["day"], rated_kw(context)
    of = defrosts["day"]
    number = group_by_day(day, of, np.ones(len(defrosts)), "sum")
    used = group_by_day(day, of, used_wh(defrosts, rated), "median")
    length = group_by_day(day, of, defrosts.floats("minutes"), "median")
    drawn = group_by_day(day, of, drawn_share(defrosts, rated), "median")
    rows = np.flatnonzero(days)
    laid = [moving_sum(guess[rows], _WEEK).tolist() for guess in (frost.least, frost.usual, frost.most)]
    counts = moving_sum(number[rows], _WEEK).tolist()
    usual = [moving_median(values[rows], _WEEK, 1).tolist() for values in (used, length, drawn)]
    long_from = context.limit("defrost_long_minutes")
    out = {name: np.full(len(day), np.nan) for name in ("rate", "often", "long")}
    for row, *guesses, count, each, minutes, heat in zip(rows, *laid, counts, *usual, strict=True):
        frosted = frost_mass(*guesses)
        out["rate"][row] = too_often(count, frosted)
        out["often"][row] = too_often(count, frosted, each)
        out["long"][row] = too_long(minutes, heat) if minutes > long_from else -np.inf
    return out


def by_clock(context: Context, defrosts: Table) -> float | None:
    """Running time between defrosts [min] of a unit that defrosts by a timer; None where it does not.

    A timer's spacing is the same in fog and in dry frost. A sensor that reads too cold keeps to the unit's
    lock, which is shorter, and goes on in mild air; a circuit short of refrigerant has lost performance.
    """
    limit = context.limit
    gaps = defrosts.floats("since_last")
    gaps = gaps[np.isfinite(gaps)]
    if len(gaps) < limit("timed_defrosts"):
        return None
    low, middle_gap, high = np.quantile(gaps, (0.15, 0.5, 0.85))
    mild = float((defrosts["outdoor"] > limit("timed_mild_c")).mean())
    regular = high - low < limit("timed_defrost_spread") * middle_gap
    sound = efficiency(context) > limit("timed_defrost_efficiency")
    timed = regular and sound and middle_gap >= limit("timed_defrost_minutes")
    return float(middle_gap) if timed and mild < limit("timed_mild_share") else None


def timed(context: Context, defrosts: Table, gap: float) -> Finding:
    """The note that a unit defrosts by the clock."""
    low, high = np.nanquantile(defrosts["since_last"], (0.15, 0.85))
    allowed = round(context.limit("timed_defrost_spread") * gap, 1)
    return Finding(
        "excessive_defrost",
        "note",
        context.days.day(0).isoformat(),
        0.8,
        f"The unit defrosts by the clock, every {gap:.0f} minutes of running, with or without frost.",
        evidence=(
            context.evidence("running time between defrosts", round(gap, 1), "min", "timed_defrost_minutes"),
            context.evidence(
                "spread of the middle 70 % of them",
                round(float(high - low), 1),
                "min",
                "timed_defrost_spread",
                allowed,
            ),
            context.evidence("defrosts seen", len(defrosts), "defrosts", "timed_defrosts"),
        ),
        next_step=(
            "Check whether its settings offer defrosting on demand; on dry cold days a timer defrosts"
            " for nothing."
        ),
        visit="setting",
    )
