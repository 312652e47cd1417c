"""Effect of a room temperature change on heat loss and electricity."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.curve import ZoneEffect, zone_effects
from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days
from fieldfare.analysis.advice.room_response import Changed, RoomResponse, changed, room_response, switched
from fieldfare.analysis.advice.saving import around_ends, doubted, efficiency_keeps, saved_kwh
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]


STAYS = 0.3
"""Share of a lower set temperature that rooms do not follow whose valves are shut: between none, where some
radiators have no valve that shuts, and all (common practice, no source)."""


@dataclass(frozen=True)
class RoomsEffect:
    """saves [kWh over the days], negative where rooms get warmer. room : fall of the house [K]
    zones : with the target as it would be. shut : how far valves are shut already, 0 to 1"""

    saves: Estimate
    room: Estimate
    zones: tuple[ZoneEffect, ...]
    shut: float


def rooms_effect(site: Site, facts: Facts, result: Mapping[str, Any], cooler_k: float) -> RoomsEffect:
    """Effect of another set temperature of all rooms, over the given days. Raises NotAssessed.

    cooler_k : decrease, negative for an increase [K]

    The house loses less by its coefficient times the fall of the rooms (ISO 13790). Where only thermostats
    close, the water stays as hot; where the controls move the curve with the set temperature, it gets cooler
    until the emitters give the new load at the same valves; water that never gets as hot as the curve asks
    does so by itself. Which of these a home has is seldom known: the answer then lies in the middle, and its
    interval holds both. The same for a unit that then runs shorter and
    one that runs as long at a lower output.
    """
    days = heating_days(site, facts, result)
    response = room_response(site, days, result)
    if response.unheld:
        raise NotAssessed(
            "no valve or thermostat acts on the rooms: the set temperature does nothing, the heating curve"
            " does",
            "not_applicable",
        )

    shut = _shut(site, days)

    def change(home: RoomResponse, stays: float) -> Changed:
        return changed(days, home, 0.0, cooler_k=cooler_k * (1.0 - stays * shut))

    rests = switched(site, days)

    usual_follows = 0.5 + 0.5 * np.clip(days.gap / limit_of(site, "advice_floats_k"), 0.0, 1.0)

    def saved(
        home: RoomResponse,
        keeps: float = 1.0,
        follows: Floats | float = usual_follows,
        rests: float = rests,
        stays: float = STAYS,
    ) -> float:
        after = change(home, stays)
        after = replace(after, flow=after.flow - follows * _water_follows(days, home, after))
        return float(np.sum(saved_kwh(site, days, home, after, keeps, rests)))

    value = saved(response)
    ends = [
        [saved(response, follows=follows) for follows in (0.0, 1.0)],
        [saved(response, rests=rests) for rests in (0.0, 1.0)],
        [saved(response, stays=stays) for stays in (0.0, 1.0)],
        [saved(response, keeps) for keeps in efficiency_keeps(site)],
    ]
    # Unmeasured rooms are assumed to follow.
    pairs = doubted(site, response) if response.known else doubted(site, response)[:1]
    ends += [[saved(home) for home in pair] for pair in pairs]
    value, ends = unless_idle(value, ends, acts=response.acts)
    fall = change(response, STAYS).fall
    return RoomsEffect(
        around_ends(value, ends),
        _fall(site, response, change),
        zone_effects(site, days, response, fall, cooler_k),
        float(shut.mean()),
    )


def _shut(site: Site, days: HeatingDays) -> Floats:
    """By day, how far valves are shut already, as the room is over its set temperature [-]: from 0 within the
    tolerance to 1 beyond a valve's range. Such rooms may stay as they are."""
    warmer = fill_nan(days.room - fill_nan(days.target, np.inf), 0.0)
    least, most = limit_of(site, "advice_room_tolerance_k"), limit_of(site, "advice_valves_shut_k")
    return np.asarray(np.clip((warmer - least) / (most - least), 0.0, 1.0))


def _fall(site: Site, response: RoomResponse, change: Callable[[RoomResponse, float], Changed]) -> Estimate:
    """Mean fall of the house's temperature over the heated days, negative where it gets warmer [K]."""
    if not response.known:
        return Estimate.none("needs room_temperature and a heat meter")

    def mean(home: RoomResponse, stays: float = STAYS) -> float:
        return float(np.mean(change(home, stays).fall))

    ends = [[mean(home) for home in pair] for pair in doubted(site, response)]
    ends += [[mean(response, stays) for stays in (0.0, 1.0)]]
    return around_ends(*unless_idle(mean(response), ends, acts=response.acts))


def unless_idle(value: float, ends: list[list[float]], *, acts: bool) -> tuple[float, list[list[float]]]:
    """A change and its ends. Where no day shows that the set temperature acts, it may do nothing: the answer
    then lies in the middle, and its interval holds both."""
    if acts:
        return value, ends
    # Half of each end's distance goes with half of the value.
    halved = [[end / 2.0 for end in pair] for pair in ends]
    return value / 2.0, [*halved, [0.0, value]]


def _water_follows(days: HeatingDays, response: RoomResponse, after: Changed) -> Floats:
    """Possible decrease of the water temperature with unchanged valves [K]."""
    share = after.load_kw / days.load_kw
    excess = np.maximum(days.flow - days.over - days.half - days.room, 1.0)
    excess = np.where(np.isfinite(excess), excess, 1.0)
    less = excess * (1.0 - share ** (1.0 / response.exponent)) + days.half * (1.0 - share)
    return np.asarray(after.fall + less)
