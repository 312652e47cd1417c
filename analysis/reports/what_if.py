"""Savings of a change from a plant's own days, each answer with interval and limitations."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.curve import CurveEffect, ZoneEffect, curve_effect
from fieldfare.analysis.advice.hot_water import cooler_store
from fieldfare.analysis.advice.rooms import RoomsEffect, rooms_effect
from fieldfare.analysis.advice.saving import AIR_KEEPS, cop_between
from fieldfare.analysis.advice.shared import refuse_shared
from fieldfare.analysis.cautions import COOL_ROOMS, HEALTHY_ROOM_C, LEGIONELLA, grows, of_setpoint
from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.money import mean_price
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.minutes.local_clock import local_clock
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.minutes.rolling import running_total
from fieldfare.analysis.physics.emitters import HeatEmitter, output_kw
from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C, GROWTH_C
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import HotWater, Site
from fieldfare.analysis.readings import MS_PER_DAY, MS_PER_MINUTE

Floats = NDArray[np.float64]

FULL_YEAR_DAYS = 330
"""Days that stand for a year; fewer are reported as they are, not scaled up."""
WASH_C = 40.0
HOUR_DOUBT = 0.1
"""Relative, of the charges' electricity: at another hour they begin at another temperature of the store,
which then stands hot for a longer or shorter time before it is drawn (common practice, no source)."""
FAMILY_LITRES = 150.0
"""Water at 40 °C for two showers and a sink between two charges (common practice)."""


@dataclass(frozen=True)
class WhatIfLimit:
    """A condition of the answer: whether it holds, and the reason as text."""

    limit: str
    holds: bool | None
    says: str


@dataclass(frozen=True)
class Answer:
    """Saving of one change; `of` names the period."""

    question: str
    value: Any
    saves_kwh: Estimate
    saves_money: Estimate
    currency: str | None
    of: str
    method: str
    limits: tuple[WhatIfLimit, ...] = field(default=())
    caution: str = ""

    def as_dict(self) -> dict[str, Any]:
        document = asdict(self)
        for name in ("saves_kwh", "saves_money"):
            estimate: Estimate = getattr(self, name)
            document[name] = estimate.as_dict()
            if not estimate:
                document[f"{name}_reason"] = estimate.reason
        return document


def answer(site: Site, facts: Facts, result: dict[str, Any], question: str, value: Any) -> dict[str, Any]:
    """Answer one question.

    facts : Facts of up to a year. result : the result document of the same days
    question : rooms_warmer_k [K, negative for cooler], lower_curve_k [K], hot_water_c [°C], hot_water_hour
        [local hour], mend [finding's code], or band [(price per kWh, from hour, to hour)]
    Returns the answer, JSON-ready. Raises NotAssessed where the data do not allow one, InputError for another
    question.
    """
    questions: dict[str, Callable[[Site, Facts, Any, Any], Answer]] = {
        "rooms_warmer_k": _rooms_warmer,
        "lower_curve_k": _lower_curve,
        "hot_water_c": _hot_water_setpoint,
        "hot_water_hour": _hot_water_hour,
        "mend": _mend,
        "band": _band,
    }
    if question not in questions:
        raise InputError(f"unknown question {question!r}; use {', '.join(questions)}")
    if not len(facts.days):
        raise NotAssessed("no days to answer from", "not_enough_data")
    if question in _SETTING:
        refuse_shared(_SETTING[question], site)
    return questions[question](site, facts, result, value).as_dict()


_SETTING = {
    "lower_curve_k": "heating_curve",
    "hot_water_c": "hot_water_setpoint",
    "hot_water_hour": "hot_water_setpoint",
}


def _answer(
    site: Site,
    facts: Facts,
    question: str,
    value: Any,
    saves: Estimate,
    method: str,
    limits: tuple[WhatIfLimit, ...],
    caution: str = "",
    money: Estimate | None = None,
) -> Answer:
    price = mean_price(site, facts.days)
    if money is None:
        money = saves.times(price) if price is not None else Estimate.none("needs [cost] in the site file")
    currency = site.cost.currency if site.cost else None
    return Answer(question, value, saves, money, currency, of_time(facts.days), method, limits, caution)


def of_time(days: Table) -> str:
    return "a year like the last" if len(days) >= FULL_YEAR_DAYS else f"the {len(days)} days seen"


def a_year(days: Table) -> float:
    """Factor from the days to a year: only where they very nearly are one."""
    return 365.0 / len(days) if len(days) >= FULL_YEAR_DAYS else 1.0


def _lower_curve(site: Site, facts: Facts, result: dict[str, Any], lower_k: float) -> Answer:
    """Less lift and smaller differences over the exchangers, and rooms that fall where nothing is spare."""
    effect = curve_effect(site, facts, result, lower_k)
    method = (
        "Each heated day is calculated again with the lower curve: what the emitters give (EN 442), how far"
        " the valves open, less heat where rooms get cooler, and the better efficiency with cooler water."
    )
    limits = (_emitters(site, result, lower_k), _rooms(site, effect))
    return _answer(
        site, facts, "lower_curve_k", lower_k, effect.saves.times(a_year(facts.days)), method, limits
    )


def _rooms_warmer(site: Site, facts: Facts, result: dict[str, Any], warmer_k: float) -> Answer:
    """Change of heat loss and of electricity. Raises InputError for no change."""
    if warmer_k == 0.0:
        raise InputError("rooms_warmer_k: 0 changes nothing; use -1 for a degree cooler, or 1")
    effect = rooms_effect(site, facts, result, -warmer_k)
    method = (
        "Each heated day is calculated again: cooler rooms lose less heat, warmer rooms more, by the heat"
        " loss of this house. All rooms are set alike, and the heating is used as before."
    )
    cooler = warmer_k < 0.0
    limits = (_healthy(effect), *_follow(site, effect)) if cooler else (_reach(site, effect),)
    saves = effect.saves.times(a_year(facts.days))
    caution = COOL_ROOMS if cooler else ""
    return _answer(site, facts, "rooms_warmer_k", warmer_k, saves, method, limits, caution)


def _healthy(effect: RoomsEffect) -> WhatIfLimit:
    """Whether the coldest room stays warm enough to live in."""
    name = "every room stays warm enough for health"
    if not effect.zones:
        return WhatIfLimit(name, None, f"no room is measured: keep {HEALTHY_ROOM_C:.0f} C or more")
    coldest = min(zone.after_c for zone in effect.zones)
    says = f"the coldest would have {coldest:.1f} C on average; {HEALTHY_ROOM_C:.0f} C or more is healthy"
    return WhatIfLimit(name, coldest >= HEALTHY_ROOM_C, says)


def _follow(site: Site, effect: RoomsEffect) -> tuple[WhatIfLimit, ...]:
    """Rooms that are warmer than set may not follow a lower setting."""
    if effect.shut <= limit_of(site, "advice_shut_days"):
        return ()
    says = "they are warmer than set already: a lower setting does little until the heating water is cooler"
    return (WhatIfLimit("rooms follow a lower setting", False, says),)


def _reach(site: Site, effect: RoomsEffect) -> WhatIfLimit:
    """Whether emitters can make rooms warmer with the present heating curve."""
    name = "the heating makes the rooms so warm"
    if not effect.zones or not effect.room:
        return WhatIfLimit(name, None, "no room is measured")
    short = max(zone.days_short for zone in effect.zones)
    says = f"on {short * 100.0:.0f} % of the heated days a room would stay below the new setting"
    return WhatIfLimit(name, short <= limit_of(site, "advice_days_short"), says)


def _held_against(zone: ZoneEffect) -> str:
    return "set temperature" if zone.target_read else "no set temperature is read; held at"


def _change(zone: ZoneEffect) -> str:
    now, after = f"{zone.now_c:.1f}", f"{zone.after_c:.1f}"
    return f"stays at {now} C" if now == after else f"from {now} to {after} C"


def _rooms(site: Site, effect: CurveEffect) -> WhatIfLimit:
    """Room temperatures by zone; they hold if few days are below target."""
    name = "rooms hold their targets"
    if not effect.zones or not effect.room:
        return WhatIfLimit(name, None, "needs room_temperature: how far rooms would fall is not known")
    most = limit_of(site, "advice_days_short")
    parts = [
        f"{z.zone}: {_change(z)} ({_held_against(z)} {z.target_c:.1f} C), below"
        f" it on {z.days_short:.0%} of the heated days"
        for z in effect.zones
    ]
    return WhatIfLimit(name, all(z.days_short <= most for z in effect.zones), "; ".join(parts))


def _emitters(site: Site, result: dict[str, Any], lower_k: float) -> WhatIfLimit:
    """Whether the emitters give the measured heat loss on the design day at the lowered curve."""
    name = "emitters meet the measured heat loss on the design day"
    design = site.design
    points = (result.get("heating_curve") or {}).get("fitted")
    if points is None and site.heating_curve is not None:
        points = site.heating_curve.points
    loss = (result.get("heat_loss") or {}).get("heat_loss_kw") or {}
    need = loss.get("value") or design.heat_loss_kw
    if not site.emitter or design.outdoor_c is None or points is None or need is None:
        return WhatIfLimit(
            name, None, "needs [[emitter]], a heating curve, and the heat loss at design.outdoor_c"
        )
    flow = float(curve_at([tuple(p) for p in points], np.array([design.outdoor_c]))[0]) - lower_k
    flow_rate = site.heat_pump.flow_m3_per_h
    drop = min(need / (1.16 * flow_rate), 15.0) if flow_rate else 5.0
    each = [HeatEmitter(e.output_kw, e.output_excess_k, e.kind) for e in site.emitter]
    gives = float(output_kw(each, flow, flow - drop, design.indoor_c))
    worst = loss.get("high") or need
    says = (
        f"{gives:.1f} kW with water at {flow:.0f} C and {design.outdoor_c:.0f} C outdoors, {need:.1f} kW"
        " needed"
    )
    if gives >= need and gives < worst:
        says += f" (at most {worst:.1f} kW: try it in steps)"
    return WhatIfLimit(name, gives >= need, says)


def _hot_water_setpoint(site: Site, facts: Facts, result: dict[str, Any], setpoint_c: float) -> Answer:
    """A colder cylinder: less lift in its charges, and less standing loss. What is drawn stays the same."""
    if site.hot_water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
    cooler = site.hot_water.setpoint_c - setpoint_c
    saves = cooler_store(site, facts, result, cooler, cooler).times(a_year(facts.days))
    method = (
        "Each reheat is calculated again with cooler water, for which the unit needs less electricity; the"
        " cylinder loses less heat."
    )
    limits = _water_limits(site, facts, result, setpoint_c)
    return _answer(site, facts, "hot_water_c", setpoint_c, saves, method, limits, of_setpoint(setpoint_c))


def _water_limits(
    site: Site, facts: Facts, result: dict[str, Any], setpoint_c: float
) -> tuple[WhatIfLimit, ...]:
    assert site.hot_water is not None
    water = site.hot_water
    limits = [
        WhatIfLimit(
            "disinfection stays",
            setpoint_c >= DISINFECTED_AT_C or (water.pasteurise_c or 0.0) >= DISINFECTED_AT_C,
            _disinfection_says(water),
        ),
        WhatIfLimit(
            "stored water stays out of the range in which Legionella grows",
            not grows(setpoint_c),
            f"that is {GROWTH_C[0]:.0f} to {GROWTH_C[1]:.0f} C"
            + (f": not advised below {GROWTH_C[1]:.0f} C" if grows(setpoint_c) else ""),
        ),
        WhatIfLimit(
            "the unit reaches it",
            None if site.heat_pump.max_flow_c is None else setpoint_c + 5.0 <= site.heat_pump.max_flow_c,
            (
                f"its hottest water is {site.heat_pump.max_flow_c:.0f} C"
                if site.heat_pump.max_flow_c
                else "needs heat_pump.max_flow_c"
            ),
        ),
    ]
    full = (result.get("hot_water") or {}).get("litres_at_40c_when_full")
    if water.cylinder_litres:
        litres = (
            water.cylinder_litres * max(setpoint_c - 10.0, 0.0) / (WASH_C - 10.0)
            if setpoint_c >= WASH_C
            else 0.0
        )
        was = f", {full:.0f} litres now" if full else ""
        limits.append(
            WhatIfLimit(
                "hot water for a family",
                litres >= FAMILY_LITRES,
                f"{litres:.0f} litres at 40 C when full{was}",
            )
        )
    return tuple(limits)


def _disinfection_says(water: HotWater) -> str:
    if water.pasteurise_c is None:
        return f"none is scheduled: keep {DISINFECTED_AT_C:.0f} C, or schedule one first"
    schedule = f"scheduled to {water.pasteurise_c:.0f} C every {water.pasteurise_every_days} days"
    return (
        schedule
        if water.pasteurise_c >= DISINFECTED_AT_C
        else f"{schedule}: {DISINFECTED_AT_C:.0f} C are needed"
    )


def _hot_water_hour(site: Site, facts: Facts, result: dict[str, Any], hour: int) -> Answer:
    """Charges moved to another hour: warmer or colder air, and another price."""
    charges = facts.reheats
    if not charges.knows("electricity"):
        raise NotAssessed("needs charges of the cylinder with heat_pump_electricity", "missing_quantity")
    hours = local_minute(site, charges) // 60
    table, hour_of_row = charges, hours
    if hour not in hours:
        table, hour_of_row = facts.runs, local_minute(site, facts.runs) // 60
    warmth = table.where(hour_of_row == hour).mean("outdoor") - table.mean("outdoor")
    if not np.isfinite(warmth):
        raise NotAssessed("needs outdoor_temperature at that hour", "missing_quantity")
    flow, outdoor = charges.floats("flow"), charges.floats("outdoor")
    energy = charges.floats("electricity")
    known = np.isfinite(flow) & np.isfinite(outdoor) & np.isfinite(energy)
    gain = 1.0 - cop_between(outdoor[known], flow[known]) / cop_between(
        outdoor[known] + float(warmth), flow[known]
    )
    most = float(np.sum(energy[known] * gain)) * a_year(facts.days)
    value, half = most * sum(AIR_KEEPS) / 2.0, most * (AIR_KEEPS[1] - AIR_KEEPS[0]) / 2.0
    by_habit = HOUR_DOUBT * float(energy[known].sum()) * a_year(facts.days)
    saves = Estimate.around(value, float(np.hypot(half, by_habit)))
    ends = (saves.low or 0.0, saves.high or 0.0)
    money = None
    if site.cost is not None and (site.cost.band or site.cost.newest.electricity is not None):
        year = a_year(facts.days)
        paid = float(np.nansum(energy * _prices(site, hours))) * year
        price = float(_prices(site, np.array([hour]))[0])
        used = float(np.nansum(energy)) * year
        money = Estimate(
            paid - (used - (saves.value or 0.0)) * price,
            paid - (used - ends[0]) * price,
            paid - (used - ends[1]) * price,
        )
    limit = WhatIfLimit(
        "water lasts through the day", None, "the cylinder must hold a day's draws from that hour on"
    )
    caution = of_setpoint(site.hot_water.setpoint_c) if site.hot_water is not None else LEGIONELLA
    method = "Each reheat is calculated again with the outdoor air and the price of that hour."
    return _answer(site, facts, "hot_water_hour", hour, saves, method, (limit,), caution, money)


def local_minute(site: Site, events: Table) -> NDArray[np.int64]:
    """Local minute of the day at which events began, int64 (n,)."""
    return np.asarray(local_clock(site.zone, events["start"]) % MS_PER_DAY // MS_PER_MINUTE)


def _prices(site: Site, hours: NDArray[Any]) -> Floats:
    """Price of electricity by local hour [money/kWh]; nan where none is given."""
    assert site.cost is not None
    day = np.full(24, np.nan if (flat := site.cost.newest.electricity) is None else flat)
    for band in site.cost.band:
        a, b = band.start.hour, band.end.hour
        inside = range(a, b) if a < b else [*range(a, 24), *range(b)]
        day[list(inside)] = band.price
    return day[np.asarray(hours, dtype=int) % 24]


def _mend(site: Site, facts: Facts, result: dict[str, Any], code: str) -> Answer:
    """Saving of a repair: the yearly cost of its finding."""
    found = next((f for f in result["findings"] if f["code"] == code), None)
    if found is None:
        raise InputError(f"the site has no finding {code!r}")
    cost = (found.get("cost_per_year") or {}).get("electricity_kwh")
    if cost is None:
        raise NotAssessed(
            f"mending {code} has no price: it is about comfort, safety or the data", "not_applicable"
        )
    sure = min(max(float(found.get("confidence") or 0.5), 0.0), 1.0)
    saves = Estimate(cost * (1.0 + sure) / 2.0, cost * sure / 2.0, cost)
    answer = _answer(
        site,
        facts,
        "mend",
        code,
        saves,
        "What the finding costs a year, and less where its cause is not sure.",
        (),
        found.get("caution") or "",
    )
    return replace(answer, of="a whole year")  # as findings are priced, however many days were seen


def _band(site: Site, facts: Facts, result: dict[str, Any], band: tuple[float, int, int]) -> Answer:
    """A cheaper band for what already runs in it; nothing is moved, so no electricity is saved."""
    price, start, end = band
    paid_now = mean_price(site, facts.days)
    if paid_now is None:
        raise NotAssessed("needs [cost] in the site file", "missing_in_site_file")
    inside = range(start, end) if start < end else [*range(start, 24), *range(end)]
    at = local_minute(site, facts.runs)
    minutes = facts.runs.floats("minutes")
    energy = np.nan_to_num(facts.runs.floats("electricity"))
    share = share_inside(at // 60, at % 60, minutes, inside)
    in_band = float(np.sum(energy * share))
    hot_water = facts.runs.where(facts.runs["use"] == HOT_WATER).total("electricity")
    year = a_year(facts.days)
    saved = in_band * year * (paid_now - price)
    with_water = saved + max(hot_water * year * (paid_now - price) * (1 - len(inside) / 24), 0.0)
    money = Estimate(saved, min(saved, with_water), max(saved, with_water))
    limit = WhatIfLimit(
        "other hours cost the same", None, "a tariff with a cheap band often asks more in the others"
    )
    method = (
        "Electricity of the runs that fall into the band; the high end has the cylinder's charges moved"
        " into it."
    )
    return _answer(site, facts, "band", list(band), Estimate(0.0, 0.0, 0.0), method, (limit,), "", money)


def share_inside(hour: NDArray[Any], minute: NDArray[Any], length: Floats, inside: Any) -> Floats:
    """Share of each run that falls into the hours, minute by minute of a day."""
    cheap = np.zeros(1440)
    for h in inside:
        cheap[h * 60 : h * 60 + 60] = 1.0
    total = running_total(np.tile(cheap, 4))
    start = hour.astype(int) * 60 + minute.astype(int)
    end = np.minimum(start + np.maximum(length, 1.0).astype(int), 4 * 1440)
    return (total[end] - total[start]) / np.maximum(end - start, 1)
