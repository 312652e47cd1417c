"""Meters that contradict physics: an impossible efficiency. And the rules of meters."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.data.heat_meter import heat_meter_disagrees, spoilt_by_disagreement
from fieldfare.analysis.findings.data.long_runs import minutes_in_runs
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.model import (
    Evidence,
    Finding,
)
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.plant.site import HEAT_QUANTITIES

_LEAST_KWH = 1.0


def implausible_efficiency(context: Context) -> Finding | None:
    """Heat over electricity above the Carnot limit or below that of an electric heater."""
    days = context.all_days.days
    heat, unit, least = (days.floats(f"carnot_{name}_kwh") for name in ("heat", "used", "least"))
    worked = (
        (fill_nan(unit, 0.0) >= _LEAST_KWH) & np.isfinite(heat) & (days.floats("minutes_running") >= 60.0)
    )
    if not worked.any():
        raise NotAssessed("needs days with heat and the unit's electricity measured together")
    share = np.divide(least, unit, out=np.zeros(len(days)), where=worked)
    ratio = np.divide(heat, unit, out=np.ones(len(days)), where=worked)
    high_limit, low_limit = context.limit("carnot_share"), context.limit("efficiency_least")
    most = context.limit("efficiency_most")
    # Water hardly warmer than the air takes next to no work: a high ratio alone is no fault where the air is
    # measured.
    beyond = ratio > most
    if "outdoor_temperature" not in context.unreliable:
        beyond &= (share > context.limit("efficiency_most_carnot")) | ~np.isfinite(days.floats("outdoor"))
    high, low = worked & ((share > high_limit) | beyond), worked & (ratio < low_limit)
    low &= minutes_in_runs(context) >= 60.0
    above = latest_episode(days["day"], high, worked, hold_days=3)
    below = latest_episode(days["day"], low, worked, hold_days=3)
    above = above if above is not None and above.share >= 0.5 else None
    below = below if below is not None and below.share >= 0.5 else None
    episode = above or below
    if episode is None:
        return None
    mine = high if episode is above else low
    cop = float(float(heat[mine].sum()) / float(unit[mine].sum()))
    if episode is above:
        carnot = float(np.median(share[mine]))
        words = "more than any heat pump reaches"
        evidence = context.evidence("heat over electricity", round(cop, 2), "-", "efficiency_most")
        over = cop / most
        if carnot > high_limit:
            words = "more than physics allows" if carnot > 1.0 else words
            words += f" at its own temperatures ({percent(carnot)} of Carnot)"
            evidence = context.evidence(
                "share of the Carnot efficiency", round(carnot, 3), "-", "carnot_share"
            )
            over = carnot / high_limit
        headline = f"Heat over electricity is {cop:.1f}, {words}."
    else:
        headline = (
            f"The meters show {cop:.2f} kWh of heat for each kWh of electricity: less than an electric heater"
            " gives."
        )
        evidence = context.evidence("heat over electricity", round(cop, 3), "-", "efficiency_least")
        over = low_limit / max(cop, 0.05)
    return Finding(
        "implausible_efficiency",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(over, episode.days, episode.share),
        headline,
        (
            evidence,
            Evidence("heat", round(float(heat[mine].sum()), 1), "kWh"),
            Evidence("the unit's electricity", round(float(unit[mine].sum()), 1), "kWh"),
            Evidence("days affected", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                "Check both meters at the plant: pulse value and place of the flow sensor of the heat meter,"
                " its two sensors in their pockets, and which circuits the electricity meter counts (all"
                " phases, its transformer ratio). Read both at once an hour apart."
            )
        ),
        caution=(
            ""
            if episode.until
            else (
                "Only an electrician licensed for it opens the board; heat-meter pockets are hot and under"
                " pressure."
            )
        ),
        until=episode.until,
        visit="none" if episode.until else "drive",
        bring=(
            ()
            if episode.until
            else ("clamp meter", "contact thermometer", "heat-meter sheet with its pulse value")
        ),
    )


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
        (Need(HEAT_QUANTITIES),),
        frozenset({"flow_temperature", "return_temperature", "flow_rate"}),
        spoilt_by_disagreement,
    ),
)
