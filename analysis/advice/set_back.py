"""Night set-back: present depth, saving of another depth, and its effect on the rooms by day."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.curve import set_curve
from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days
from fieldfare.analysis.advice.room_response import RoomResponse, room_response
from fieldfare.analysis.advice.saving import cop_between, cop_over
from fieldfare.analysis.advice.shared import no_rooms
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.set_back import USUAL_HOURS, depth_now
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

STORES_KWH_PER_M2_K = (165.0 / 3600.0, 370.0 / 3600.0)
"""Heat that a house of medium and of very heavy weight stores for each kelvin and m2 of floor (ISO 13790,
table 12; lighter ones are rare with their inner walls and furniture: common practice)."""
NIGHT_SHARE = 0.35
"""Night's mean temperature below the day's, of the day's range: seven hours from 22 h of a sine that is
coldest at four."""
FASTER_COSTS = (-0.5, 0.5, 1.5)
"""What a unit loses by making the same heat in fewer hours, over what the second law says of its exchangers:
least, usual, most. Below its best speed it gains (common practice, no source)."""
_SEEN_K = 0.5  # a set-back (common practice)
_BEFORE_MIDNIGHT_H = 2.0  # of a usual set-back from 22 h (common practice)
_LEAST_SPARE = 0.05  # of the emitters' output: with less reserve a room never recovers
_RATE_DOUBT = 0.5  # relative uncertainty of a room's cooling rate from nights (common practice, no source)


@dataclass(frozen=True)
class SetBackEffect:
    """depth_now_k, depth_k; saves [kWh over the days]; room : mean fall of the room over the day [K]
    recovery_h : hours until rooms are back at their target, now and after"""

    depth_now_k: float
    depth_k: float
    saves: Estimate
    room: Estimate
    recovery_h: tuple[float, float]


def set_back_effects(
    site: Site, facts: Facts, result: Mapping[str, Any], depths_k: Sequence[float]
) -> list[SetBackEffect]:
    """Effect of other set-back depths over the given days. Raises NotAssessed.

    Rooms cool at their own rate at night and come up at that rate times what the emitters have to spare;
    less heat is lost by the coefficient times the mean fall, and the heat is made in the warmer hours.
    The saving does not include back-up heat that a longer recovery may need.
    """
    days = heating_days(site, facts, result)
    response = room_response(site, days, result)
    if not response.known:
        raise NotAssessed(no_rooms(site), "missing_quantity")
    if response.unheld:
        raise NotAssessed(
            "no valve or thermostat acts on the rooms: a set-back does nothing", "not_applicable"
        )
    chosen = facts.days.where(days.day)
    depth, hours = depth_now(chosen)
    rate, rate_doubt = _cooling(site, chosen, days, depth, hours)
    now = night_of(days, response, depth, hours, rate)
    fall_now = _observed_fall(chosen, now.fall) if depth > _SEEN_K else now.fall
    warmer_now = _warmer_hours(chosen, now.rest_h)
    # Without evidence that the set temperature has an effect, a set-back may have none: the middle is told.
    idle = not response.acts and depth <= _SEEN_K
    nothing, told = (1.0, 0.5) if idle else (0.0, 1.0)
    doubt = math.hypot(nothing, (response.loss_high - response.loss_low) / 2.0 / response.loss, rate_doubt)
    effects = []
    for depth_k in depths_k:
        later = night_of(days, response, depth_k, hours, rate)
        fall_later = later.fall
        if depth > _SEEN_K:  # the present depth is measured; other depths are modelled
            fall_later = fall_now * float(np.mean(later.fall)) / max(float(np.mean(now.fall)), 1e-6)
        fall = fall_later - fall_now
        warmer = _warmer_hours(chosen, later.rest_h) - warmer_now

        def saved(part: float, fall: Floats = fall, warmer: Floats = warmer, later: Night = later) -> float:
            faster = faster_made(site, days, now.rest_h, later.rest_h)
            return _saved(site, days, response, fall, warmer, faster**part)

        saves = saved(FASTER_COSTS[1])
        by_output = max(abs(saved(part) - saves) for part in FASTER_COSTS)
        mean_fall = float(np.mean(fall))
        effects.append(
            SetBackEffect(
                depth,
                depth_k,
                Estimate.around(told * saves, math.hypot(told * saves * doubt, by_output)),
                Estimate.around(told * mean_fall, told * abs(mean_fall) * math.hypot(rate_doubt, nothing)),
                (float(np.median(now.recovery_h)), float(np.median(later.recovery_h))),
            )
        )
    return effects


def refuse_slow(site: Site, depth_now_k: float, depth_k: float) -> None:
    """Raise NotAssessed if the set-back would be deeper and the emitters are too slow for that."""
    if depth_k > depth_now_k and any(e.kind == "underfloor" for e in site.emitter):
        raise NotAssessed("underfloor heating is too slow for a set-back", "not_applicable")


@dataclass(frozen=True)
class Night:
    """By day: mean fall of the room [K], hours without heat, and hours of recovery."""

    fall: Floats
    rest_h: Floats
    recovery_h: Floats


def faster_made(site: Site, days: HeatingDays, rest_now_h: Floats, rest_h: Floats) -> Floats:
    """Electricity for the same heat in the hours that a night's rest leaves, over that with the present rest
    [-]: at a higher output the exchangers' differences grow. A unit that rests by day too then rests less."""
    full = site.heat_pump.rated_output_kw or float(np.max(days.load_kw / days.share))

    def cop(rest: Floats) -> Floats:
        share = np.minimum(days.share, 1.0 - rest / 24.0)
        return cop_between(days.outdoor, days.flow, np.minimum(days.load_kw / share / full, 1.0))

    return np.asarray(cop(rest_now_h) / cop(rest_h))


def _saved(
    site: Site, days: HeatingDays, response: RoomResponse, fall: Floats, warmer: Floats, faster: Floats
) -> float:
    """Less heat, and heat made faster in warmer hours with the cooler water that the curve then asks for
    [kWh]."""
    share = np.clip(1.0 - response.loss * fall / days.load_kw, 0.0, 2.0)
    (cold, hot), (mild, cool) = set_curve(site, days, site.design.outdoor_c or float(days.outdoor.min()))
    slope = (cool - hot) / (mild - cold)
    left = cop_over(site, days.outdoor, days.flow, days.outdoor + warmer, days.flow + slope * warmer)
    return float(np.sum(days.electricity * (1.0 - share * left * faster)))


def _observed_fall(days: Table, modelled: Floats) -> Floats:
    """Room long after the set-back less the day's mean room [K]. Of what rooms then miss, half counts as the
    set-back's: how much is not known. Modelled where the room is not read."""
    missed = [np.nan_to_num(days.floats(name)) for name in days.names if name.startswith("deficit.")]
    still = np.mean(missed, axis=0) if missed else np.zeros(len(days))
    settled = days.floats("target_max") - np.where(still > 0.0, still / 2.0, still)
    below = np.maximum(settled - days.floats("room"), 0.0)
    return fill_nan(below, modelled)


def _warmer_hours(days: Table, rest_h: Floats) -> Floats:
    """By how much the heated hours are warmer than the day where the night's are left out [K]."""
    swing = fill_nan(days.floats("outdoor_max") - days.floats("outdoor_min"), 0.0)
    part = np.clip(rest_h / 24.0, 0.0, 0.5)
    return NIGHT_SHARE * swing * part / (1.0 - part)


def cooling_rate(site: Site, facts: Facts, days: HeatingDays) -> tuple[float, float]:
    """Rate at which rooms cool without heat on the middle heated day [K/h], and its relative doubt. Raises
    NotAssessed."""
    chosen = facts.days.where(days.day)
    try:
        depth, hours = depth_now(chosen)
    except NotAssessed:
        depth, hours = 0.0, USUAL_HOURS
    return _cooling(site, chosen, days, depth, hours)


def _cooling(site: Site, chosen: Table, days: HeatingDays, depth: float, hours: float) -> tuple[float, float]:
    """Rate at which rooms cool without heat on the middle day [K/h], and its relative doubt.

    From midnight to the coldest moment where a set-back shows it; else from the load and the heat that a
    house stores: the middle of medium and very heavy, with both as its doubt.
    """
    if depth > _SEEN_K and chosen.knows("room_begin") and chosen.knows("room_min"):
        dropped = chosen.floats("room_begin") - chosen.floats("room_min")
        cooled = float(np.nanmedian(dropped)) / max(hours - _BEFORE_MIDNIGHT_H, 1.0)
        if cooled > 0.0:
            return cooled, _RATE_DOUBT
    area = site.floor_area_m2
    if area is None:
        raise NotAssessed(
            "needs site.floor_area_m2, or a set-back to see how fast rooms cool", "missing_in_site_file"
        )
    light, heavy = STORES_KWH_PER_M2_K
    middle = math.sqrt(light * heavy)
    return float(np.median(days.load_kw)) / (area * middle), (middle / light - middle / heavy) / 2.0


def night_of(days: HeatingDays, response: RoomResponse, depth: float, hours: float, rate: float) -> Night:
    """Simulate a set-back of this depth on each day.

    One mass of heat: rooms cool by what the house loses, which is less as they cool. They come up by what the
    emitters have to spare, by more while the room is cool (EN 442: more excess temperature, less loss, and
    hotter water where the controls have room influence).
    """
    each = rate * days.load_kw / float(np.median(days.load_kw))
    less = response.loss / days.load_kw  # of the loss, for each kelvin that the room is cooler
    cooling = each * less
    rest = np.minimum(-np.log(np.maximum(1.0 - less * depth, 1e-9)) / cooling, hours)
    reached = -np.expm1(-cooling * rest) / less
    opened = np.clip(response.opened, 0.02, 1.0)
    spare = np.maximum(1.0 / opened - 1.0, _LEAST_SPARE)
    excess = np.maximum(fill_nan(days.flow - days.over - days.half - days.room, 10.0), 5.0)
    more = response.exponent * (1.0 + response.influence) / (excess * opened) + less
    coming = each * more
    up = np.minimum(np.log1p(reached * more / spare) / coming, 24.0 - hours)
    area = (
        (rest - reached / each) / less
        + reached * (hours - rest)
        - (reached + spare / more) * np.expm1(-coming * up) / coming
        - spare / more * up
    )
    return Night(area / 24.0, rest, up)
