"""Balance of zones: which gets too much or too little water, what to turn, and what the curve gains by it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.curve import MOST_LOWER_K, STEP_K, curve_effect
from fieldfare.analysis.advice.heating_days import HeatingDays, heating_days
from fieldfare.analysis.advice.room_response import RoomResponse, room_response
from fieldfare.analysis.advice.saving import around_ends
from fieldfare.analysis.advice.shared import no_rooms
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.physics.emitters import EXPONENTS
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

Floats = NDArray[np.float64]

CONDUCTS = (0.3, 0.7, 1.5)
"""Heat that two zones exchange for each kelvin between them, over the house's loss coefficient: ceilings,
stairs and open doors; low, usual, high (common practice, no source)."""
_SERIAL_DAYS = 4.0  # a house's days are alike over about so long (common practice)
_ROUNDS, _GAIN = 60, 0.6  # of the search for level zones
_HALVINGS, _STEPS, _DAMPED = 40, 30, 0.7
_CHANGE_MOST = 8.0  # designed flow of a zone over its flow now: with less it is shut (common practice)
_FLOW_FACTOR = 1.3  # of the water that the day's mean of flow less return leaves open (common practice)
_VALVE_FACTOR = 2.0  # of the response of valves (common practice)
# Over which a zone's valve closes: an on-off valve's, and none at all (common practice).
_SHUTS_K, _OPEN_K = 0.3, 1000.0
_TRIED_K, _LEAST_PER_K = 2.0, 0.1


@dataclass(frozen=True)
class ZoneFlow:
    """A zone after a change. share : of all water that it is to get; m3_per_h : the same, None where the flow
    is not read. now_c, after_c : its room before and after [°C]; None where the readings leave too much open
    between after_low_c and after_high_c"""

    zone: str
    share: float
    m3_per_h: float | None
    now_c: float
    target_c: float
    after_c: float | None
    after_low_c: float
    after_high_c: float


@dataclass(frozen=True)
class Way:
    """One way to level zones. apart_k : how far they lie apart then. lower_k : by how much the curve can be
    lower then, beyond what it can be now; room : fall of the house by that [K]. saves : by both [kWh over the
    days]. least : whether a zone is turned down as far as is advised"""

    zones: tuple[ZoneFlow, ...]
    apart_k: Estimate
    lower_k: Estimate
    saves: Estimate
    room: Estimate
    least: bool = False

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        each = ("apart_k", "lower_k", "saves", "room")
        return asdict(self) | {name: getattr(self, name).as_dict() for name in each}


@dataclass(frozen=True)
class ZoneBalance:
    """warm, cold : zones furthest over and under their targets. apart_k : how far they lie apart, each
    against its target. at_fault : zone -> share of the water that it gets now if the water is to blame.
    by_water : the designed flows, where the water is to blame. by_turning : the warm zones turned down, where
    flows are as designed"""

    warm: str
    cold: str
    apart_k: Estimate
    at_fault: Mapping[str, float]
    by_water: Way
    by_turning: Way

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "warm": self.warm,
            "cold": self.cold,
            "apart_k": self.apart_k.as_dict(),
            "at_fault": dict(self.at_fault),
            "by_water": self.by_water.as_dict(),
            "by_turning": self.by_turning.as_dict(),
        }


@dataclass(frozen=True)
class _Zones:
    """The heated days' mean of each zone. room, target [°C]; weight : share of the emitters' heat by the data
    sheets; sheet : that heat at 1 K excess [kW]; exponent. supply [°C], flow : of all water [kW/K], load and
    loss : of the house [kW], [kW/K]. conducts : see CONDUCTS. opens_k : see RoomResponse"""

    room: Floats
    target: Floats
    weight: Floats
    sheet: Floats
    exponent: Floats
    supply: float
    flow: float
    load: float
    loss: float
    conducts: float
    opens_k: Floats

    @property
    def exchange(self) -> Floats:
        """Heat that each pair exchanges for a kelvin between them [kW/K]."""
        pairs = 4.0 * self.conducts * self.loss * np.outer(self.weight, self.weight)
        np.fill_diagonal(pairs, 0.0)
        return np.asarray(pairs)

    @property
    def heat(self) -> Floats:
        """Heat that each zone gets now: of the load by its emitters, of what its room is off the house's mean
        by its own loss and by what goes to the others [kW]."""
        off = self.room - float(self.weight @ self.room)
        to_others = self.exchange.sum(axis=1) * self.room - self.exchange @ self.room
        return np.maximum(self.weight * (self.load + self.loss * off) + to_others, 0.02 * self.load)

    def emitted(self, strength: Floats, flow: Floats, room: Floats) -> Floats:
        """Heat by EN 442 of emitters of a strength at 1 K [kW] with so much water [kW/K] in rooms [°C]."""
        low, high = np.zeros(len(flow)), np.maximum(self.supply - room, 0.1) * 2.0 * flow
        for _ in range(_HALVINGS):
            heat = (low + high) / 2.0
            excess = np.maximum(self.supply - heat / (2.0 * flow) - room, 0.0)
            less = strength * excess**self.exponent > heat
            low, high = np.where(less, heat, low), np.where(less, high, heat)
        return (low + high) / 2.0

    def rooms_with(self, strength: Floats, now: Floats, then: Floats) -> Floats:
        """Rooms with other shares of the water [°C]: the change of heat against losses, what goes to other
        zones, and emitters and valves that give less to a warmer room; steady, by Newton's steps.

        Valves of a zone below its set temperature stand open until it gets there.
        """
        heat, flow = self.emitted(strength, now * self.flow, self.room), then * self.flow
        takes = np.diag(self.weight * self.loss + self.exchange.sum(axis=1)) - self.exchange
        room, short = self.room.copy(), self.room < self.target
        for _ in range(_STEPS):
            over = room - np.maximum(self.room, self.target)
            acts = ~short | (over > 0.0)
            closed = np.where(acts, np.clip(over / self.opens_k, -1.0, 5.0), 0.0)
            new = self.emitted(strength * np.exp(-closed), flow, room)
            excess = np.maximum(self.supply - new / (2.0 * flow) - room, 0.5)
            per_k = new * (self.exponent / excess + acts / self.opens_k)
            per_k = per_k / (1.0 + new * self.exponent / excess / (2.0 * flow))
            change = np.linalg.solve(takes + np.diag(per_k), new - heat - takes @ (room - self.room))
            room = room + _DAMPED * change
        return room

    def apart(self, room: Floats) -> float:
        over = room - self.target
        return float(over.max() - over.min())


def zone_balance(site: Site, facts: Facts, result: Mapping[str, Any]) -> ZoneBalance:
    """How level the zones of a home are, and what to turn where they are not. Raises NotAssessed.

    At one flow temperature, rooms differ from their targets by other water or by other emitters and losses
    than designed. Flow and return of each zone are not read, so the readings alone can't tell which: a look
    at the manifold can. Both answers are given: the designed flows with the rooms they bring where the water
    is to blame, and what to turn further where it is not.
    """
    days = heating_days(site, facts, result)
    response = room_response(site, days, result)
    if not response.known:
        raise NotAssessed(no_rooms(site), "missing_quantity")
    names = _names(site, days)
    over = np.stack([days.zones[name][0] - days.zones[name][1] for name in names], axis=1)
    read = np.asarray(np.isfinite(over).all(axis=1))
    if read.sum() < limit_of(site, "advice_fewest_days"):
        raise NotAssessed(
            "needs more days with the room and the set temperature of every zone", "too_few_days"
        )
    mean = over[read].mean(axis=0)
    warm, cold = int(np.argmax(mean)), int(np.argmin(mean))
    apart = _apart(site, over[read][:, warm] - over[read][:, cold])
    _refuse_level(site, facts, days, names, apart)
    zones = _zones(site, days, response, names, read)
    per_k = curve_effect(site, facts, result, _TRIED_K).room.value or 0.0
    water = _water_m3_h(facts, days)

    def way(shares: Floats, rooms: Callable[[_Zones], Floats], *, least: bool = False) -> Way:
        after, told = rooms(zones), _after(site, zones, rooms)
        lower = _lower(site, max(per_k / _TRIED_K, _LEAST_PER_K), zones, after, apart.half)
        saves, room = _with_curve(site, facts, result, zones, after, lower.value or 0.0)
        flows = tuple(
            ZoneFlow(
                name,
                float(shares[n]),
                None if water is None else float(shares[n]) * water,
                float(zones.room[n]),
                float(zones.target[n]),
                *told[n],
            )
            for n, name in enumerate(names)
        )
        return Way(flows, _apart_then(zones, rooms, apart.half), lower, saves, room, least)

    shares, least = _turned(site, zones)

    def turned(of: _Zones) -> Floats:
        return of.rooms_with(_strength_as_found(of), of.weight, shares)

    return ZoneBalance(
        names[warm],
        names[cold],
        apart,
        dict(zip(names, map(float, _at_fault(zones)[0]), strict=True)),
        way(zones.weight, _by_water),
        way(shares, turned, least=least),
    )


def _names(site: Site, days: HeatingDays) -> list[str]:
    """Zones with emitters, a room and a set temperature. Raises NotAssessed where they are not all read."""
    heated = list(dict.fromkeys(e.zone for e in site.emitter))
    if len(heated) < 2:
        raise NotAssessed(
            "one zone has nothing to be balanced against" if heated else "needs the emitters of each zone",
            "not_applicable" if heated else "missing_quantity",
        )
    lacking = [z for z in heated if z not in days.zones or not np.isfinite(days.zones[z][0]).any()]
    if lacking:
        raise NotAssessed(f"needs room_temperature of {', '.join(lacking)}", "missing_quantity")
    wished = [z for z in heated if not np.isfinite(days.zones[z][1]).any()]
    if wished:
        raise NotAssessed(
            f"needs target_room_temperature of {', '.join(wished)}: a zone may be cooler on purpose",
            "missing_quantity",
        )
    return heated


def _apart(site: Site, difference: Floats) -> Estimate:
    """Mean of the days' differences, with their scatter and the sensors' [K]."""
    scatter = GAUSS_95 * float(np.std(difference)) * np.sqrt(_SERIAL_DAYS / len(difference))
    return Estimate.around(
        float(difference.mean()), float(np.hypot(scatter, limit_of(site, "balance_sensor_k")))
    )


def _refuse_level(site: Site, facts: Facts, days: HeatingDays, names: list[str], apart: Estimate) -> None:
    """Raise NotAssessed where zones are level, or each zone's own thermostat shuts it."""
    assert apart.value is not None
    if apart.value < limit_of(site, "balance_apart_k") or (apart.low or 0.0) <= 0.0:
        raise NotAssessed(
            f"all zones lie within {apart.value:.1f} K of each other, each against its target",
            "not_applicable",
        )
    chosen = facts.days.where(days.day)
    called = {
        z: float(np.nanmean(chosen.floats(f"called.{z}")))
        for z in names
        if f"called.{z}" in chosen.names and np.isfinite(chosen.floats(f"called.{z}")).any()
    }
    if len(called) == len(names) and max(called.values()) < limit_of(site, "balance_calls"):
        longest = max(called, key=lambda z: called[z])
        raise NotAssessed(
            f"every zone's own thermostat shuts it: {longest} calls the longest, for"
            f" {100.0 * called[longest]:.0f} % of the time; the curve decides, not the balance",
            "not_applicable",
        )


def _zones(
    site: Site, days: HeatingDays, response: RoomResponse, names: list[str], read: NDArray[np.bool_]
) -> _Zones:
    supply = float(np.mean((days.flow - days.over)[read]))
    load = float(np.mean(days.load_kw[read]))
    half = max(float(np.sum((days.half * days.load_kw)[read]) / np.sum(days.load_kw[read])), 0.3)
    room, target = (np.array([days.zones[z][i][read].mean() for z in names]) for i in (0, 1))
    excess = max(supply - half - float(room.mean()), 1.0)
    sheet, exponent = [], []
    for zone in names:
        each = [(e, EXPONENTS[e.kind]) for e in site.emitter if e.zone == zone]
        gives = np.array([e.output_kw * (excess / e.output_excess_k) ** n for e, n in each])
        n = float(gives @ np.array([n for _, n in each]) / gives.sum())
        sheet.append(float(gives.sum()) / excess**n)
        exponent.append(n)
    at_excess = np.array(sheet) * excess ** np.array(exponent)
    return _Zones(
        room,
        target,
        at_excess / at_excess.sum(),
        np.array(sheet),
        np.array(exponent),
        supply,
        load / (2.0 * half),
        load,
        response.loss,
        CONDUCTS[1],
        np.full(len(names), response.opens_k),
    )


def _water_m3_h(facts: Facts, days: HeatingDays) -> float | None:
    """Water through all zones while heating [m3/h], None where it is not read."""
    chosen = facts.days.where(days.day)
    if "flow_rate" not in chosen.names or not np.isfinite(chosen.floats("flow_rate")).any():
        return None
    return float(np.nanmedian(chosen.floats("flow_rate")))


def _at_fault(zones: _Zones) -> tuple[Floats, Floats]:
    """Shares of the water that leave the rooms as they are with emitters and losses as designed, and what
    the emitters give at 1 K excess [kW].

    The heat of a zone takes an excess temperature, which leaves a difference of flow and return, and so its
    water. All emitters are off their data sheets by one factor: that with which all water is used.
    """
    heat = zones.heat

    def flows(factor: float) -> Floats:
        excess = (heat / (zones.sheet * factor)) ** (1.0 / zones.exponent)
        half = np.maximum(zones.supply - zones.room - excess, 0.0)
        most = zones.weight * _CHANGE_MOST * zones.flow
        return np.asarray(np.minimum(heat / np.maximum(2.0 * half, 1e-9), most))

    low, high = 0.2, 5.0
    for _ in range(_HALVINGS):
        factor = float(np.sqrt(low * high))
        low, high = (factor, high) if flows(factor).sum() > zones.flow else (low, factor)
    share = np.maximum(flows(factor) / zones.flow, zones.weight / _CHANGE_MOST)
    return share / share.sum(), zones.sheet * factor


def _by_water(zones: _Zones) -> Floats:
    """Rooms with designed flows where today's water is to blame for all of the difference [°C]."""
    now, strength = _at_fault(zones)
    return zones.rooms_with(strength, now, zones.weight)


def _strength_as_found(zones: _Zones) -> Floats:
    """Emitters at 1 K excess that give today's heat with the designed flows [kW]."""
    heat = zones.heat
    excess = np.maximum(zones.supply - heat / (2.0 * zones.weight * zones.flow) - zones.room, 1.0)
    return np.asarray(heat / excess**zones.exponent)


def _turned(site: Site, zones: _Zones) -> tuple[Floats, bool]:
    """Shares of the water that bring zones level which have the designed flows, and whether one is turned
    down as far as is advised."""
    least = limit_of(site, "balance_least_flow")
    strength, then = _strength_as_found(zones), zones.weight.copy()
    for _ in range(_ROUNDS):
        over = zones.rooms_with(strength, zones.weight, then) - zones.target
        spare = np.maximum(over - max(float(over.mean()), 0.0), 0.0)  # none goes below its target
        then = np.maximum(then * np.exp(-_GAIN * spare), least * zones.weight)
        then = then / then.sum()
    return then, bool((then <= 1.05 * least * zones.weight).any())


def _doubted(zones: _Zones) -> tuple[tuple[_Zones, _Zones], ...]:
    """Pairs of homes that the readings leave open: what zones exchange, water, response of valves. What those
    of a cold zone do once it is warm nobody saw: they may shut at the set temperature or not at all."""
    cold = zones.room < zones.target
    return (
        (replace(zones, conducts=CONDUCTS[0]), replace(zones, conducts=CONDUCTS[2])),
        (
            replace(zones, flow=zones.flow / _FLOW_FACTOR),
            replace(zones, flow=zones.flow * _FLOW_FACTOR),
        ),
        (
            replace(zones, opens_k=np.where(cold, _SHUTS_K, zones.opens_k / _VALVE_FACTOR)),
            replace(zones, opens_k=np.where(cold, _OPEN_K, zones.opens_k * _VALVE_FACTOR)),
        ),
    )


def _after(
    site: Site, zones: _Zones, rooms: Callable[[_Zones], Floats]
) -> list[tuple[float | None, float, float]]:
    """Each zone's room after a change, and the ends of what is open about it [°C]; no value where that is too
    much."""
    value, pairs = rooms(zones), [[rooms(case) for case in pair] for pair in _doubted(zones)]
    below, above = (
        np.hypot.reduce(
            [np.max([sign * (room - value) for room in pair], axis=0).clip(0.0) for pair in pairs]
        )
        for sign in (-1.0, 1.0)
    )
    is_open = below + above > limit_of(site, "balance_room_open_k")
    return [
        (None if is_open[n] else float(value[n]), float(value[n] - below[n]), float(value[n] + above[n]))
        for n in range(len(value))
    ]


def _lower(site: Site, per_k: float, zones: _Zones, after: Floats, half: float) -> Estimate:
    """By how much lower the curve can be once zones are level, beyond what it can be now [K]: the coldest
    zone gives back what it gained over its target. per_k : fall of rooms by a kelvin less flow [K]. half : of
    the zones' difference [K]"""
    tolerance = limit_of(site, "advice_room_tolerance_k")
    spare = [float((room - zones.target).min()) + tolerance for room in (zones.room, after)]
    gained = max(spare[1], 0.0) - max(spare[0], 0.0)
    ends = [np.clip((gained + d * half / 2.0) / per_k, 0.0, MOST_LOWER_K) for d in (0.0, -1.0, 1.0)]
    value = float(np.floor(ends[0] / STEP_K + 1e-9) * STEP_K)
    return Estimate(value, min(value, float(ends[1])), max(value, float(ends[2])))


def _apart_then(zones: _Zones, rooms: Callable[[_Zones], Floats], half: float) -> Estimate:
    """How far zones lie apart after a change [K]. half : of the difference as it is read now"""
    value = zones.apart(rooms(zones))
    ends = [[zones.apart(rooms(case)) for case in pair] for pair in _doubted(zones)]
    found = around_ends(value, [*ends, [value + half]])
    return Estimate(found.value, max(found.low or 0.0, 0.0), found.high)


def _with_curve(
    site: Site, facts: Facts, result: Mapping[str, Any], zones: _Zones, after: Floats, lower_k: float
) -> tuple[Estimate, Estimate]:
    """Electricity saved by other water and then a lower curve [kWh], and the house's fall by the curve [K].
    Water alone moves the mean of the rooms, and so the heat, a little: as much is its doubt."""
    fall = float(zones.weight @ (zones.room - after))
    days = heating_days(site, facts, result)
    used = float(np.sum(days.electricity))
    by_water = used * zones.loss * fall / zones.load
    if not lower_k:
        return Estimate.around(by_water, abs(by_water)), Estimate(0.0, 0.0, 0.0)
    effect = curve_effect(site, facts, result, lower_k)
    saves = effect.saves
    return Estimate.around(
        (saves.value or 0.0) + by_water, float(np.hypot(saves.half, by_water))
    ), effect.room
