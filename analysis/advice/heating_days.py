"""Heating days as arrays: water temperatures, heat and room temperatures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.shared import lacking
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.other_sources import by_the_pump_alone
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Site

Floats = NDArray[np.float64]

LEAST_LOAD_KW = 0.2
"""A day with less heat to the rooms says nothing about how they are heated (common practice)."""
DEFAULT_SPREAD_K = 5.0
"""Flow less return where only the flow is measured (common practice)."""

NEEDED = ("flow_temperature", "outdoor_temperature", "heat_pump_electricity")
"""Quantities without which no day can be judged."""


@dataclass(frozen=True)
class HeatingDays:
    """Arrays with one value per heating day.

    day : index into the facts' days. outdoor, flow [°C], half : half of flow less return [K]
    asked : flow that the controls ask for, measured where they are not read [°C]. gap : asked less measured
    flow [K], at least 0. load_kw : mean heat to the rooms over 24 h
    electricity : for the rooms, without back-up heat [kWh]; pump : the circulation pump's part of it
    share : of the day with the unit heating
    room, target [°C], nan where not measured. zones : zone -> (room, target)
    load_measured : whether heat was metered; else load_kw follows from the house's loss
    over : flow less the water that emitters get on the mean of the day [K]: a unit that stops and starts runs
    hotter than what is asked for, and a buffer mixes
    """

    day: NDArray[np.int64]
    outdoor: Floats
    flow: Floats
    half: Floats
    asked: Floats
    gap: Floats
    load_kw: Floats
    electricity: Floats
    pump: Floats
    share: Floats
    room: Floats
    target: Floats
    zones: Mapping[str, tuple[Floats, Floats]]
    load_measured: bool
    over: Floats | float = 0.0

    def __len__(self) -> int:
        return len(self.day)


def loss_kw_per_k(site: Site, result: Mapping[str, Any]) -> tuple[float, float, float] | None:
    """Heat loss coefficient [kW/K], low and high: measured, else designed with a quarter of doubt."""
    found = (result.get("heat_loss") or {}).get("coefficient_w_per_k")
    if found and found.get("value"):
        value = found["value"] / 1000.0
        return (
            value,
            (found.get("low") or found["value"]) / 1000.0,
            (found.get("high") or found["value"]) / 1000.0,
        )
    designed = site.design.coefficient_w_per_k
    if designed is None:
        return None
    return designed / 1000.0, 0.75 * designed / 1000.0, 1.25 * designed / 1000.0


def is_unread(site: Site) -> bool:
    """Whether a home lacks a measurement that every heating day needs, so that more days will not help."""
    heat = site.design.coefficient_w_per_k is not None or any(site.measures(q) for q in HEAT_QUANTITIES)
    return not (heat and all(site.measures(q) for q in NEEDED))


def heating_days(site: Site, facts: Facts, result: Mapping[str, Any]) -> HeatingDays:
    """The heating days of facts. Raises NotAssessed if flow, outdoor temperature or electricity is
    unknown."""
    days = facts.days
    alone = by_the_pump_alone(site, days)
    flow, outdoor = _column(days, "flow_by_heat", "flow"), _column(days, "outdoor_heating", "outdoor")
    electricity = _column(days, "electricity_space_kwh") - np.nan_to_num(
        _column(days, "electricity_backup_kwh")
    )
    if not (np.isfinite(flow) & np.isfinite(outdoor) & np.isfinite(electricity)).any():
        raise NotAssessed(lacking(site, *NEEDED), "missing_quantity")
    load, measured = _column(days, "heat_space_kwh") / 24.0, True
    if not np.isfinite(load).any():
        load, measured = _load_by_loss(site, result, outdoor), False
    half = np.maximum(fill_nan(_column(days, "lift"), DEFAULT_SPREAD_K), 0.0) / 2.0
    heated = np.isfinite(flow + outdoor + electricity + load) & (load > LEAST_LOAD_KW) & (electricity > 0.0)
    if not heated.any():
        raise NotAssessed("has no day on which rooms were heated", "too_few_days")
    heated &= alone
    if not heated.any():
        raise NotAssessed("has no day on which the heat pump alone heated the rooms", "too_few_days")
    at = np.flatnonzero(heated)
    share = fill_nan(_column(days, "minutes_heating") / np.maximum(_column(days, "minutes_total"), 1.0), 1.0)
    target_flow = fill_nan(_column(days, "target_flow"), flow)
    gap = np.maximum(target_flow - flow, 0.0)
    # In rests, water circulates with a smaller difference of flow and return.
    overshoot = np.maximum(flow - target_flow - half * (1.0 - np.clip(share, 0.0, 1.0)) / 2.0, 0.0)
    over = overshoot + np.maximum(fill_nan(_column(days, "buffer_drop"), 0.0), 0.0)
    zones = {
        name[5:]: (days.floats(name)[at], _column(days, f"target.{name[5:]}")[at])
        for name in days.names
        if name.startswith("room.") and np.isfinite(days.floats(name)[at]).any()
    }
    return HeatingDays(
        at,
        outdoor[at],
        flow[at],
        half[at],
        target_flow[at],
        gap[at],
        load[at],
        electricity[at],
        np.minimum(np.nan_to_num(_column(days, "electricity_pump_kwh") * share)[at], electricity[at]),
        np.clip(share[at], 0.02, 1.0),
        _column(days, "room")[at],
        _column(days, "target")[at],
        zones,
        measured,
        over[at],
    )


def _column(days: Table, name: str, otherwise: str = "") -> Floats:
    """A column, nan if absent. otherwise : column that fills its gaps"""
    found = days.floats(name) if name in days.names else np.full(len(days), np.nan)
    return fill_nan(found, _column(days, otherwise)) if otherwise else found


def _load_by_loss(site: Site, result: Mapping[str, Any], outdoor: Floats) -> Floats:
    loss = loss_kw_per_k(site, result)
    if loss is None:
        raise NotAssessed("needs a heat meter, or the heat loss in [design]", "missing_quantity")
    base = (result.get("heat_loss") or {}).get("base_temperature_c") or site.design.indoor_c
    return loss[0] * np.maximum(base - outdoor, 0.0)
