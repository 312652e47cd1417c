"""Advice followed: the simulated plant is changed as advised and run again through the same weather."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from fieldfare.analysis.advice.curve import curve_effect, lowest_curve
from fieldfare.analysis.advice.pump import pump_effect, pump_seen
from fieldfare.analysis.advice.set_back import set_back_effect
from fieldfare.analysis.advice.water import cooler_store
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.design.spec import ControlKind, PlantSpec
from fieldfare.collector.simulated.plant import Simulated, random_plant, simulate

FIRST, DAYS = date(2023, 11, 15), 100
SAVING_WITHIN, ROOM_WITHIN_K = 0.3, 0.5
PUMP_EXPONENT = 2.5
"""Of a pump's power over its flow (common practice: between 2 and 3)."""

Change = Callable[[PlantSpec], PlantSpec]


@dataclass(frozen=True)
class Told:
    """What was predicted: saves [kWh], room : fall [K] or None, and the change itself where it is advised."""

    saves: Estimate
    room: Estimate | None
    change: Change


@dataclass(frozen=True)
class AdviceCase:
    """before : how the plant stands. told : asked of its readings. hot_water : judged on its electricity"""

    name: str
    control: ControlKind
    before: Change
    told: Callable[[Site, Facts, dict[str, Any]], Told]
    hot_water: bool = False
    room_held: bool = False


def shifted(lower_k: float) -> Change:
    """The heating curve lowered as a whole."""

    def change(spec: PlantSpec) -> PlantSpec:
        curve = tuple((outdoor, flow - lower_k) for outdoor, flow in spec.control.curve)
        return replace(spec, control=replace(spec.control, curve=curve))

    return change


def _set_back(depth_k: float) -> Change:
    return lambda spec: replace(spec, control=replace(spec.control, setback_k=depth_k))


def _water_flow(share: float) -> Change:
    def change(spec: PlantSpec) -> PlantSpec:
        pump = spec.heat_pump
        return replace(
            spec,
            heat_pump=replace(
                pump,
                flow_m3_per_h=pump.flow_m3_per_h * share,
                pump_w=pump.pump_w * share**PUMP_EXPONENT,
            ),
        )

    return change


def _store(cooler_k: float) -> Change:
    def change(spec: PlantSpec) -> PlantSpec:
        water = spec.hot_water
        assert water is not None
        return replace(
            spec,
            hot_water=replace(
                water,
                setpoint_c=water.setpoint_c - cooler_k,
                reheat_below_c=water.reheat_below_c - cooler_k,
            ),
        )

    return change


def _lower(lower_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        effect = curve_effect(site, facts, result, lower_k)
        return Told(effect.saves, effect.room, shifted(lower_k))

    return told


def _lowest(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
    found = lowest_curve(site, facts, result)

    def change(spec: PlantSpec) -> PlantSpec:
        (cold, _), (mild, _) = found.points
        at = np.array([outdoor for outdoor, _ in spec.control.curve])
        lower = np.interp(at, [cold, mild], [found.lower_cold_k, found.lower_mild_k])
        curve = tuple((o, f - float(k)) for (o, f), k in zip(spec.control.curve, lower, strict=True))
        return replace(spec, control=replace(spec.control, curve=curve))

    return Told(found.effect.saves, found.effect.room, change)


def _depth(depth_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        effect = set_back_effect(site, facts, result, depth_k)
        return Told(effect.saves, effect.room, _set_back(depth_k))

    return told


def _pump(share: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        effect = pump_effect(site, pump_seen(site, facts, result), share)
        return Told(effect.saves, effect.room, _water_flow(share))

    return told


def _cooler(cooler_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        return Told(cooler_store(site, facts, result, cooler_k, cooler_k), None, _store(cooler_k))

    return told


CASES = (
    AdviceCase("curve 6 K high, 6 K lower", "compensation", shifted(-6.0), _lower(6.0)),
    AdviceCase("curve 2 K high, 5 K lower", "compensation", shifted(-2.0), _lower(5.0)),
    AdviceCase("curve 6 K high, 6 K lower, thermostat", "thermostat", shifted(-6.0), _lower(6.0)),
    AdviceCase("curve 2 K high, 5 K lower, thermostat", "thermostat", shifted(-2.0), _lower(5.0)),
    AdviceCase("curve 6 K high, as advised", "compensation", shifted(-6.0), _lowest, room_held=True),
    AdviceCase(
        "curve 6 K high, as advised, thermostat", "thermostat", shifted(-6.0), _lowest, room_held=True
    ),
    AdviceCase("set-back 3 K, none", "thermostat", _set_back(3.0), _depth(0.0)),
    AdviceCase("no set-back, 2 K", "thermostat", _set_back(0.0), _depth(2.0)),
    AdviceCase("pump turned up, 0.7 of its flow", "compensation", _water_flow(1.5), _pump(0.7)),
    AdviceCase("cylinder 5 K cooler", "thermostat", lambda spec: spec, _cooler(5.0), hot_water=True),
)


@dataclass(frozen=True)
class AdviceOutcome:
    """saved, fell : what the second run shows [kWh, K]. short_k : how far the coldest zone's mean ended under
    its target. told : None where no advice was given, with the reason"""

    case: str
    seed: int
    told: Told | None
    saved: float = 0.0
    fell: float = 0.0
    short_k: float = 0.0
    reason: str = ""

    @property
    def saving_right(self) -> bool:
        """Within 30 % of the truth, or the truth within the interval."""
        assert self.told is not None
        saves = self.told.saves
        assert saves.value is not None
        assert saves.low is not None
        assert saves.high is not None
        near = abs(saves.value - self.saved) <= SAVING_WITHIN * abs(self.saved)
        return near or saves.low <= self.saved <= saves.high

    @property
    def room_right(self) -> bool | None:
        """Within half a kelvin; None where the advice says nothing about rooms."""
        room = self.told.room if self.told is not None else None
        return None if room is None or room.value is None else abs(room.value - self.fell) <= ROOM_WITHIN_K


@lru_cache(maxsize=16)
def _run(spec: PlantSpec) -> Simulated:
    return simulate(spec, FIRST, DAYS)


def outcome(case: AdviceCase, seed: int) -> AdviceOutcome:
    """Read a plant, ask for advice, follow it, and run the same winter again."""
    emitter = "radiator" if case.control == "thermostat" else None
    base = random_plant(seed, meter_set="rich", hot_water=True, control=case.control, emitter=emitter)
    spec = case.before(base)
    first = _run(spec)
    site = parse_site(first.site_toml)
    last = FIRST + timedelta(DAYS - 1)
    facts = build_facts(site, first.readings, FIRST, last)
    result = analyse(site, facts, FIRST, last).as_dict()
    try:
        told = case.told(site, facts, result)
    except NotAssessed as refused:
        return AdviceOutcome(case.name, seed, None, reason=str(refused))
    second = _run(told.change(spec))
    zones = len(spec.house.zones)
    rooms = [np.mean([day["room_c"][:zones] for day in run.truth.days], axis=0) for run in (first, second)]
    targets = np.array(spec.control.targets_c[:zones])
    return AdviceOutcome(
        case.name,
        seed,
        told,
        _electricity(first, case.hot_water) - _electricity(second, case.hot_water),
        float(np.mean(rooms[0] - rooms[1])),
        float(np.max(np.minimum(targets, rooms[0]) - rooms[1])),
    )


def _electricity(run: Simulated, hot_water: bool) -> float:
    """For the cylinder, or for all else but back-up heat [kWh]."""
    kwh = run.truth.kwh
    return kwh["elec_hot_water"] if hot_water else kwh["electricity"] - kwh["elec_hot_water"] - kwh["backup"]
