"""Circulation pump speed, from the difference of flow and return temperature."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days
from fieldfare.analysis.advice.room_response import (
    Changed,
    RoomResponse,
    changed,
    room_response,
)
from fieldfare.analysis.advice.saving import estimated, room_fall
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site

PUMP_POWER = (2.0, 3.0)
"""Exponents of a pump's power over its flow: 3 by the affinity laws, less where its efficiency falls or a
valve holds part of the pressure (common practice)."""


@dataclass(frozen=True)
class PumpEffect:
    """flow_share : new flow over the present one. lift_now_k, lift_k : flow less return at the design load
    saves [kWh over the days], pump and compressor together; room : mean fall [K]"""

    flow_share: float
    lift_now_k: float
    lift_k: float
    saves: Estimate
    room: Estimate


@dataclass(frozen=True)
class ObservedPump:
    """The pump in the given days. used_kwh : its electricity. lift_k : flow minus return at the design
    load"""

    days: HeatingDays
    response: RoomResponse
    used_kwh: float
    lift_k: float


def observed_pump(site: Site, facts: Facts, result: Mapping[str, Any]) -> ObservedPump:
    """The pump at its present water flow. Raises NotAssessed."""
    days = heating_days(site, facts, result)
    response = room_response(site, days, result)
    if site.buffer is not None and site.buffer.arrangement == "parallel":
        raise NotAssessed(
            "a parallel buffer has a pump on each side: set each by its own circuit", "not_applicable"
        )
    pump = (
        facts.days.floats("electricity_pump_kwh")[days.day]
        if "electricity_pump_kwh" in facts.days.names
        else np.full(len(days), np.nan)
    )
    if not np.isfinite(pump).any():
        raise NotAssessed("needs circulation_pump_electricity", "missing_quantity")
    each_kw = float(np.median(2.0 * days.half / days.load_kw * days.share))
    return ObservedPump(days, response, float(np.nansum(pump)), each_kw * _design_load(site, days, response))


def pump_effect(site: Site, observed: ObservedPump, flow_share: float) -> PumpEffect:
    """Effect of another water flow over the given days."""
    days, response, used, lift = observed.days, observed.response, observed.used_kwh, observed.lift_k

    def change(of: HeatingDays, home: RoomResponse) -> Changed:
        return changed(of, home, 0.0, 1.0 / flow_share)

    unit = estimated(site, days, response, change)
    by_pump = sorted(used * (1.0 - flow_share**power) for power in PUMP_POWER)
    middle, half = sum(by_pump) / 2.0, (by_pump[1] - by_pump[0]) / 2.0
    # Gain by cooler return or loss by hotter flow is small and of either sign: it counts as uncertainty.
    saves = Estimate.around(middle, math.hypot(unit.value or 0.0, unit.half, half))
    return PumpEffect(flow_share, lift, lift / flow_share, saves, room_fall(site, days, response, change))


def _design_load(site: Site, days: HeatingDays, response: RoomResponse) -> float:
    if site.design.outdoor_c is None:
        return float(np.quantile(days.load_kw, 0.98))
    return response.loss * (site.design.indoor_c - site.design.outdoor_c)


def least_pump_share(site: Site, lift_k: float) -> float | None:
    """Share of the present water flow that gives the designed difference of flow and return; None if it is
    within limits."""
    design_lift_k = limit_of(site, "advice_lift_k")
    if lift_k < limit_of(site, "advice_lift_low_k"):
        return max(lift_k / design_lift_k, limit_of(site, "advice_pump_least"))
    return None if lift_k <= limit_of(site, "advice_lift_high_k") else lift_k / design_lift_k
