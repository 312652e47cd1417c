"""Electricity saved by a smaller temperature lift, smaller exchanger differences and less heat."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.heating_days import HeatingDays
from fieldfare.analysis.advice.room_response import (
    FOLLOWS_K,
    HELD_K,
    Changed,
    RoomResponse,
)
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.physics.second_law import carnot_cop
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Change = Callable[[HeatingDays, RoomResponse], Changed]

WATER_TO_REFRIGERANT_K, AIR_TO_REFRIGERANT_K = 3.0, 8.0
"""Differences over the exchangers at full output, between which the second law works; they go as the output
goes (common practice, no source)."""
EFFICIENCY_KEEPS = (0.85, 1.15)
"""Ends of what a unit gains by cooler water over what its rating says: units lose 2.2 to 2.5 % of their COP
for each kelvin of flow (Staffell 2012, 30 to 50 K of lift), at part of their output by more or less (common
practice)."""


UNRATED_KEEPS = (0.7, 1.2)
"""The same where the site file has no rating points at two flow temperatures: then an average unit's gain is
taken (common practice, no source)."""
PART_LOAD_KEEPS = (-0.5, 1.5)
"""Ends of what a unit gains by a lower output, of what the second law says of its exchangers: compressors and
inverters take some of it, or below their best speed more than it (common practice, no source)."""
AIR_KEEPS = (0.75, 1.0)
"""Share of the second law's gain that a unit keeps with warmer air, which holds more water for frost (common
practice, no source)."""


def cop_between(outdoor: Floats, flow: Floats, part: Floats | float = 1.0) -> Floats:
    """Second law's COP [-] between air and water [°C], over the exchangers' differences at a part of the
    full output [-]."""
    return np.asarray(carnot_cop(outdoor - AIR_TO_REFRIGERANT_K * part, flow + WATER_TO_REFRIGERANT_K * part))


def cop_over(site: Site, outdoor: Floats, flow: Floats, then_outdoor: Floats, then_flow: Floats) -> Floats:
    """COP between air and water over the COP between others [-], temperatures in °C: by the unit's rating
    points (EN 14511), without any by those of an average unit."""
    rating = rated(site)
    return np.asarray(rating.cop(outdoor, flow) / rating.cop(then_outdoor, then_flow))


def efficiency_keeps(site: Site) -> tuple[float, float]:
    """Range of a unit's actual over calculated gain by cooler water [-]."""
    rated_flows = {point.flow_c for point in site.heat_pump.rating}
    return EFFICIENCY_KEEPS if len(rated_flows) > 1 else UNRATED_KEEPS


def saved_kwh(
    site: Site,
    days: HeatingDays,
    response: RoomResponse,
    after: Changed,
    keeps: float,
    rests: float = 0.0,
    part_load: float = 1.0,
) -> Floats:
    """Electricity saved by day [kWh].

    keeps : share of the rating's gain by cooler water. part_load : of the second law's by a lower output
    rests : 1 where a thermostat switches the unit and it runs shorter when less heat is asked for, 0 where it
    runs as long at a lower output
    """
    pump = site.heat_pump
    run = days.load_kw / days.share
    # More of the emitters used, or the same heat from cooler water: the unit runs longer at a lower output.
    used = after.opened / response.opened
    share = np.clip(days.share * used, days.share * np.minimum(1.0 - rests * (1.0 - used), 1.0), 1.0)
    least = np.minimum(run, pump.min_output_kw or 0.0)
    run_after = np.maximum(after.load_kw / share, least)
    full = pump.rated_output_kw or float(np.max(run))
    now = cop_between(days.outdoor, days.flow, np.minimum(run / full, 1.0))
    then = cop_between(days.outdoor, days.flow, np.minimum(run_after / full, 1.0))
    gain = 1.0 - keeps * (1.0 - cop_over(site, days.outdoor, days.flow, days.outdoor, after.flow))
    left = after.load_kw / days.load_kw * gain * (now / then) ** part_load
    # The circulation pump is unaffected.
    return np.asarray((days.electricity - days.pump) * (1.0 - left))


def estimated(site: Site, days: HeatingDays, response: RoomResponse, change: Change) -> Estimate:
    """Electricity saved over the days, with its interval [kWh].

    The interval adds in squares what the unit keeps of the gain by cooler water and by a lower output, the
    heat loss coefficient, the emitters' output, how the flow follows its target, how far the controls make up
    for cool rooms, and the response of the valves.
    """

    def total(home: RoomResponse, keeps: float = 1.0, part_load: float = 1.0) -> float:
        return float(np.sum(saved_kwh(site, days, home, change(days, home), keeps, part_load=part_load)))

    value = total(response)
    spreads = [
        _half([total(response, keeps) for keeps in efficiency_keeps(site)], value),
        _half([total(response, part_load=part) for part in PART_LOAD_KEEPS], value),
    ]
    spreads += [_half([total(home) for home in pair], value) for pair in doubted(site, response)]
    if not response.known:  # if rooms follow the water, savings are larger
        return Estimate(value, value - math.hypot(*spreads[:-1]), value + math.hypot(*spreads))
    return Estimate.around(value, math.hypot(*spreads))


def room_fall(site: Site, days: HeatingDays, response: RoomResponse, change: Change) -> Estimate:
    """Mean fall of the house's temperature over the heated days, with its interval [K]."""
    if not response.known:
        return Estimate.none("needs room_temperature and a heat meter")

    def mean(home: RoomResponse) -> float:
        return float(np.mean(change(days, home).fall))

    value = mean(response)
    spreads = [_half([mean(home) for home in pair], value) for pair in doubted(site, response)]
    return Estimate.around(value, math.hypot(*spreads), 0.0)


def doubted(site: Site, response: RoomResponse) -> tuple[tuple[RoomResponse, RoomResponse], ...]:
    """Pairs of homes at the limits of the measurements: loss, emitters, gap of the flow, response."""
    doubt = response.full_doubt
    factor = response.opens_doubt
    ends = (response.opens_k / factor, response.opens_k * factor) if response.known else (HELD_K, FOLLOWS_K)
    return (
        (replace(response, loss=response.loss_low), replace(response, loss=response.loss_high)),
        (response.stronger(1.0 - doubt), response.stronger(1.0 + doubt)),
        (replace(response, gap_closes=0.0), replace(response, gap_closes=1.0)),
        (response, replace(response, influence=response.influence_most)),
        (replace(response, opens_k=ends[0]), replace(response, opens_k=ends[1])),
    )


def around_ends(value: float, ends: Sequence[Sequence[float]]) -> Estimate:
    """A value and, in squares, how far the ends of what is not known are off it."""
    return Estimate.around(value, math.hypot(*(_half(pair, value) for pair in ends)))


def _half(values: Sequence[float], middle: float) -> float:
    return max(abs(value - middle) for value in values)
