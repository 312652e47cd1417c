"""Measures of cold rooms in the hours named: zone, water, emitter output and heat demand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.hours import Hours
from fieldfare.analysis.expectation.cold_room import ColdRoom, cause_weights
from fieldfare.analysis.facts.load_factor import load_share, target_flow_of
from fieldfare.analysis.facts.segments import held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import HEATING, HOT_WATER
from fieldfare.analysis.physics.emitters import HeatEmitter, output_kw

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_COLD_MIN = 30
"""Of a complaint's minutes, below which nothing is cold (common practice)."""
_SETTLED_MIN = 15  # as for the unit's strain by day
_BY_CAUSE = {
    "capacity_short": "output",
    "curve_too_low": "flow_temperature",
    "emitters_small": "emitters",
    "zone_not_opening": "valve",
    "deep_set_back": "set_back",
}
_LEAST_KW = 0.5  # of a house's need, below which a ratio says nothing


@dataclass(frozen=True)
class ColdZone:
    """room, target : float64 (n,) [°C] of the zone asked about. cold : bool (n,), asked minutes under
    target or design
    gap : how much more the zone lacks than the best other one [K], nan with one zone"""

    zone: str
    room: Floats
    target: Floats
    cold: Flags
    gap: float


@dataclass(frozen=True)
class UnitLoad:
    """The unit while it was cold [-], nan where unknown. running : share of the time; output : over
    the rating; lacking : share of heating with cooler water than is asked for"""

    running: float
    output: float
    lacking: float


def zone_of(hours: Hours) -> ColdZone:
    """The zone asked about, else the one that lacks most."""
    grid = hours.minutes.grid
    rooms = grid.zones.get("room_temperature", {})
    targets = grid.zones.get("target_room_temperature", {})
    nothing = np.full(len(grid), np.nan)
    whole = next(iter(targets.values())) if len(targets) == 1 else nothing
    target_of = {zone: targets.get(zone, whole) for zone in rooms}
    least = hours.site.design.indoor_c
    lacks = {z: hours.mean(fill_nan(target_of[z], least) - rooms[z]) for z in rooms}
    known = {z: v for z, v in lacks.items() if np.isfinite(v)}
    if not known:
        return ColdZone(hours.question.zone or "", nothing, whole, hours.in_question, float("nan"))
    zone = hours.question.zone if hours.question.zone in known else max(known, key=lambda z: known[z])
    others = [v for z, v in known.items() if z != zone]
    gap = known[zone] - min(others) if others else float("nan")
    room, target = rooms[zone], target_of[zone]
    short = fill_nan(target, least) - room > hours.limit("answer_cold_k")
    return ColdZone(zone, room, target, hours.in_question & np.isfinite(room) & short, gap)


def call_share(hours: Hours, cold: ColdZone, rows: Flags) -> float:
    """Share of the cold minutes in which the zone's thermostat calls; 1 where no call is measured."""
    calls = hours.minutes.grid.zones.get("heat_call", {})
    call = calls.get(cold.zone, next(iter(calls.values())) if len(calls) == 1 else None)
    if call is None or not np.isfinite(call[rows]).any():
        return 1.0
    return hours.mean((call > 0.5).astype(np.float64), rows & np.isfinite(call))


def load_of(hours: Hours, cold: ColdZone) -> UnitLoad:
    steady = steady_heating(hours)
    rows = (cold.cold if cold.cold.any() else hours.in_question) & (hours.minutes.use.code >= 0)
    less = fill_nan(target_flow_of(hours.minutes) - hours.gauge("flow_temperature"), 0.0)
    return UnitLoad(
        hours.mean(hours.minutes.use.running.astype(np.float64), rows),
        hours.mean(load_share(hours.site, hours.minutes), steady),
        hours.mean((less > hours.limit("answer_lacking_k")).astype(np.float64), steady),
    )


def weights_of(hours: Hours, cold: ColdZone, load: UnitLoad) -> dict[str, float]:
    """How well each of valve, flow temperature, emitters and output explains the hours, by the model of
    cold rooms."""
    steady = steady_heating(hours)
    measured = ColdRoom(
        running=_known(load.running),
        output_share=_known(load.output),
        lacking=_known(load.lacking) if hours.site.measures("target_flow_temperature") else None,
        emission=_known(emission(hours, cold, steady)),
        gap=_known(cold.gap),
        below_curve=_known(hours.mean(hours.minutes.curve - hours.gauge("flow_temperature"), steady)),
    )
    weights = cause_weights(
        measured, shut_below=hours.limit("room_emission_shut"), emitters_known=bool(hours.site.emitter)
    )
    return {_BY_CAUSE[cause]: weight for cause, weight in weights.items()}


def found_weights(hours: Hours) -> dict[str, float]:
    """Weights of the open finding about cold rooms by step, which rest on more days than a caller names;
    empty without one, or where the question is about certain hours or a zone."""
    question = hours.question
    if question.named or question.zone is not None:
        return {}
    for finding in hours.result.get("findings", []):
        if finding["code"] == "room_below_target" and finding.get("until") is None:
            return {_BY_CAUSE[c["cause"]]: c["weight"] for c in finding.get("causes", [])}
    return {}


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def steady_heating(hours: Hours) -> Flags:
    """Steady heating in the hours asked about; in all of the days where those hold next to none."""
    steady = held_for(hours.minutes.use.code == HEATING, _SETTLED_MIN)
    mine = steady & hours.in_question
    return mine if mine.sum() >= FEWEST_COLD_MIN else steady & hours.inside


def _water(hours: Hours) -> tuple[Floats, Floats]:
    """Flow and return at the emitters: beyond the buffer where that is measured."""
    flow = fill_nan(hours.gauge("distribution_flow_temperature"), hours.gauge("flow_temperature"))
    back = fill_nan(hours.gauge("distribution_return_temperature"), hours.gauge("return_temperature"))
    return flow, back


def able_kw(hours: Hours, room: Floats | float) -> Floats:
    """Heat that the emitters give at the measured water temperatures (EN 442) [kW]: float64 (n,)"""
    flow, back = _water(hours)
    emitters = [HeatEmitter(e.output_kw, e.output_excess_k, e.kind) for e in hours.site.emitter]
    return np.asarray(output_kw(emitters, flow, back, room))


def emission(hours: Hours, cold: ColdZone, steady: Flags) -> float:
    if not hours.site.emitter:
        return float("nan")
    able = hours.mean(able_kw(hours, fill_nan(cold.room, hours.site.design.indoor_c)), steady)
    given = hours.mean(hours.minutes.heat * 0.06, steady)
    return given / able if able > 0.0 else float("nan")


def need_kw(
    hours: Hours, cold: ColdZone, *, designed: bool, rows: Flags | None = None
) -> tuple[float, float, float]:
    """Heat demand at target in these hours, or in those rows [kW], with interval; nan where unknown.

    designed : by the design's loss instead of the measured one
    """
    design, loss = hours.site.design, hours.result.get("heat_loss") or {}
    indoor = fill_nan(cold.target, design.indoor_c)
    warmer = hours.mean(indoor - hours.gauge("outdoor_temperature"), rows)
    measured = loss.get("coefficient_w_per_k")
    if not designed and measured:
        free = loss.get("free_gains_w") or 0.0
        value, low, high = ((measured[n] * warmer - free) / 1000.0 for n in ("value", "low", "high"))
        return value, low, high
    if design.heat_loss_kw is None or design.outdoor_c is None:
        return (float("nan"),) * 3
    value = design.heat_loss_kw * warmer / (design.indoor_c - design.outdoor_c)
    return value, value, value


def space_kw(hours: Hours) -> Floats:
    """Heat to the rooms [kW]: float64 (n,)"""
    return np.where(hours.minutes.serving == HOT_WATER, 0.0, hours.minutes.heat) * 0.06


def extra_loss(hours: Hours, cold: ColdZone) -> float:
    """Heat given to the rooms over what the house takes at their temperature [-], by the weeks before or by
    its measured loss; nan if unknown."""
    given = hours.mean(space_kw(hours), hours.inside)
    warmer = hours.mean(cold.room - hours.gauge("outdoor_temperature"), hours.inside)
    if not np.isfinite(given + warmer):
        return float("nan")
    takes = _took_before_kw(hours, warmer)
    loss = hours.result.get("heat_loss") or {}
    if not np.isfinite(takes) and loss.get("coefficient_w_per_k"):
        takes = (loss["coefficient_w_per_k"]["value"] * warmer - (loss.get("free_gains_w") or 0.0)) / 1000.0
    return given / takes if takes > _LEAST_KW else float("nan")


def _took_before_kw(hours: Hours, warmer: float) -> float:
    """What the house took on the days before, at this difference of room and outdoors [kW]; nan if too few
    are known. People and sun give the same as then."""
    days, area = hours.usual.days, hours.site.floor_area_m2
    if area is None or not all(name in days.names for name in ("heat_space_kwh", "room", "outdoor")):
        return float("nan")
    gains = hours.limit("answer_gains_w_per_m2") * area / 1000.0
    warm = days.floats("room") - days.floats("outdoor")
    each = (days.floats("heat_space_kwh") / 24.0 + gains) / np.where(warm > 0.0, warm, np.nan)
    known = each[np.isfinite(each) & (days.floats("heat_space_kwh") > 0.0)]
    if len(known) < hours.limit("answer_fewest_before"):
        return float("nan")
    return float(np.median(known)) * warmer - gains
