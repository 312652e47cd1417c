"""All settings worth changing at a home with their effects, and those left out in favour of another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from fieldfare.analysis.advice.backup import Bivalent, bivalent
from fieldfare.analysis.advice.balance import zone_balance
from fieldfare.analysis.advice.buffer import mixing
from fieldfare.analysis.advice.cheaper_hours import best_charging_hour, dear_hours
from fieldfare.analysis.advice.curve import CurveEffect, LowestCurve, lowest_curve
from fieldfare.analysis.advice.hot_water import cooler_store
from fieldfare.analysis.advice.pump import least_pump_share, observed_pump, pump_effect
from fieldfare.analysis.advice.set_back import refuse_slow, set_back_effects
from fieldfare.analysis.advice.shared import refuse_shared
from fieldfare.analysis.cautions import of_setpoint
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.money import mean_price
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C, GROWTH_C
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.verdict import cold_for
from fieldfare.analysis.reports.what_if import a_year, answer, of_time

HOUSEHOLD_SETS = frozenset({"set_back", "dear_hours"})
"""What a household may change by itself; the rest is the firm's."""
_ONE_OF_CYLINDER = "change one setting of the cylinder at a time"
_TRIED_SET_BACKS = (0.0, 1.0, 2.0, 3.0)


@dataclass(frozen=True)
class Advice:
    """One setting. now, to : present and recommended value, in `unit`; the curve also has `curve`

    saves : [kWh, of `of` of the document]. room : mean fall of the rooms [K]; zones : see ZoneEffect
    balance : of `zone_balance`, see ZoneBalance. holds : checked limits, as text. money : saved by cheaper
    hours, if prices differ
    household : whether the household may change it
    """

    code: str
    now: float
    to: float
    unit: str
    saves: Estimate
    room: Estimate | None = None
    zones: tuple[dict[str, Any], ...] = ()
    curve: dict[str, Any] | None = None
    balance: dict[str, Any] | None = None
    recovery_h: float | None = None
    holds: tuple[str, ...] = ()
    caution: str = ""
    money: Estimate | None = None

    def as_dict(self) -> dict[str, Any]:
        document = asdict(self)
        document["saves"] = self.saves.as_dict()
        document["money"] = self.money.as_dict() if self.money else None
        document["room"] = self.room.as_dict() if self.room is not None else None
        document["household"] = self.code in HOUSEHOLD_SETS
        return document


@dataclass(frozen=True)
class LeftOut:
    """A setting that is not advised, and why."""

    code: str
    reason: str


def plan(site: Site, facts: Facts, result: dict[str, Any], *, household: bool = False) -> dict[str, Any]:
    """Recommended settings, largest saving first, JSON-ready; never two that conflict.

    household : only what is the household's to change
    Returns advice (list of Advice), left_out (list of LeftOut), of : the time that savings are of, currency.
    """
    found: list[Advice] = []
    left: list[LeftOut] = []
    for code in PLANNED:
        try:
            advice = advised(code, site, facts, result)
        except NotAssessed as refused:
            left.append(LeftOut(code, str(refused)))
            continue
        if _is_worth(site, facts, advice):
            found.append(advice)
        else:
            least = limit_of(site, "advice_worth_kwh")
            left.append(LeftOut(code, f"would save less than {least:.0f} kWh, or perhaps nothing"))
    compatible, contrary = without_contrary(found)
    left += contrary
    shown = [a for a in compatible if a.code in HOUSEHOLD_SETS or not household]
    return {
        "of": of_time(facts.days),
        "currency": site.cost.currency if site.cost is not None else None,
        "advice": [a.as_dict() for a in sorted(shown, key=lambda a: -(a.saves.value or 0.0))],
        "left_out": [asdict(x) for x in left if x.code in HOUSEHOLD_SETS or not household],
    }


def _is_worth(site: Site, facts: Facts, advice: Advice) -> bool:
    """Whether a saving, in electricity or by cheaper hours, is worth a call."""
    if advice.code in ("pump_speed", "zone_balance") or for_comfort(advice):
        return True
    least = limit_of(site, "advice_worth_kwh")
    price = mean_price(site, facts.days)
    by_price = advice.money is not None and price is not None and (advice.money.low or 0.0) >= least * price
    return by_price or ((advice.saves.value or 0.0) >= least and (advice.saves.low or 0.0) > 0.0)


def advised(code: str, site: Site, facts: Facts, result: dict[str, Any]) -> Advice:
    """Advice on one setting, regardless of its saving. code : of PLANNED. Raises NotAssessed."""
    refuse_shared(code, site)
    return _ASKED[code](site, facts, result)


def for_comfort(advice: Advice) -> bool:
    """A shallower set-back is for rooms that recover late, not for savings."""
    return advice.code == "set_back" and advice.to < advice.now


def need_of(advice: Advice) -> str:
    """Reason to change a setting regardless of its saving: rooms_late, water_slow (flow and return too far
    apart), zones_apart; else empty."""
    if for_comfort(advice):
        return "rooms_late"
    if advice.code == "zone_balance":
        return "zones_apart"
    return "water_slow" if advice.code == "pump_speed" and advice.to < advice.now else ""


def set_once(site: Site, facts: Facts, result: dict[str, Any], stepwise: Sequence[Advice]) -> list[Advice]:
    """Recommended settings not covered by the weekly tuning diary, largest saving first.

    stepwise : advice on settings that it goes through, which those here must not work against
    """
    found: list[Advice] = []
    for code in PLANNED:
        if code in SETTINGS:
            continue
        try:
            advice = advised(code, site, facts, result)
        except NotAssessed:
            continue
        if _is_worth(site, facts, advice):
            found.append(advice)
    compatible, _ = without_contrary([*stepwise, *found])
    return sorted((a for a in compatible if a in found), key=lambda a: -(a.saves.value or 0.0))


def without_contrary(found: list[Advice]) -> tuple[list[Advice], list[LeftOut]]:
    """Resolve conflicts: a lower curve reduces the emitters' reserve, which a deeper set-back needs in the
    morning, so only the larger saving is kept. The same for two settings of the cylinder."""
    left: list[LeftOut] = []
    by_code = {a.code: a for a in found}
    for one, other, reason in (
        ("heating_curve", "set_back", "a deeper set-back needs the hotter curve in the morning"),
        ("heating_curve", "buffer_flow", "both lower the curve: change one at a time"),
        ("hot_water_setpoint", "hot_water_reheat", _ONE_OF_CYLINDER),
        ("hot_water_setpoint", "hot_water_hour", _ONE_OF_CYLINDER),
        ("hot_water_reheat", "hot_water_hour", _ONE_OF_CYLINDER),
    ):
        if one not in by_code or other not in by_code:
            continue
        if other == "set_back" and for_comfort(by_code[other]):
            continue
        worse = min((by_code[one], by_code[other]), key=lambda a: a.saves.value or 0.0)
        left.append(LeftOut(worse.code, reason))
        del by_code[worse.code]
    return list(by_code.values()), left


def _curve(site: Site, facts: Facts, result: Mapping[str, Any]) -> Advice:
    found: LowestCurve = lowest_curve(site, facts, result)
    effect: CurveEffect = found.effect
    answer_document = {
        "points_now": found.points_now,
        "points": found.points,
        "steps": found.steps,
        "binding": found.binding,
        "design_day": found.design_day,
    }
    return Advice(
        "heating_curve",
        round(found.points_now[0][1], 1),
        round(found.points[0][1], 1),
        "°C",
        effect.saves.times(a_year(facts.days)),
        effect.room,
        tuple(asdict(zone) for zone in effect.zones),
        answer_document,
    )


def _are_rooms_cold(site: Site, result: Mapping[str, Any]) -> bool:
    """Whether rooms need more warmth by the verdict's own rules: no change that uses more is advised for
    rooms that are in order."""
    zones = (result.get("comfort") or {}).get("zones") or {}
    found = any(
        f["code"] == "room_below_target" and f["severity"] != "note" and not f.get("until")
        for f in result.get("findings", ())
    )
    return found or any(cold_for(site, zone) is not None for zone in zones.values())


def _set_back(site: Site, facts: Facts, result: Mapping[str, Any]) -> Advice:
    """Set-back depth: shallower if rooms recover too late and are cold; else the deepest that recovers in
    time."""
    deepest = limit_of(site, "advice_setback_deepest_k")
    longest_h = limit_of(site, "advice_recovery_h")
    tried = set_back_effects(site, facts, result, [k for k in _TRIED_SET_BACKS if k <= deepest])
    depth_now, recovery_now = tried[0].depth_now_k, tried[0].recovery_h[0]
    late = depth_now > 0.5 and recovery_now > longest_h
    best = [e for e in tried if e.depth_k == 0.0 or e.recovery_h[1] <= longest_h][-1]
    refuse_slow(site, depth_now, best.depth_k)
    if best.depth_k < depth_now and late and not _are_rooms_cold(site, result):
        raise NotAssessed(
            "rooms come up late after the set-back, but no room is found too cold", "not_applicable"
        )
    if abs(best.depth_k - depth_now) < 0.5 or (best.depth_k < depth_now and not late):
        raise NotAssessed("the set-back is as deep as the rooms allow", "not_applicable")
    return Advice(
        "set_back",
        round(depth_now, 1),
        best.depth_k,
        "K",
        best.saves.times(a_year(facts.days)),
        best.room,
        recovery_h=round(best.recovery_h[1], 1),
    )


def _setpoint(site: Site, facts: Facts, result: dict[str, Any]) -> Advice:
    """The coolest store temperature outside the Legionella range, with disinfection and enough volume."""
    water = site.hot_water
    if water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
    _holds_enough(site, result)
    least = GROWTH_C[1] if (water.pasteurise_c or 0.0) >= DISINFECTED_AT_C else DISINFECTED_AT_C
    for setpoint_c in np.arange(least, water.setpoint_c - 0.9, 1.0):
        document = answer(site, facts, result, "hot_water_c", float(setpoint_c))
        if any(limit["holds"] is False for limit in document["limits"]):
            continue
        saves = document["saves_kwh"]
        return Advice(
            "hot_water_setpoint",
            water.setpoint_c,
            float(setpoint_c),
            "°C",
            Estimate(saves["value"], saves["low"], saves["high"]),
            holds=tuple(f"{x['limit']}: {x['says']}" for x in document["limits"]),
            caution=document["caution"],
        )
    raise NotAssessed("the cylinder is as cool as cautions and draws allow", "not_applicable")


def _reheat(site: Site, facts: Facts, result: dict[str, Any]) -> Advice:
    """A larger difference before the cylinder is reheated, above the range of Legionella."""
    water = site.hot_water
    if water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
    if water.reheat_below_c is None:
        raise NotAssessed("needs hot_water.reheat_below_c in the site file", "missing_quantity")
    _holds_enough(site, result)
    restart_c = max(water.setpoint_c - limit_of(site, "advice_reheat_gap_k"), GROWTH_C[1])
    if restart_c > water.reheat_below_c - 1.0:
        raise NotAssessed("reheating starts as low as cautions allow", "not_applicable")
    cooler = (water.reheat_below_c - restart_c) / 2.0
    saves = cooler_store(site, facts, result, 0.0, cooler).times(a_year(facts.days))
    caution = of_setpoint(restart_c)
    return Advice("hot_water_reheat", water.reheat_below_c, restart_c, "°C", saves, caution=caution)


def _holds_enough(site: Site, result: Mapping[str, Any]) -> None:
    cold = (result.get("hot_water") or {}).get("minutes_below_40c_per_week")
    if cold is not None and cold > limit_of(site, "advice_cold_water_min"):
        raise NotAssessed(
            f"the cylinder stands below 40 °C for {cold:.0f} minutes a week: it has nothing to spare",
            "not_applicable",
        )


def _pump(site: Site, facts: Facts, result: Mapping[str, Any]) -> Advice:
    """Flow of water by the difference of flow and return at the design load."""
    now = observed_pump(site, facts, result)
    share = least_pump_share(site, now.lift_k)
    if share is None:
        raise NotAssessed(
            f"flow and return differ by {now.lift_k:.1f} K at the design load: as it should be",
            "not_applicable",
        )
    effect = pump_effect(site, now, share)
    return Advice(
        "pump_speed",
        round(now.lift_k, 1),
        round(effect.lift_k, 1),
        "K",
        effect.saves.times(a_year(facts.days)),
        effect.room,
    )


def _bivalent(site: Site, facts: Facts, result: Mapping[str, Any]) -> Advice:
    """Release of the direct heater only if the heat pump's output is insufficient."""
    found = bivalent(site, facts, result)
    saves = found.saves.times(a_year(facts.days))
    return Advice(
        "bivalent_point", round(found.observed_c, 1), found.sets_c, "°C", saves, holds=(_carried(found),)
    )


def _carried(found: Bivalent) -> str:
    """Reason for the release point: the designed point, or the measured one compared with it."""
    by_load = f"by its output and the house's load the heat pump needs no help above {found.carries_c:g} °C"
    if found.designed_c is None:
        return f"B{by_load[1:]}."
    if found.carries_c <= found.designed_c:
        return f"This is the designed point, and it has reserve: {by_load}."
    return f"The design says {found.designed_c:g} °C, but {by_load} only: look at its output."


def _buffer(site: Site, facts: Facts, result: Mapping[str, Any]) -> Advice:
    """Match the flow behind a parallel buffer to the heat pump's, and lower the curve by the regained
    temperature."""
    found = mixing(site, facts, result)
    saves = found.saves.times(a_year(facts.days))
    return Advice("buffer_flow", round(found.drop_k, 1), found.left_k, "K", saves)


def _balance(site: Site, facts: Facts, result: dict[str, Any]) -> Advice:
    """Water of the zones as designed, and beyond that by how far one is turned down. Saving and rooms are of
    the first way: it comes first, and it is enough where the water is to blame."""
    found = zone_balance(site, facts, result)
    way, year = found.by_water, a_year(facts.days)
    document = found.as_dict()
    for name in ("by_water", "by_turning"):
        document[name]["saves"] = getattr(found, name).saves.times(year).as_dict()
    return Advice(
        "zone_balance",
        round(found.apart_k.value or 0.0, 1),
        round(way.apart_k.value or 0.0, 1),
        "K",
        way.saves.times(year),
        balance=document,
    )


def _charging_hour(site: Site, facts: Facts, result: dict[str, Any]) -> Advice:
    """Charge the cylinder in the warmest or cheapest hours."""
    _holds_enough(site, result)
    found = best_charging_hour(site, facts, result)
    return Advice(
        "hot_water_hour",
        float(found.hour_now),
        float(found.hour),
        "h",
        found.saves,
        caution=found.caution,
        money=found.money,
    )


def _dear_hours(site: Site, facts: Facts, result: dict[str, Any]) -> Advice:
    """Pause heating in expensive hours if rooms stay warm."""
    found = dear_hours(site, facts, result)
    return Advice(
        "dear_hours",
        float(found.from_hour),
        found.hours,
        "h",
        Estimate(0.0, 0.0, 0.0),
        found.room,
        money=found.money,
    )


_ASKED: dict[str, Callable[[Site, Facts, dict[str, Any]], Advice]] = {
    "heating_curve": _curve,
    "set_back": _set_back,
    "hot_water_setpoint": _setpoint,
    "hot_water_reheat": _reheat,
    "pump_speed": _pump,
}
SETTINGS = tuple(_ASKED)
"""Codes of the settings that a tuning diary goes through."""
_ASKED |= {
    "bivalent_point": _bivalent,
    "buffer_flow": _buffer,
    "zone_balance": _balance,
    "hot_water_hour": _charging_hour,
    "dear_hours": _dear_hours,
}
PLANNED = tuple(_ASKED)
"""Codes of all settings that advice is given on."""
