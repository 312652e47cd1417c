"""Meters that contradict physics: an impossible efficiency. And the rules of meters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.data.heat_meter import heat_meter_disagrees, unreliable_by_disagreement
from fieldfare.analysis.findings.data.long_runs import minutes_in_runs
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import (
    Evidence,
    Finding,
)
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.minutes.balance import counts_unmetered_heater, meter_behind_heater, only_split_meters
from fieldfare.analysis.plant.site import HEAT_QUANTITIES

_LEAST_KWH, _RAN_MIN = 1.0, 60.0


@dataclass(frozen=True)
class _Ratios:
    """By day: heat and electricity [kWh] that are held against each other, electricity of a Carnot machine
    over the unit's, and the days that tell."""

    heat: Floats
    used: Floats
    carnot: Floats
    worked: Flags
    rested: Flags

    @property
    def ratio(self) -> Floats:
        known = self.worked | self.rested
        return np.divide(self.heat, self.used, out=np.ones(len(self.heat)), where=known)


def _ratios(context: Context) -> _Ratios:
    """Running minutes of the days on which the unit ran; all minutes of those on which it seems to have
    rested.

    A meter that shows next to nothing makes a running unit seem at rest.
    """
    days = context.all_days.days
    heat, unit, least = (days.floats(f"carnot_{name}_kwh") for name in ("heat", "used", "least"))
    ran = days.floats("minutes_running") >= _RAN_MIN
    much = context.limit("efficiency_most") * _LEAST_KWH
    # Much heat for almost no electricity is a meter error too, so either of the two may pass its minimum.
    worked = ran & ((unit >= _LEAST_KWH) | ((heat >= much) & (unit > 0.0)))
    all_heat, all_used = days.floats("paired_heat_kwh"), days.floats("paired_heat_pump_kwh")
    for name in ("paired_backup_kwh", "paired_immersion_kwh"):
        all_used = all_used + fill_nan(days.floats(name), 0.0)
    rested = ~ran & (all_heat >= much) & (all_used > 0.0) & (not _heated_besides(context))
    return _Ratios(
        np.where(rested, all_heat, heat),
        np.where(rested, all_used, unit),
        np.divide(least, unit, out=np.zeros(len(days)), where=worked),
        worked,
        rested,
    )


def _heated_besides(context: Context) -> bool:
    """True where heat of something without a meter of its own may pass the heat meter."""
    site = context.site
    heater = meter_behind_heater(site) or (only_split_meters(site) and site.design.bivalent_c is not None)
    return bool((heater and not site.measures("backup_heater_electricity")) or site.other_heat)


def implausible_efficiency(context: Context) -> Finding | None:
    """Heat over electricity above the Carnot limit or below that of an electric heater."""
    days, by_day = context.all_days.days, _ratios(context)
    judged = by_day.worked | by_day.rested
    if not judged.any():
        raise NotAssessed(
            "needs days with heat and the unit's electricity measured together", "missing_quantity"
        )
    most = context.limit("efficiency_most")
    # Water hardly warmer than the air takes next to no work: a high ratio alone is no fault where the air is
    # measured.
    beyond = by_day.ratio > most
    if "outdoor_temperature" not in context.unreliable:
        warm = ~(by_day.carnot > context.limit("efficiency_most_carnot")) & np.isfinite(
            days.floats("outdoor")
        )
        beyond &= by_day.rested | ~warm
    high = judged & ((by_day.carnot > context.limit("carnot_share")) | beyond)
    low = by_day.worked & (by_day.ratio < context.limit("efficiency_least"))
    if counts_unmetered_heater(context.site):
        low = np.zeros_like(low)  # the heater's electricity is counted, its heat is not
    low &= minutes_in_runs(context) >= _RAN_MIN
    for mine, described in ((high, _too_high), (low, _too_low)):
        episode = latest_episode(days["day"], mine, judged, hold_days=3)
        if episode is not None and episode.share >= 0.5:
            return _finding(by_day, mine, episode, *described(context, by_day, mine))
    return None


def _too_high(context: Context, by_day: _Ratios, mine: Flags) -> tuple[str, Evidence, float]:
    """Headline, evidence, and by how much the limit is passed."""
    cop, carnot = _cop(by_day, mine), float(np.median(by_day.carnot[mine]))
    high_limit, most = context.limit("carnot_share"), context.limit("efficiency_most")
    if carnot > high_limit:
        words = "more than physics allows" if carnot > 1.0 else "more than any heat pump reaches"
        return (
            f"Heat over electricity is {cop:.1f}, {words} at its own temperatures"
            f" ({percent(carnot)} of Carnot).",
            context.evidence("share of the Carnot efficiency", round(carnot, 3), "-", "carnot_share"),
            carnot / high_limit,
        )
    return (
        f"Heat over electricity is {cop:.1f}, more than any heat pump reaches.",
        context.evidence("heat over electricity", round(cop, 2), "-", "efficiency_most"),
        cop / most,
    )


def _too_low(context: Context, by_day: _Ratios, mine: Flags) -> tuple[str, Evidence, float]:
    cop = _cop(by_day, mine)
    return (
        f"The meters show {cop:.2f} kWh of heat for each kWh of electricity: less than an electric heater"
        " gives.",
        context.evidence("heat over electricity", round(cop, 3), "-", "efficiency_least"),
        context.limit("efficiency_least") / max(cop, 0.05),
    )


def _cop(by_day: _Ratios, mine: Flags) -> float:
    return float(by_day.heat[mine].sum() / by_day.used[mine].sum())


def _finding(
    by_day: _Ratios, mine: Flags, episode: Episode, headline: str, evidence: Evidence, over: float
) -> Finding:
    found = Finding(
        "implausible_efficiency",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(over, episode.days, episode.share),
        headline,
        (
            evidence,
            Evidence("heat", round(float(by_day.heat[mine].sum()), 1), "kWh"),
            Evidence("the unit's electricity", round(float(by_day.used[mine].sum()), 1), "kWh"),
            Evidence("days affected", float(episode.days), "days"),
        ),
        until=episode.until,
    )
    return found if episode.until else replace(found, **_CHECK)


_CHECK: dict[str, Any] = {
    "next_step": (
        "Check both meters at the plant: pulse value and place of the flow sensor of the heat meter, its two"
        " sensors in their pockets, and which circuits the electricity meter counts (all phases, its"
        " transformer ratio). Read both at once an hour apart."
    ),
    "caution": (
        "Only an electrician licensed for it opens the board; heat-meter pockets are hot and under pressure."
    ),
    "visit": "drive",
    "bring": ("clamp meter", "contact thermometer", "heat-meter sheet with its pulse value"),
}


METER_RULES: tuple[Rule, ...] = (
    Rule(
        "implausible_efficiency",
        implausible_efficiency,
        (Need(("heat_pump_electricity",)), Need((*HEAT_QUANTITIES, "flow_rate"))),
        frozenset(
            {
                "heat_pump_electricity",
                "heat_output",
                "flow_temperature",
                "return_temperature",
                "outdoor_temperature",
            }
        ),
        lambda context, finding: frozenset({*HEAT_QUANTITIES, "heat_pump_electricity"}),
    ),
    Rule(
        "heat_meter_disagrees",
        heat_meter_disagrees,
        (Need((*HEAT_QUANTITIES, "flow_rate")),),
        frozenset({"flow_temperature", "return_temperature", "flow_rate"}),
        unreliable_by_disagreement,
    ),
)
