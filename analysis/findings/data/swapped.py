"""Pairs of sensors that are swapped: flow and return, or the two of the heat meter."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import METER_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.plant.site import HEAT_QUANTITIES

_WATER = ("flow_temperature", "return_temperature")
_NEEDS = (Need(("flow_temperature",), 30.0), Need(("return_temperature",), 30.0))
_LEAST_KWH = 1.0
# Rooms that a dwelling without heat does not keep in heating weather (WHO 2018: 18 °C).
_LIVED_IN_C = 17.0
# No sensor pair in water shows more between flow and return than this while a unit works.
_LARGEST_LIFT_K = 15.0
_COOLING_ABOVE_C = 20.0


def flow_return_swapped(context: Context) -> Finding | None:
    """Two sensors are swapped: those of flow and return, or the heat meter's own."""
    if (by_meter := _heat_meter_backwards(context)) is not None:
        return by_meter
    for need in _NEEDS:
        need.require(context)
    return _sensors(context)


def _heat_meter_backwards(context: Context) -> Finding | None:
    """The heat meter counts negative heat all winter, while the rooms stay warm or the flow is the warmer."""
    days, limit = context.all_days.days, context.limit
    heat, unit = days.floats("carnot_heat_kwh"), days.floats("carnot_used_kwh")
    lift, room = days.floats("water_lift"), days.floats("room")
    worked = (
        np.isfinite(heat) & (fill_nan(unit, 0.0) >= _LEAST_KWH) & ~(days.floats("outdoor") > _COOLING_ABOVE_C)
    )
    # A unit that cools by mistake counts so too: its flow is the colder, and the rooms go cold.
    heated = (lift > 0.3) | (~np.isfinite(lift) & (room > _LIVED_IN_C))
    ratio = np.divide(heat, unit, out=np.zeros(len(days)), where=worked)
    is_backwards = worked & heated & (ratio < limit("backwards_ratio"))
    episode = latest_episode(days["day"], is_backwards, worked, hold_days=2)
    if episode is None or episode.share < 0.8:
        return None
    typical = float(np.median(ratio[is_backwards]))
    return Finding(
        "flow_return_swapped",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(typical / limit("backwards_ratio"), episode.days, episode.share),
        (
            f"The heat meter counts {typical:.1f} kWh of heat for each kWh of electricity, below zero, while"
            " the unit heats: its two temperature sensors are swapped, or its sign is."
        ),
        (
            context.evidence("heat over electricity", round(typical, 2), "-", "backwards_ratio"),
            Evidence("days affected", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else "At the heat meter: compare both temperatures on its display with the pipes, and check the"
            " sign that the gateway gives its values. Swap the sensors only in the way the maker's manual"
            " shows."
        ),
        caution="" if episode.until else f"{METER_WORK} Pipes may be hot and under pressure.",
        until=episode.until,
        visit="none" if episode.until else "drive",
    )


def _sensors(context: Context) -> Finding | None:
    """The return is warmer than the flow while the compressor works, day after day."""
    days = context.all_days.days
    lift = days.floats("water_lift")
    outdoor = days.floats("outdoor")
    # A unit that cools has the colder flow by right; in heating weather none does.
    known = np.isfinite(lift) & (np.abs(lift) <= _LARGEST_LIFT_K) & ~(outdoor > _COOLING_ABOVE_C)
    if not known.any():
        raise NotAssessed("no run is long enough to compare flow and return", "not_enough_data")
    limit = context.limit("swapped_lift_k")
    is_swapped = known & (lift < -limit)
    episode = latest_episode(days["day"], is_swapped, known & (np.abs(lift) > 0.3), hold_days=2)
    if episode is None or episode.share < 0.8:
        return None
    typical = float(np.median(lift[is_swapped]))
    return Finding(
        "flow_return_swapped",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(-typical / limit, episode.days, episode.share),
        (
            f"While the compressor runs, the return is {-typical:.1f} K warmer than the flow: the two"
            " sensors are swapped."
        ),
        (
            context.evidence(
                "return minus flow temperature while running", round(-typical, 2), "K", "swapped_lift_k"
            ),
            Evidence("days affected", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                "Swap the two points in the site file (id, column or topic); if the sensors were"
                " changed over on that day, swap them back at the pipes and check that each is on its"
                " own pipe."
            )
        ),
        caution=(
            ""
            if episode.until
            else "Pipes may be hot and under pressure; open no pocket on a filled circuit."
        ),
        until=episode.until,
        visit="none" if episode.until else "setting",
    )


def _unreliable(context: Context, finding: Finding) -> frozenset[str]:
    return frozenset(HEAT_QUANTITIES if _heat_meter_backwards(context) is not None else _WATER)


SWAPPED_RULES: tuple[Rule, ...] = (
    Rule(
        "flow_return_swapped",
        flow_return_swapped,
        (),
        frozenset({"flow_temperature", "return_temperature"}),
        _unreliable,
    ),
)
