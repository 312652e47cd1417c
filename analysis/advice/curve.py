"""Saving and room temperatures of a lower heating curve, and the lowest curve that keeps rooms warm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days
from fieldfare.analysis.advice.room_response import (
    Changed,
    RoomResponse,
    changed,
    opened_after,
    room_response,
)
from fieldfare.analysis.advice.saving import estimated, room_fall
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate, robust_fit
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]

STEP_K, MOST_LOWER_K = 0.5, 15.0
"""Settings that are tried (common practice: controls take half or whole kelvins)."""
MILD_C = 15.0
"""Mild end of a two-point curve [°C]; above it homes are hardly heated (common practice)."""


@dataclass(frozen=True)
class ZoneEffect:
    """A zone before and after, mean of the heated days [°C], its target, and the share of days on which it
    would be below target. target_read : whether its own set temperature is read; else the target is the
    home's or the design's, or what the zone usually has"""

    zone: str
    now_c: float
    after_c: float
    target_c: float | None
    days_short: float
    target_read: bool = True


@dataclass(frozen=True)
class CurveEffect:
    """saves [kWh over the days]; room : fall of the house [K]; zones; days : number of heating days used"""

    saves: Estimate
    room: Estimate
    zones: tuple[ZoneEffect, ...]
    days: int


@dataclass(frozen=True)
class LowestCurve:
    """points_now, points : (outdoor, flow) of the present and the possible curve, cold end first
    lower_cold_k, lower_mild_k : difference at both ends. effect : of changing it at once
    steps : flow temperatures at both ends, week by week
    binding : zone that would first fall below its target; design_day : whether it limits the cold end
    """

    points_now: tuple[tuple[float, float], tuple[float, float]]
    points: tuple[tuple[float, float], tuple[float, float]]
    lower_cold_k: float
    lower_mild_k: float
    effect: CurveEffect
    steps: tuple[tuple[float, float], ...]
    binding: str | None
    design_day: bool


def curve_effect(site: Site, facts: Facts, result: Mapping[str, Any], lower_k: float) -> CurveEffect:
    """Effect of lowering the whole curve, over the given days. Raises NotAssessed."""
    days = heating_days(site, facts, result)
    return _effect(site, days, room_response(site, days, result), np.full(len(days), lower_k))


def _effect(site: Site, days: HeatingDays, response: RoomResponse, lower: Floats) -> CurveEffect:
    def change(of: HeatingDays, home: RoomResponse) -> Changed:
        return changed(of, home, lower)

    zones = zone_effects(site, days, response, change(days, response).fall)
    saves = estimated(site, days, response, change)
    return CurveEffect(saves, room_fall(site, days, response, change), zones, len(days))


def zone_effects(
    site: Site, days: HeatingDays, response: RoomResponse, fall: Floats, cooler_k: float = 0.0
) -> tuple[ZoneEffect, ...]:
    """Effects on all measured zones. fall : of the house by day [K]. cooler_k : decrease of the targets
    [K]"""
    zones = []
    for zone, (room, _) in days.zones.items():
        after = room - fall * response.zone_share[zone]
        target = target_of(site, days, zone) - cooler_k
        seen = np.isfinite(after)
        zones.append(
            ZoneEffect(
                zone,
                float(np.nanmean(room)),
                float(np.nanmean(after)),
                float(np.mean(target)),
                float((after[seen] < target[seen] - _tolerance(site, days, zone)).mean()),
                _is_own_read(days, zone),
            )
        )
    return tuple(zones)


def target_of(site: Site, days: HeatingDays, zone: str) -> Floats:
    """Target of a zone by day: its own, the home's, else the design's [°C]. A zone without its own that is
    usually cooler keeps its usual temperature."""
    room, own = days.zones[zone]
    other = np.minimum(fill_nan(days.target, site.design.indoor_c), float(np.nanmedian(room)))
    return fill_nan(own, other)


def _is_own_read(days: HeatingDays, zone: str) -> bool:
    """Whether the zone's own set temperature is measured; the home's does not count."""
    return bool(np.isfinite(days.zones[zone][1]).any())


def is_target_read(days: HeatingDays, zone: str | None = None) -> bool:
    """Whether a set temperature is measured: the zone's own or the home's."""
    own = zone is not None and _is_own_read(days, zone)
    return own or bool(np.isfinite(days.target).any())


def _tolerance(site: Site, days: HeatingDays, zone: str | None = None) -> float:
    """Allowed fall of a room below its target [K]: 0 without a declared target."""
    return limit_of(site, "advice_room_tolerance_k") if is_target_read(days, zone) else 0.0


def lowest_curve(site: Site, facts: Facts, result: Mapping[str, Any]) -> LowestCurve:
    """The lowest two-point curve that keeps every measured room at its target down to the design day. Raises
    NotAssessed if rooms, heat or the curve are unknown, or no lower curve does.

    Raises NotAssessed where rooms, heat or the curve are not known, or no lower curve holds the rooms.
    """
    days = heating_days(site, facts, result)
    response = room_response(site, days, result)
    if not response.known:
        raise NotAssessed(
            "needs room_temperature and a heat meter over three weeks of heating", "missing_quantity"
        )
    if site.design.outdoor_c is None:
        raise NotAssessed("needs design.outdoor_c in the site file", "missing_quantity")
    cold = site.design.outdoor_c
    now = set_curve(site, days, cold)
    allowed, binding = _allowed(site, days, response)
    at_design, design_binds = _at_design(site, days, response, result, now[0][1])
    lower_cold, lower_mild = _line(site, days, allowed, cold, at_design)
    if max(lower_cold, lower_mild) < STEP_K:
        raise NotAssessed("no lower curve holds every room at its target", "not_applicable")
    lower = _between(days.outdoor, cold, lower_cold, lower_mild)
    points = ((cold, now[0][1] - lower_cold), (MILD_C, now[1][1] - lower_mild))
    return LowestCurve(
        now,
        points,
        lower_cold,
        lower_mild,
        _effect(site, days, response, lower),
        _steps(site, now, lower_cold, lower_mild),
        binding,
        design_binds,
    )


def set_curve(site: Site, days: HeatingDays, cold: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """The present curve, from target flows if measured, else from flows [°C]."""
    if float(np.ptp(days.outdoor)) < limit_of(site, "advice_fewest_spread_k"):
        raise NotAssessed(
            "needs days of different outdoor temperatures to tell the heating curve", "other_weather"
        )
    fit = robust_fit(np.column_stack([days.outdoor, np.ones(len(days))]), days.asked)
    slope, level = (float(c) for c in fit.coefficients)
    return (cold, level + slope * cold), (MILD_C, level + slope * MILD_C)


def _between(outdoor: Floats, cold: float, at_cold: float, at_mild: float) -> Floats:
    return curve_at([(cold, at_cold), (MILD_C, at_mild)], outdoor)


def _allowed(site: Site, days: HeatingDays, response: RoomResponse) -> tuple[Floats, str | None]:
    """By day: possible decrease of the curve with every zone at its target, and the limiting zone."""
    margins = {}
    for zone, (room, _) in days.zones.items():
        spare = room - target_of(site, days, zone) + _tolerance(site, days, zone)
        # A room already below its target for another reason does not limit the curve.
        margins[zone] = fill_nan(spare / max(response.zone_share[zone], 0.2), np.inf)
    if not margins:
        raise NotAssessed("needs room_temperature", "missing_quantity")
    stacked = np.stack(list(margins.values()))
    may_fall = np.maximum(stacked.min(axis=0), 0.0)
    binding = list(margins)[int(np.argmin(np.median(stacked, axis=1)))]
    allowed = np.zeros(len(days))
    for step in np.arange(STEP_K, MOST_LOWER_K + STEP_K, STEP_K):
        fall = changed(days, response, float(step)).fall
        allowed = np.where((fall <= may_fall) & (allowed >= step - STEP_K - 1e-9), step, allowed)
    return allowed, binding


def _at_design(
    site: Site, days: HeatingDays, response: RoomResponse, result: Mapping[str, Any], flow_now: float
) -> tuple[float, bool]:
    """How much lower the curve could be on the design day: EN 442 at the water that the valves let through
    with rooms a tolerance under their target."""
    design = site.design
    cold = design.outdoor_c
    assert cold is not None
    target = float(np.mean(fill_nan(days.target, design.indoor_c)))
    loss = result.get("heat_loss") or {}
    base = loss.get("base_temperature_c") or target
    tolerance = _tolerance(site, days)
    load = max(response.loss * (min(base, target) - tolerance - cold), 0.1)
    after = opened_after(np.array([response.at_target]), np.array([tolerance]), response.opens_k)
    opened = min(float(after[0]), 1.0)
    excess = (load / (opened * response.full)) ** (1.0 / response.exponent)
    half = float(np.median(days.half / days.load_kw)) * load
    needed = target - tolerance + excess + half
    spare = flow_now + response.influence * tolerance - needed
    return max(spare, 0.0), spare < MOST_LOWER_K


def _line(
    site: Site, days: HeatingDays, allowed: Floats, cold: float, at_design: float
) -> tuple[float, float]:
    """The two ends that save most within the limits of the days and the design day."""
    share = limit_of(site, "advice_days_short")
    grid = np.arange(0.0, MOST_LOWER_K + STEP_K, STEP_K)
    best = (0.0, 0.0, 0.0)
    for at_cold in grid[grid <= at_design + 1e-9]:
        for at_mild in grid:
            lower = _between(days.outdoor, cold, float(at_cold), float(at_mild))
            worth = float(np.sum(lower * days.electricity))
            if worth > best[0] and float((lower > allowed + STEP_K / 2.0).mean()) <= share:
                best = (worth, float(at_cold), float(at_mild))
    return best[1], best[2]


def _steps(
    site: Site, now: tuple[tuple[float, float], tuple[float, float]], lower_cold: float, lower_mild: float
) -> tuple[tuple[float, float], ...]:
    """Flow at the cold and at the mild end, week by week."""
    most = limit_of(site, "advice_step_k")
    weeks = int(np.ceil(max(lower_cold, lower_mild) / most - 1e-9))
    return tuple(
        (
            round(now[0][1] - min(lower_cold, most * week), 1),
            round(now[1][1] - min(lower_mild, most * week), 1),
        )
        for week in range(1, weeks + 1)
    )
