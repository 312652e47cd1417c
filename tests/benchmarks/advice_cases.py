"""Advice followed: a simulated home is changed as advised and run again through the same weather."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.advice.backup import bivalent
from fieldfare.analysis.advice.balance import zone_balance
from fieldfare.analysis.advice.cheaper_hours import best_charging_hour
from fieldfare.analysis.advice.curve import curve_effect, lowest_curve
from fieldfare.analysis.advice.hot_water import cooler_store
from fieldfare.analysis.advice.pump import observed_pump, pump_effect
from fieldfare.analysis.advice.rooms import rooms_effect
from fieldfare.analysis.advice.set_back import refuse_slow, set_back_effects
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import analyse
from tests.benchmarks.advice_simulators import Ran, Setting, shifted
from tests.benchmarks.advice_traits import SETS, SIMULATORS

SAVING_WITHIN, ROOM_WITHIN_K = 0.3, 0.5


@dataclass(frozen=True)
class Told:
    """What was predicted: saves [kWh], room : fall [K] or None, and the setting where it is advised. zones :
    least and largest fall of each zone [K], where each is told; alike where one temperature is told"""

    saves: Estimate
    room: Estimate | None
    setting: Setting
    zones: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class AdviceCase:
    """sets : what is changed, of `SETS`. before : how the home stands. told : asked of its readings"""

    name: str
    sets: str
    before: Setting
    told: Callable[[Site, Facts, dict[str, Any]], Told]
    control: str = "thermostat"


def _lower(lower_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        effect = curve_effect(site, facts, result, lower_k)
        return Told(effect.saves, effect.room, shifted(lower_k))

    return told


def _lowest(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
    found = lowest_curve(site, facts, result)
    (cold, _), (mild, _) = found.points
    setting = Setting(lower=((cold, found.lower_cold_k), (mild, found.lower_mild_k)))
    return Told(found.effect.saves, found.effect.room, setting)


def _depth(depth_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        (effect,) = set_back_effects(site, facts, result, (depth_k,))
        refuse_slow(site, effect.depth_now_k, depth_k)
        return Told(effect.saves, effect.room, Setting(set_back_k=depth_k))

    return told


def _pump(share: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        effect = pump_effect(site, observed_pump(site, facts, result), share)
        return Told(effect.saves, effect.room, Setting(flow_share=share))

    return told


def _cooler(cooler_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        return Told(cooler_store(site, facts, result, cooler_k, cooler_k), None, Setting(cooler_k=cooler_k))

    return told


def _warmer(warmer_k: float) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        effect = rooms_effect(site, facts, result, -warmer_k)
        return Told(effect.saves, effect.room, Setting(warmer_k=warmer_k))

    return told


def _release(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
    found = bivalent(site, facts, result)
    return Told(found.saves, None, Setting(bivalent_c=found.sets_c))


def _hour(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
    found = best_charging_hour(site, facts, result)
    return Told(found.saves, None, Setting(charge_hour=found.hour))


def _level(*, water_to_blame: bool) -> Callable[[Site, Facts, dict[str, Any]], Told]:
    """What somebody does who looked at the manifold: sets the designed flows, or where they stand so turns
    the warm zone down; then the curve goes down by what that frees."""

    def told(site: Site, facts: Facts, result: dict[str, Any]) -> Told:
        found = zone_balance(site, facts, result)
        way = found.by_water if water_to_blame else found.by_turning
        lower, fall = way.lower_k.value or 0.0, way.room.value or 0.0
        share = {zone.zone: zone.share for zone in way.zones}
        zones = tuple(
            (
                zone.now_c - (zone.after_high_c if zone.after_c is None else zone.after_c) + fall,
                zone.now_c - (zone.after_low_c if zone.after_c is None else zone.after_c) + fall,
            )
            for zone in way.zones
        )
        first, second = (share[e.zone] for e in site.emitter)
        return Told(way.saves, way.room, Setting(shifted(lower).lower, water=(first, second)), zones)

    return told


CASES = (
    AdviceCase("curve 6 K high, 6 K lower", "curve", shifted(-6.0), _lower(6.0), "compensation"),
    AdviceCase("curve 2 K high, 5 K lower", "curve", shifted(-2.0), _lower(5.0), "compensation"),
    AdviceCase("curve 6 K high, as advised", "curve", shifted(-6.0), _lowest, "compensation"),
    AdviceCase("curve 6 K high, 6 K lower, thermostat", "curve", shifted(-6.0), _lower(6.0)),
    AdviceCase("curve 2 K high, 5 K lower, thermostat", "curve", shifted(-2.0), _lower(5.0)),
    AdviceCase("curve 6 K high, as advised, thermostat", "curve", shifted(-6.0), _lowest),
    AdviceCase("rooms 1 K cooler", "rooms", Setting(), _warmer(-1.0), "compensation"),
    AdviceCase("rooms 1 K cooler, thermostat", "rooms", Setting(), _warmer(-1.0)),
    AdviceCase("rooms 1 K warmer", "rooms", Setting(), _warmer(1.0)),
    AdviceCase("set-back 3 K, none", "set_back", Setting(set_back_k=3.0), _depth(0.0)),
    AdviceCase("no set-back, 2 K", "set_back", Setting(set_back_k=0.0), _depth(2.0)),
    AdviceCase(
        "pump turned up, 0.7 of its flow", "pump", Setting(flow_share=1.5), _pump(0.7), "compensation"
    ),
    AdviceCase("cylinder 5 K cooler", "water", Setting(), _cooler(5.0)),
    AdviceCase("cylinder charged by night, then as advised", "hour", Setting(charge_hour=2), _hour),
    AdviceCase("heater released at 8 °C, then as advised", "heater", Setting(bivalent_c=8.0), _release),
    AdviceCase(
        "second zone short of water, as advised",
        "zones",
        Setting(water=(0.94, 0.06)),
        _level(water_to_blame=True),
        "compensation",
    ),
    AdviceCase(
        "second zone's emitters too small, as advised",
        "zones",
        Setting(emitter=0.45),
        _level(water_to_blame=False),
        "compensation",
    ),
)


def cases_of(simulator: str) -> tuple[AdviceCase, ...]:
    """Those that can be tried at a simulator's homes. Only the project's own lets the kind of control be
    chosen."""
    can = tuple(case for case in CASES if case.sets in SETS[simulator])
    return can if simulator.startswith("own") else tuple(c for c in can if not c.name.endswith("thermostat"))


@dataclass(frozen=True)
class AdviceOutcome:
    """saved, fell, zones : what the second run shows, of the house and by zone [kWh, K]. short_k : how far
    the coldest zone's mean ended under its target. told : None where no advice was given, with the reason.
    worth : least saving that is advised [kWh]
    """

    case: str
    seed: int
    told: Told | None
    saved: float = 0.0
    fell: float = 0.0
    short_k: float = 0.0
    reason: str = ""
    worth: float = 0.0
    zones: tuple[float, ...] = ()

    @property
    def small(self) -> bool:
        """Whether told and found are both too small to be advised."""
        assert self.told is not None
        return max(abs(self.told.saves.value or 0.0), abs(self.saved)) < self.worth

    @property
    def saving_right(self) -> bool:
        """Within 30 % of the truth, or the truth within the interval; or neither is worth a word."""
        assert self.told is not None
        saves = self.told.saves
        assert saves.value is not None
        assert saves.low is not None
        assert saves.high is not None
        near = abs(saves.value - self.saved) <= SAVING_WITHIN * abs(self.saved)
        return near or self.small or saves.low <= self.saved <= saves.high

    @property
    def room_right(self) -> bool | None:
        """Within half a kelvin, every zone where each is told, of a range within it; None where the advice
        says nothing about rooms."""
        if self.told is not None and self.told.zones:
            slack = [0.0 if low < high else ROOM_WITHIN_K for low, high in self.told.zones]
            return all(
                low - more <= found <= high + more
                for (low, high), found, more in zip(self.told.zones, self.zones, slack, strict=True)
            )
        room = self.told.room if self.told is not None else None
        return None if room is None or room.value is None else abs(room.value - self.fell) <= ROOM_WITHIN_K


def _judged(case: AdviceCase, ran: Ran) -> float:
    """The electricity that a case is judged on [kWh]."""
    if case.sets in ("water", "hour"):
        return ran.water_kwh
    return ran.space_kwh + (ran.backup_kwh if case.sets == "heater" else 0.0)


def outcome(case: AdviceCase, seed: int, simulator: str = "own") -> AdviceOutcome:
    """Read a home, ask for advice, follow it, and run the same days again."""
    run = SIMULATORS[simulator]
    first = run(seed, case.control, (case.before,))
    site = first.site()
    facts = build_facts(site, first.read(site), first.first, first.last)
    result = analyse(site, facts, first.first, first.last).as_dict()
    try:
        told = case.told(site, facts, result)
    except NotAssessed as refused:
        return AdviceOutcome(case.name, seed, None, reason=str(refused))
    second = run(seed, case.control, (case.before, told.setting))
    saved = _judged(case, first) - _judged(case, second)
    return AdviceOutcome(
        case.name,
        seed,
        told,
        saved,
        float(np.mean(first.rooms - second.rooms)),
        float(np.max(np.minimum(first.targets, first.rooms) - second.rooms)),
        worth=limit_of(site, "advice_worth_kwh"),
        zones=tuple(float(k) for k in first.rooms - second.rooms),
    )
