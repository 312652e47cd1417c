"""Runs that the unit ends itself within minutes while heat is still called for."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS_WORK, water_caution
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import downgraded
from fieldfare.analysis.findings.model import Cause, Finding
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.statistics.quantiles import nan_median

# The flow of a run that the unit ends because it is warm enough lies 2 K or more over what was asked; a trip
# comes before.
_REACHED_K = 1.0
# Water that still flows at this share some minutes after the run: the circuit's pump goes on, so heat is
# still asked for.
_FLOWS_ON = 0.2


def unit_trips(context: Context) -> Finding | None:
    """Days on which most runs end within minutes, below the set flow temperature, no call ending."""
    days, limit, runs = context.days, context.limit, context.facts.runs
    if not len(runs):
        return None
    heating = (runs["use"] != HOT_WATER) & (runs["minutes_hot_water"] == 0)
    tripped = heating & is_trip(context, runs)
    per_day, of_all = _per_day(days, runs, tripped), _per_day(days, runs, heating)
    often = (per_day >= limit("trips_a_day")) & (per_day >= limit("trip_share") * np.maximum(of_all, 1.0))
    episode = latest_episode(days["day"], often, of_all >= 1.0, hold_days=2, gone_days=4)
    if episode is None:
        return None
    here = episode.covers(days["day"]) & often
    mine = runs.where(tripped & np.isin(runs["day"], days["day"][here]))
    many, length = nan_median(per_day[here]), nan_median(mine.floats("minutes"))
    short = nan_median(target_flow_of(context, mine) - mine.floats("flow_max"))
    share = float(per_day[here].sum() / of_all[here].sum())
    by_call = float((mine["ended_by"] == "unit").mean())
    why = (
        f"{percent(share)} of its runs end within {length:.0f} minutes with the water {short:.1f} K"
        " below its set temperature"
    )
    why += f"; the room still calls in {percent(by_call)} of them" if by_call > 0 else ""
    return Finding(
        "short_cycling",
        downgraded("act", episode, 2.0),
        episode.since,
        confidence_of(many / limit("trips_a_day") + 0.5, episode.days + 3.0, episode.share),
        (
            f"The unit stops itself after {length:.0f} minutes, {many:.0f} times a day, while heat is"
            " still called for."
        ),
        evidence=(
            context.evidence("runs that end this way", round(many, 1), "1/day", "trips_a_day"),
            context.evidence("median length of these runs", round(length, 1), "min", "trip_run_minutes"),
            context.evidence("share of all heating runs", round(share, 2), "-", "trip_share"),
        ),
        causes=(Cause("unit_trips", 1.0, why),),
        next_step=(
            "Read the unit's fault memory: it restarts after its lock time and may show nothing"
            " in between. First check water flow (strainer, air, pump, closed valves), then"
            " pressure switches, outdoor coil and fan; high or low pressure trips are for a"
            " person licensed for refrigerants."
        ),
        caution=f"Never bypass a switch that stops it. {water_caution(context.site)} {MAINS_WORK}",
        home=(
            "Your heat pump keeps stopping and restarting and can't give its full heat. Please ring"
            " your installer and don't reset it repeatedly."
        ),
        until=episode.until,
        visit="drive",
        bring=("strainer tools", "the maker's fault list", "bleed key"),
    )


def is_trip(context: Context, runs: Table) -> Flags:
    """Short runs whose flow did not reach its target, with heat still called for afterwards: bool (k,).

    That it is still asked for shows in the call, or in water that goes on flowing where calls are not
    measured.
    """
    brief = runs.floats("minutes") < context.limit("trip_run_minutes")
    unreached = runs.floats("flow_max") < target_flow_of(context, runs) + _REACHED_K
    whole = ~runs["cut"].astype(np.bool_)
    flows_on = runs.floats("flow_after") >= _FLOWS_ON * runs.floats("flow_rate")
    heat_still_needed = (runs["ended_by"] == "unit") | ((runs["ended_by"] == "unknown") & flows_on)
    return np.asarray(brief & unreached & whole & heat_still_needed, dtype=np.bool_)


def target_flow_of(context: Context, runs: Table) -> Floats:
    """Set flow temperature of each run [°C]; nan where not measured and no call shows demand."""
    target = runs.floats("target_flow")
    curve = context.site.heating_curve
    if curve is None:
        return target
    designed = np.asarray(curve_at(curve.points, runs.floats("outdoor")))
    return np.where(np.isfinite(target), target, np.where(runs["ended_by"] == "unit", designed, np.nan))


def _per_day(days: Table, runs: Table, flags: Flags) -> Floats:
    of_run = runs["day"][flags]
    first, end = (np.searchsorted(of_run, days["day"], side=side) for side in ("left", "right"))
    return (end - first).astype(np.float64)
