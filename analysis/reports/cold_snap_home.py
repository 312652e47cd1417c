"""Thermal model of one home in a cold snap, fitted to its own coldest days."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days, loss_kw_per_k
from fieldfare.analysis.advice.room_response import emitters_at_1_k
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.physics.emitters import EXPONENTS
from fieldfare.analysis.plant.curve import curve_beyond
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

Floats = NDArray[np.float64]

OUTPUT_SLOPE = 0.015
"""Relative change of a unit's output for each kelvin outdoors (common practice for inverter units)."""
STORED_KJ_PER_K_M2 = 165.0
"""Heat that a dwelling of medium weight stores for its floor area, EN ISO 13790 table 12 (from memory)."""
USUAL_FLOOR_M2 = 120.0
ALL_DAY = 0.85
"""Share of a day with the unit heating from which on emitters were warm all day (common practice)."""
LESS_OUTPUT = frozenset(
    {"efficiency_below_expected", "efficiency_fell", "excessive_defrost", "defrost_without_frost", "low_flow"}
)
"""Findings of a unit that lacks refrigerant, air or water, and so may give less than it should."""
_OUTPUT_DOUBT, _MEASURED_DOUBT = 0.1, 0.05
_FEWEST_DAYS = 5
_LACKING_MIN = 120.0
NEWEST_DAYS = 2
"""Rooms that were read longer ago say nothing of where a cold spell begins (common practice: a medium house
moves by half of its way within two days)."""
LOWERED_K = 1.0
"""A target so far under the usual one is an absence (common practice)."""
_RETURNS_IN_H = 6.0
"""A thermostat brings a room back within some hours (common practice)."""


@dataclass(frozen=True)
class SnapHome:
    """One home as its coldest days were.

    load : heat to the rooms [kW] with `outdoor` outside and `room` inside [°C]. loss : coefficient [kW/K].
    emitters : output at 1 K excess [kW], inf where not known; exponent : of it over the excess. unit : most
    heat for the rooms at design_c [kW], inf where not known. Each of the four with its relative half interval
    in doubt.
    begins : rooms when the cold begins [°C]. target : mean of what the rooms are asked for [°C].
    held : a thermostat lets them get no warmer than `room`. curve : outdoor, flow [°C].
    half_per_kw : half of flow less return [K/kW]. stored : kWh/K.
    scatter : half interval of one day's load about its line [kW]
    """

    load: float
    outdoor: float
    room: float
    target: float
    loss: float
    held: bool
    curve: tuple[tuple[float, float], ...]
    max_flow: float
    emitters: float
    exponent: float
    half_per_kw: float
    unit: float
    design_c: float
    stored: float
    doubt: Mapping[str, float]
    begins: float
    scatter: float = 0.0


@dataclass(frozen=True)
class Course:
    """Hour by hour, in the middle case (row 0), each number on its bad side, and each on its good side.

    room [°C], needs : to hold the target, gives : most that can be given at that room [kW] : float64 (9, h).
    by_emitters : bool (h,), whether emitters rather than the unit limit the middle case
    """

    room: Floats
    needs: Floats
    gives: Floats
    by_emitters: NDArray[np.bool_]


NUMBERS = ("load", "loss", "emitters", "unit")


def course(home: SnapHome, outdoor: Floats) -> Course:
    """Where the rooms go. outdoor : of each hour [°C].

    One node: stored heat times the change of the room is what is given less what the rooms take. What is
    given is the least of what the emitters give at the curve (EN 442), what the unit gives, and, where a
    thermostat holds the rooms, what brings them back.
    """
    signs = np.array([np.zeros(4), *np.eye(4), *-np.eye(4)])  # a worse number: more is taken, less is given
    doubts = np.array([home.doubt[name] for name in NUMBERS])
    load, loss = ((home.load, home.loss)[i] * (1.0 + signs[:, i] * doubts[i]) for i in (0, 1))
    emitters, unit = ((home.emitters, home.unit)[i] * (1.0 - signs[:, 2 + i] * doubts[2 + i]) for i in (0, 1))
    flow = np.minimum(curve_beyond(home.curve, outdoor), home.max_flow) if home.curve else outdoor
    share = np.clip(1.0 + OUTPUT_SLOPE * (outdoor - home.design_c), 0.3, 1.5)
    room = np.full(len(signs), home.begins)
    rooms, gives = np.empty((2, len(signs), len(outdoor)))
    by_emitters = np.zeros(len(outdoor), dtype=np.bool_)
    for n, outside in enumerate(outdoor):
        need = np.maximum(load + loss * (home.outdoor - outside + room - home.room), 0.0)
        gives[:, n] = unit * share[n]
        if np.isfinite(home.emitters):
            emitted = _emitted(home, emitters, flow[n], room)
            by_emitters[n] = emitted[0] < gives[0, n]
            gives[:, n] = np.minimum(gives[:, n], emitted)
        given = gives[:, n]
        if home.held or not np.isfinite(home.emitters):
            given = np.minimum(given, need + home.stored * (home.room - room) / _RETURNS_IN_H)
        room = room + (np.maximum(given, 0.0) - need) / home.stored
        rooms[:, n] = room
    needs = load[:, None] + loss[:, None] * (home.outdoor - outdoor + home.target - home.room)
    return Course(rooms, np.maximum(needs, 0.0), gives, by_emitters)


def _emitted(home: SnapHome, emitters: Floats, flow: float, room: Floats) -> Floats:
    """Output of the emitters [kW]; the return, and so the mean water, follows from it."""
    most = np.maximum(flow - room, 0.0)
    gives = emitters * most**home.exponent
    for _ in range(4):
        excess = np.maximum(most - home.half_per_kw * gives, 0.0)
        gives = (gives + emitters * excess**home.exponent) / 2.0
    return gives


def snap_home(site: Site, result: Mapping[str, Any], facts: Facts | None = None) -> SnapHome:
    """A home from its newest result and the facts of the result's days.

    The load is that of the coldest third of the heated days and is carried on from there by the measured
    loss coefficient: what errs is the step to the cold, not the whole load. Emitters are set by the same days
    where the unit heated all day long, the unit by days on which it could not reach its flow temperature.
    Without such days the design and the data sheets stand in. Raises NotAssessed where neither what the
    rooms take nor what they can be given is known.
    """
    home = _designed(site, result)
    if facts is not None:
        home = _unit_as_it_was(site, home, facts.days)
        try:
            days = heating_days(site, facts, result)
        except NotAssessed:
            days = None
        if days is not None and len(days) >= 3 * _FEWEST_DAYS:
            home = _rooms_as_they_were(site, home, days)
    if not np.isfinite(home.emitters) and not np.isfinite(home.unit):
        raise NotAssessed("needs design.outdoor_c with ratings, or emitters and a curve", "missing_quantity")
    return home


def _designed(site: Site, result: Mapping[str, Any]) -> SnapHome:
    """A home without days to go by: the loss from where free gains end, emitters by their data sheets."""
    loss = loss_kw_per_k(site, result)
    if loss is None:
        raise NotAssessed("needs the heat loss", "missing_quantity")
    middle, low, high = loss
    indoor, cold = site.design.indoor_c, site.design.outdoor_c
    free = ((result.get("heat_loss") or {}).get("free_gains_w") or 0.0) / 1000.0
    curve = _curve(result)
    flow = curve_beyond(curve, np.array([cold or 0.0])) if curve else np.array([45.0])
    exponent, emitters = emitters_at_1_k(site, np.maximum(flow - 2.5 - indoor, 1.0))
    unit, doubt = _unit(site, result)
    lacks = any(f["code"] in LESS_OUTPUT and f["severity"] != "note" for f in result["findings"])
    return SnapHome(
        load=0.0,
        outdoor=indoor - free / middle,
        room=indoor,
        target=indoor,
        loss=middle,
        held=True,
        curve=curve,
        max_flow=site.heat_pump.max_flow_c or np.inf,
        emitters=emitters if curve and emitters else np.inf,
        exponent=exponent or EXPONENTS["radiator"],
        half_per_kw=2.5 / max(middle * (indoor - (cold or 0.0)), 0.5),
        unit=unit,
        design_c=0.0 if cold is None else cold,
        stored=STORED_KJ_PER_K_M2 * (site.floor_area_m2 or USUAL_FLOOR_M2) / 3600.0,
        doubt={
            "load": limit_of(site, "snap_load_doubt"),
            "loss": (high - low) / 2.0 / middle,
            "emitters": limit_of(site, "snap_emitter_doubt"),
            "unit": max(doubt, limit_of(site, "snap_output_lost")) if lacks else doubt,
        },
        begins=indoor,
    )


def _curve(result: Mapping[str, Any]) -> tuple[tuple[float, float], ...]:
    """The measured curve; one that falls towards the cold is carried on as a level one."""
    fitted = (result.get("heating_curve") or {}).get("fitted")
    if fitted is None:
        return ()
    points = tuple((float(x), float(y)) for x, y in fitted)
    if points[0][1] >= points[-1][1]:
        return points
    level = sum(y for _, y in points) / len(points)
    return tuple((x, level) for x, _ in points)


def _unit(site: Site, result: Mapping[str, Any]) -> tuple[float, float]:
    """Output that hot water leaves for the rooms on the design day [kW], and its relative half interval."""
    output = (result.get("capacity") or {}).get("output_at_design_kw")
    if not output or not output.get("value") or site.design.outdoor_c is None:
        return np.inf, _OUTPUT_DOUBT
    value, low, high = (output.get(name) for name in ("value", "low", "high"))
    water = ((result.get("hot_water") or {}).get("heat_kwh_per_day") or 0.0) / 24.0
    doubt = (high - low) / 2.0 / value if low is not None and high is not None else _OUTPUT_DOUBT
    return max(value - water, 0.1), doubt


def _unit_as_it_was(site: Site, home: SnapHome, days: Table) -> SnapHome:
    """The unit as on the days on which its water stayed under what was asked: then it gave all it can."""
    if not np.isfinite(home.unit) or not days.knows("minutes_lacking") or not days.knows("load_share"):
        return home
    settled, lacking = days.floats("minutes_settled"), days.floats("minutes_lacking")
    full = (lacking >= _LACKING_MIN) & (lacking > settled / 2.0) & np.isfinite(days.floats("load_share"))
    if not full.any():
        return home
    share = float(np.clip(np.median(days.floats("load_share")[full]), 0.3, 1.2))
    curve = home.curve
    if curve and curve[0][1] <= curve[-1][1] and site.heating_curve is not None:
        curve = site.heating_curve.points  # what the water would have been with a stronger unit
    return replace(home, unit=home.unit * share, curve=curve, doubt={**home.doubt, "unit": _MEASURED_DOUBT})


def _rooms_as_they_were(site: Site, home: SnapHome, days: HeatingDays) -> SnapHome:
    """Load, rooms and emitters as on the coldest third of the heated days."""
    at = np.argsort(days.outdoor)[: max(len(days) // 3, _FEWEST_DAYS)]
    known = bool(np.isfinite(days.room[at]).any())
    rooms = fill_nan(days.room[at], float(np.nanmean(days.room[at])) if known else home.room)
    load, share = days.load_kw[at], float(np.median(days.share[at]))
    room, target = float(rooms.mean()), float(fill_nan(days.target[at], site.design.indoor_c).mean())
    near = abs(room - target) <= limit_of(site, "snap_held_k")
    spread = float(np.std(load - home.loss * (rooms - days.outdoor[at])))
    doubt = float(np.hypot(home.doubt["load"], GAUSS_95 * spread / load.mean() / np.sqrt(len(at))))
    home = replace(
        home,
        load=float(load.mean()),
        outdoor=float(days.outdoor[at].mean()),
        room=room,
        begins=room,
        target=target if known else room,
        held=not known or (near and share < ALL_DAY),
        half_per_kw=float(np.median(days.half[at] / np.maximum(load, 0.2))),
        doubt={**home.doubt, "load": doubt},
        scatter=GAUSS_95 * spread,
    )
    if not home.curve or not days.load_measured:
        return home
    excess = np.maximum(days.flow[at] - days.half[at] - rooms, 1.0)
    measured = load / (days.share[at] * excess**home.exponent)
    middle = float(np.median(measured))
    if share < ALL_DAY and middle >= home.emitters:
        return home  # warm for a part of the day: between its runs an emitter gives more than this counts
    error = GAUSS_95 * float(np.std(measured)) / middle / np.sqrt(len(at))
    return replace(
        home,
        emitters=middle,
        doubt={**home.doubt, "emitters": float(np.hypot(limit_of(site, "snap_load_doubt"), error))},
    )


def rooms_now(home: SnapHome, days: Table, begins: date) -> SnapHome:
    """The home with its rooms as they were on the newest day, where that is known and close enough.

    begins : first day of the cold. Rooms that are lowered on purpose, as in an absence, are no beginning:
    they are raised again before they count.
    """
    if not len(days) or not days.knows("room"):
        return home
    age = (np.datetime64(begins, "D") - days["day"][-1].astype("datetime64[D]")).astype(int)
    room, target = (float(days.floats(name)[-1]) for name in ("room", "target"))
    lowered = target < home.target - LOWERED_K
    if not 0 <= age <= NEWEST_DAYS or lowered or not np.isfinite(room):
        return home
    return replace(home, begins=room)
