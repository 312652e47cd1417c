"""Present state of a plant, from the last reading of each point."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
    USE_UNKNOWN,
    least_running_w,
)
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.plant.units import conversion
from fieldfare.analysis.readings import Readings

JOINED_MS = 15 * 60_000
"""Readings this close to the newest describe one moment: a quarter of an hour is the slowest common
cadence."""


@dataclass(frozen=True)
class Present:
    """use : code as in `fieldfare.analysis.minutes.operating_state`. time : of the newest reading used [ms
    since 1970 UTC]

    Temperatures [°C] and powers [W] are None where no point tells them; rooms has the lowest and the highest.
    """

    use: int
    time: int
    flow: float | None
    flow_asked: float | None
    cylinder: float | None
    outdoor: float | None
    rooms: tuple[float, float] | None
    heat_w: float | None
    electricity_w: float | None


def at_present(site: Site, latest: Mapping[str, Mapping[str, Any]]) -> Present | None:
    """latest : point -> {time [ms], value in the point's unit}. Returns None where nothing was read."""
    read = [(p, r) for p in site.point if (r := latest.get(p.id)) and r.get("time") is not None]
    if not read:
        return None
    newest = max(int(r["time"]) for _, r in read)
    found: dict[str, list[float]] = {}
    for point, reading in read:
        if newest - int(reading["time"]) <= JOINED_MS and (value := _canonical(point, reading)) is not None:
            found.setdefault(point.quantity, []).append(value)
    one = {quantity: values[0] for quantity, values in found.items()}
    use, rooms = _use(site, one), found.get("room_temperature")
    heat = {HEATING: "space_heat", HOT_WATER: "hot_water_heat"}.get(use, "")
    return Present(
        use,
        newest,
        one.get("flow_temperature"),
        one.get("target_flow_temperature"),
        one.get("cylinder_temperature"),
        one.get("outdoor_temperature"),
        (min(rooms), max(rooms)) if rooms else None,
        one.get("heat_output", one.get(heat)),
        one.get("heat_pump_electricity"),
    )


def compressor_points(site: Site) -> list[Point]:
    """Points whose single readings show whether the compressor runs."""
    quantities = ("compressor_speed", "heat_pump_electricity")
    return [p for p in site.point if p.quantity in quantities and p.form in ("gauge", "power")]


def worked_last(site: Site, found: Readings) -> tuple[int | None, int | None]:
    """Time of the compressor's last run, and since when that is known, from recent readings [ms, UTC].

    Both None where no point tells; the first None where it never worked in them.
    """
    last = first = None
    for point in compressor_points(site):
        samples = found.get(point.id)
        if samples is None or not len(samples.time):
            continue
        scale, offset = conversion(point.unit, QUANTITIES[point.quantity].canonical(point.form))
        least = 1.0 if point.quantity == "compressor_speed" else _least_w(site)
        with np.errstate(invalid="ignore"):
            worked = samples.time[samples.value.astype(np.float64) * scale + offset > least]
        first = min(int(samples.time[0]), first if first is not None else int(samples.time[0]))
        if len(worked):
            last = max(int(worked[-1]), last if last is not None else int(worked[-1]))
    return last, first


def _least_w(site: Site) -> float:
    """Electricity [W] above which the compressor works."""
    return site.limits.get("running_above_w", 0.0) or 0.5 * least_running_w(site)


def _canonical(point: Point, reading: Mapping[str, Any]) -> float | None:
    """A reading in canonical units; None where a single reading has no meaning (running totals)."""
    value = reading.get("value")
    if point.form not in ("gauge", "power", "state") or not isinstance(value, int | float):
        return None
    if not math.isfinite(value) or point.form == "state":
        return float(value) if math.isfinite(value) else None
    scale, offset = conversion(point.unit, QUANTITIES[point.quantity].canonical(point.form))
    return float(value) * scale + offset


def _use(site: Site, one: Mapping[str, float]) -> int:
    """As `fieldfare.analysis.minutes.operating_state` tells a minute: running by speed, electricity or mode;
    its use by mode or diverter."""
    mode = round(one["operating_mode"]) if "operating_mode" in one else UNKNOWN
    if mode == DEFROST or one.get("defrost_active", 0.0) > 0.5:
        return DEFROST
    if "compressor_speed" in one:
        running = one["compressor_speed"] > 1.0
    elif "heat_pump_electricity" in one:
        running = one["heat_pump_electricity"] > _least_w(site)
    elif mode == UNKNOWN:
        return UNKNOWN
    else:
        running = mode != OFF
    if not running:
        return OFF
    if mode in (HEATING, HOT_WATER, COOLING):
        return mode
    if "diverter_to_hot_water" in one:
        return HOT_WATER if one["diverter_to_hot_water"] > 0.5 else HEATING
    return HEATING if site.hot_water is None else USE_UNKNOWN
