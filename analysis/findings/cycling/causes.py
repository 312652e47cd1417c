"""Why a unit cycles: who ends the runs, how much water there is, how big the unit is, how much flows."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.expectation.cycling import KWH_PER_LITRE_K
from fieldfare.analysis.expectation.water_flow import nominal_difference
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.operation import run_spacing
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Cause, Evidence
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median

# Over what was asked: the unit's own switching difference lies at 2 to 5 K, a call ends anywhere below.
_OWN_STOP_K, _CALL_STOP_K = 2.3, 1.5
# A unit's own switching difference ends run after run at one excess over what was asked; a call ends them
# anywhere, before that too.
_OWN_BAND_K, _FEWEST_RUNS = 1.0, 10
# Flow rises by a kelvin in a minute or two at the end of a brief run (common practice).
_PEAKS_SEEN_MIN = 2.5
# Negligible share of a run's flow; share of runs that counts as nearly all (common practice).
_FLOWS_SHARE, _NEARLY_ALL = 0.2, 0.8
# Weight of a restriction where nobody measures the flow, or where it hardly tells; and what two sensors can
# tell apart.
_UNSEEN_FLOW, _LEAST_LIFT_K = 0.15, 0.1


# Least outputs on paper and of a unit at work differ by as much, and so do loads of single days (common
# practice); a capacity of water learned from the runs by more.
_LEAST_SPREAD, _WATER_SPREAD = 0.15, 0.35
# Share of the runs from which who ended them counts as shown; weights of too little water where it is surely
# enough, and surely too little.
_ENOUGH_SHOWN, _LEAST_WEIGHT, _MOST_WEIGHT = 0.3, 0.1, 1.5


def cycling_causes(
    context: Context, runs: Table, *, cold_share: float, load_share: float = np.nan
) -> tuple[tuple[Cause, ...], tuple[Evidence, ...]]:
    """Causes of cycling: end of runs, water content, size of the unit, water flow.

    load_share : the load of those days over the unit's least output [-]
    """
    site = context.site
    evidence: list[Evidence] = []
    by_call = _ended_by_call(runs, coarse=run_spacing(context.days) > _PEAKS_SEEN_MIN)
    scores: dict[str, tuple[float, str]] = {}
    call = by_call if by_call is not None else 0.4
    words = (
        "the thermostat or a zone valve ends" if by_call is not None else "nothing measured shows what ends"
    )
    litres = water_per_kw(site, runs)
    if np.isfinite(litres):
        evidence.append(
            context.evidence(
                "water and metal warmed at each start",
                round(litres, 1),
                "l/kW",
                "water_litres_per_kw",
            )
        )
    share = _flow_share(site, runs)
    if np.isfinite(share):
        evidence.append(context.evidence("flow over nominal", round(share, 2), "-", "low_flow_watch_share"))
    size = _size(site)
    low = context.limit("low_flow_watch_share")
    restricted = np.clip((low - share) / 0.12 + 0.5, 0.0, 1.5) if np.isfinite(share) else _UNSEEN_FLOW
    restricted = max(float(restricted) * _too_wide(context, runs), min(float(restricted), _UNSEEN_FLOW))
    # With too little water, a unit stops on its own at any load.
    through = _runs_through(load_share) * (1.0 - min(float(restricted), 1.0))
    if through > call and not _shows_end(runs):
        call = by_call = through
        words = (
            "at a load above its lowest output a unit runs on by itself: a call that falls away ends about"
        )
    if by_call is not None:
        evidence.append(Evidence("runs stopped by the thermostat", round(by_call, 2), "-"))
    scores["thermostat_chopping"] = (2.0 * call**1.5, f"{words} {100 * call:.0f} % of the runs")
    own = 1.0 - call
    scores["flow_restriction"] = (
        own * 1.6 * float(restricted),
        (
            f"the unit ends its own runs and the flow is {100 * share:.0f} % of nominal"
            if np.isfinite(share)
            else "flow is not measured"
        ),
    )
    big = (
        float(np.clip((size - context.limit("oversized_share")) / 0.2, 0.0, 1.0))
        if np.isfinite(size)
        else 0.5
    )
    flows = 1.0 - 0.7 * min(float(restricted), 1.0)
    plenty = (
        float(np.clip(litres / context.limit("water_litres_per_kw"), 0.4, 1.0))
        if np.isfinite(litres)
        else 1.0
    )
    scores["oversized_for_mild_load"] = (
        own * (0.2 + 1.5 * big + 0.4 * cold_share) * flows * plenty,
        (
            f"lowest output is {100 * size:.0f} % of the design heat loss"
            if np.isfinite(size)
            else "the unit ends its own runs"
        )
        + (", and it cycles in cold weather too" if cold_share > 0.2 else ""),
    )
    scores["low_water_volume"] = (
        own * (_LEAST_WEIGHT + _little_water(context, litres)) * (1.0 - 0.8 * big) * flows,
        (
            f"about {litres:.0f} l of water per kilowatt are warmed at each start, metal included"
            if np.isfinite(litres)
            else "the unit ends its own runs"
        ),
    )
    if by_call is None and big < 1.0 and restricted < 1.0:
        return (), tuple(evidence)  # the end of a call can't be distinguished from a stop by the unit
    return ranked(scores), tuple(evidence)


def _shows_end(runs: Table) -> bool:
    """Whether the call, or the flow against its target, shows what ended the runs.

    A pump that goes on after a run shows nothing: it may overrun, or never stop.
    """
    shown = np.isin(runs["ended_by"], ("call", "unit")) | np.isfinite(runs["flow_max"] - runs["target_flow"])
    stands = runs["flow_after"] / runs["flow_rate"] < _FLOWS_SHARE
    return bool(np.mean(shown | stands) >= _ENOUGH_SHOWN)


def _runs_through(load_share: float) -> float:
    """Probability that the load is more than the least output, so that the unit has no reason to stop."""
    if not load_share > 0.0:
        return 0.0
    return normal_probability(np.log(load_share) / _LEAST_SPREAD)


def _ended_by_call(runs: Table, *, coarse: bool = False) -> float | None:
    """Share of runs ended by a call rather than the unit; None if unknown.

    coarse : readings too far apart to show how far the flow rose

    In turn: the call itself; how far the flow had passed what was asked; whether the water stands still soon
        after.
    """
    by_call, by_unit = runs["ended_by"] == "call", runs["ended_by"] == "unit"
    classified = int(by_call.sum() + by_unit.sum())
    if classified >= _ENOUGH_SHOWN * len(runs):
        return float(by_call.sum()) / classified if classified else float("nan")
    over = runs["flow_max"] - runs["target_flow"]
    after = runs["flow_after"] / runs["flow_rate"]
    verdict = np.full(len(runs), np.nan)
    verdict[after < _FLOWS_SHARE] = 1.0
    verdict[after >= _FLOWS_SHARE] = 0.0
    unseen = np.isnan(verdict)
    if coarse and _flows_on(after):  # a peak between readings would look like a call that ended
        verdict[unseen] = 0.0
    else:
        verdict[(over < _CALL_STOP_K) & unseen] = 1.0
    verdict[over > _OWN_STOP_K] = 0.0
    if _ends_alike(over):
        verdict[np.isfinite(over) & ~(after < _FLOWS_SHARE)] = 0.0
    known_verdicts = verdict[np.isfinite(verdict)]
    return float(known_verdicts.mean()) if len(known_verdicts) >= max(5, 0.2 * len(runs)) else None


def _flows_on(after: Floats) -> bool:
    """Whether water keeps flowing after nearly all runs, so that the call continues."""
    known = after[np.isfinite(after)]
    return bool(len(known) >= _FEWEST_RUNS and float(np.mean(known >= _FLOWS_SHARE)) >= _NEARLY_ALL)


def _ends_alike(over: Floats) -> bool:
    """Whether nearly every run reached what was asked and ended at about the same excess over it [K]."""
    known = over[np.isfinite(over)]
    if len(known) < _FEWEST_RUNS:
        return False
    least, low, high = np.quantile(known, (0.05, 0.25, 0.75))
    return bool(least > 0.0 and high - low <= _OWN_BAND_K)


def water_per_kw(site: Site, runs: Table) -> float:
    """Water, metal included, that a run warms for each kilowatt it gives [l/kW]; nan where not known.

    What a cycle stores is its heat less what the rooms take all along: heat x pause / period. Over the rise
    of the mean water temperature that is a heat capacity.
    """
    heat, minutes = runs.floats("heat"), runs.floats("minutes")
    stored = heat * (runs["after"] / runs["period"])
    ends = runs["flow_end"] + runs["return_end"]
    begins = runs["flow_start"] + runs["return_start"]
    warmed = (ends - begins) / 2.0
    usable = np.isfinite(stored) & (warmed > 1.0) & (runs["minutes_defrost"] == 0) & (heat > 0)
    if usable.sum() < 5:
        return float("nan")
    litres = stored[usable] / warmed[usable] / KWH_PER_LITRE_K
    return nan_median(litres / (heat[usable] / minutes[usable] * 60.0))


def _little_water(context: Context, litres: float) -> float:
    """Weight of too little water: half where it is not known, else by how probably it is less than needed."""
    if not np.isfinite(litres):
        return 0.5
    less = np.log(context.limit("water_litres_per_kw") / max(litres, 1.0)) / _WATER_SPREAD
    return _MOST_WEIGHT * normal_probability(less)


def _flow_share(site: Site, runs: Table) -> float:
    nominal = site.heat_pump.flow_m3_per_h
    return nan_median(runs.floats("flow_rate")) / nominal if nominal else float("nan")


def _too_wide(context: Context, runs: Table) -> float:
    """How far the difference of flow and return tells that the flow is short for the heat [0 to 1]; 1 where
    it is not known.

    A pump that follows the output gives little water at little heat: the difference is then nominal or less.
    In brief runs the return is still cold: what is wide there alone, and not in steady heating, is no
    restriction.
    """
    pump, days = context.site.heat_pump, context.days
    rated, nominal = pump.rated_output_kw, pump.flow_m3_per_h
    steady = days.floats("lift")[np.isin(days["day"], runs["day"])]
    lift = float(np.fmin(nan_median(runs.floats("lift")), nan_median(steady)))
    if not rated or not nominal or not np.isfinite(lift):
        return 1.0
    expected = nominal_difference(rated, nominal)
    return normal_probability(np.log(max(lift, _LEAST_LIFT_K) / expected.middle) / expected.spread)


def _size(site: Site) -> float:
    """Lowest output over the design heat loss [-]."""
    least, loss = site.heat_pump.min_output_kw, site.design.heat_loss_kw
    return least / loss if least and loss else float("nan")


def next_step(cause: str) -> str:
    return {
        "thermostat_chopping": (
            "Widen the room thermostat's switching band or turn off its time-proportional cycling (6"
            " starts an hour is a boiler setting), or use weather compensation with the thermostat as"
            " an upper limit only."
        ),
        "oversized_for_mild_load": (
            "Check that the lowest output is unlocked in the settings, widen the switching difference"
            " and the restart pause, keep all zones open. The permanent fix is a buffer or a smaller"
            " unit."
        ),
        "low_water_volume": (
            "Keep enough loops and radiators open for the maker's minimum water volume and widen the"
            " switching difference; otherwise plan a volume tank in series."
        ),
        "flow_restriction": (
            "Clean the strainer, bleed the circuit, open the valves and raise the pump's setting until the"
            " flow is nominal."
        ),
    }.get(
        cause,
        (
            "Look at one day minute by minute: flow temperature, heat call and water flow at the end of"
            " each run show what ends it."
        ),
    )


def bring(cause: str) -> tuple[str, ...]:
    return {
        "low_water_volume": ("volume tank data", "drain hose"),
        "flow_restriction": ("strainer tools", "strainer insert", "bleed key"),
        "oversized_for_mild_load": ("installer code for the controls",),
    }.get(cause, ())
