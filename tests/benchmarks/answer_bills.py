"""Pairs of simulated winters with one thing changed, and the split of the second bill that is true.

Four runs make a case: the home a year ago (A) and now (B), and the changed home then (D) and now (C). The
answer is given A
and C. The truth comes from all four, by perfect meters: weather and chance from A to B and D to C, the
change from B to C
and A to D.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from fieldfare.analysis.answers.bill import Span, bill
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.design.spec import HotWaterSpec, HouseSpec, PlantSpec
from fieldfare.collector.simulated.plant import (
    Simulated,
    random_plant,
    simulate,
    with_fault,
    with_oddity,
)

DAYS = 75
BEFORE, NOW = date(2022, 12, 1), date(2023, 12, 1)
PRICE, STANDING = 0.30, 0.50

Change = Callable[[PlantSpec, date], PlantSpec]
"""Of a plant, for a winter that begins on that day."""


@dataclass(frozen=True)
class BillCase:
    """base : of the home as it was. change : from B to C. prices : of now, from which day: price, standing
    charge. lost : days that nobody read, each side. read : what is done to the later winter's readings.
    site : more of the site file

    part : the part that the change belongs to; None where nothing but the weather changed. parts : others
    that the change belongs to as well. whole : whether the answer must refuse to split
    """

    name: str
    part: str | None
    change: Change = lambda spec, first: spec
    base: Change = lambda spec, first: spec
    prices: tuple[tuple[date, float, float], ...] = ()
    lost: tuple[int, int] = (0, 0)
    control: str = "thermostat"
    read: Callable[[Readings], Readings] = lambda readings: readings
    site: str = ""
    parts: tuple[str, ...] = ()
    whole: bool = False

    @property
    def of_house(self) -> bool:
        """Whether the house takes other heat: then cooler rooms are part of it."""
        return self.part == "house"


def _warmer(by_k: float) -> Change:
    def act(spec: PlantSpec, first: date) -> PlantSpec:
        control = spec.control
        return replace(spec, control=replace(control, targets_c=tuple(t + by_k for t in control.targets_c)))

    return act


def _water(**change: Callable[[HotWaterSpec], float]) -> Change:
    def act(spec: PlantSpec, first: date) -> PlantSpec:
        plant = spec.hot_water
        assert plant is not None
        made: dict[str, Any] = {name: value(plant) for name, value in change.items()}
        return replace(spec, hot_water=replace(plant, **made))

    return act


def _more_water(times: float) -> Change:
    return _water(litres_40_per_day=lambda plant: times * plant.litres_40_per_day)


def _house(**change: Callable[[HouseSpec], float]) -> Change:
    def act(spec: PlantSpec, first: date) -> PlantSpec:
        made: dict[str, Any] = {name: value(spec.house) for name, value in change.items()}
        return replace(spec, house=replace(spec.house, **made))

    return act


def _fault(code: str, cause: str | None, strength: str = "plain", *, after: int | None = None) -> Change:
    """after : days into the winter at which it begins"""

    def act(spec: PlantSpec, first: date) -> PlantSpec:
        start = None if after is None else first + timedelta(after)
        return with_fault(spec, code, cause, strength, start)

    return act


def _away(spec: PlantSpec, first: date) -> PlantSpec:
    return with_oddity(spec, "away", first + timedelta(19))


def _both(*changes: Change) -> Change:
    def act(spec: PlantSpec, first: date) -> PlantSpec:
        for change in changes:
            spec = change(spec, first)
        return spec

    return act


def _new_meter(readings: Readings) -> Readings:
    """Another electricity meter, which begins at nought; nothing is read for three hours."""
    at, gap = _ms(NOW + timedelta(30)) + MS_PER_DAY // 2, MS_PER_DAY // 8
    out = dict(readings)
    for point in ("hp_elec", "hp_elec_kwh"):
        samples = readings[point]
        later = samples.time >= at + gap
        kept = (samples.time < at) | later
        new = later & (point == "hp_elec_kwh")
        value = samples.value - np.where(new, samples.value[later][0], 0.0)
        out[point] = Samples(samples.time[kept], value[kept])
    return out


def _car(readings: Readings) -> Readings:
    """A car is charged every other night behind the heat pump's meter: 7.2 kW for two hours and a half."""
    out = dict(readings)
    for point in ("hp_elec", "hp_elec_kwh"):
        time, value = readings[point].time, readings[point].value
        nights = (time - _ms(NOW)) / MS_PER_DAY
        into_h = (nights % 2.0) * 24.0
        on = (into_h >= 25.0) & (into_h < 27.5)
        charged = 18.0 * (np.floor(nights / 2.0) + np.clip((into_h - 25.0) / 2.5, 0.0, 1.0))
        out[point] = Samples(time, value + (7200.0 * on if point == "hp_elec" else charged))
    return out


def _target_as_before(by_k: float) -> Callable[[Readings], Readings]:
    """A thermostat that no longer closes: its set temperature stays."""

    def act(readings: Readings) -> Readings:
        return {
            point: Samples(s.time, s.value - by_k) if point.startswith("target_room") else s
            for point, s in readings.items()
        }

    return act


def _ms(day: date) -> int:
    return int(np.datetime64(day, "ms").astype(np.int64))


CASES = (
    BillCase("nothing but the weather", None),
    BillCase("rooms 1.8 K warmer", "rooms", _warmer(1.8)),
    BillCase("four fifths more hot water", "hot_water", _more_water(1.8)),
    BillCase("compressor worn", "efficiency", _fault("efficiency_below_expected", None)),
    BillCase(
        "curve set high",
        "efficiency",
        _fault("flow_temperature_above_curve", "curve_set_high"),
        control="compensation",
    ),
    BillCase("immersion heater on its timer", "direct_heat", _fault("immersion_use", "immersion_timer_on")),
    BillCase(
        "back-up heater set to help too early",
        "direct_heat",
        _fault("backup_heater_use", "bivalent_set_high", "gross"),
    ),
    BillCase("crankcase heater never rests", "standby", _fault("high_standby", None)),
    BillCase("tariff and standing charge rose", "tariff", prices=((date(2023, 6, 1), 0.38, 0.62),)),
    BillCase("electricity meter not read for three weeks of the earlier winter", "meter", lost=(21, 0)),
    BillCase(
        "circulation pipe on all day",
        "cylinder_loss",
        _fault("high_standing_loss", "secondary_circulation", "gross"),
    ),
    BillCase("cylinder's jacket off", "cylinder_loss", _fault("high_standing_loss", "insulation", "gross")),
    BillCase("tariff rose amid the winter", "tariff", prices=((date(2024, 1, 10), 0.40, STANDING),)),
    BillCase("electricity meter exchanged", None, read=_new_meter),
    BillCase("car behind the heat pump's meter", None, read=_car, whole=True),
    BillCase(
        "a baby: rooms 2 K warmer, more hot water",
        "rooms",
        _both(_warmer(2.0), _more_water(1.6)),
        parts=("hot_water",),
    ),
    BillCase("a fortnight away a year ago", "rooms", base=_away, parts=("hot_water",)),
    BillCase("a fortnight away now", None, _away),
    BillCase(
        "stove no longer lit",
        "house",
        _house(gains_w=lambda house: house.gains_w - 1500.0),
        base=_house(gains_w=lambda house: house.gains_w + 1500.0),
    ),
    BillCase("a room added", "house", _house(htc_w_per_k=lambda house: 1.3 * house.htc_w_per_k)),
    BillCase("thermostat no longer closes", "rooms", _warmer(2.5), read=_target_as_before(2.5)),
    BillCase(
        "curve raised at New Year",
        "efficiency",
        _fault("flow_temperature_above_curve", "curve_set_high", after=31),
        control="compensation",
        parts=("rooms",),
    ),
    BillCase(
        "hot water set 10 K hotter",
        "efficiency",
        _water(
            setpoint_c=lambda plant: plant.setpoint_c + 10.0,
            reheat_below_c=lambda plant: plant.reheat_below_c + 10.0,
        ),
        parts=("direct_heat", "cylinder_loss"),
    ),
    BillCase(
        "immersion heater left on since Christmas",
        "direct_heat",
        _fault("immersion_use", "immersion_timer_on", "gross", after=24),
    ),
    BillCase(
        "rooms 2 K cooler, and dearer", "tariff", _warmer(-2.0), prices=((date(2023, 6, 1), 0.42, 0.6),)
    ),
    BillCase("solar electricity, and rooms 1.8 K warmer", "rooms", _warmer(1.8), site="\n[pv]\n"),
)


@lru_cache(maxsize=64)
def run(spec: PlantSpec, first: date) -> Simulated:
    return simulate(spec, first, DAYS)


def plant(seed: int, control: str) -> PlantSpec:
    same: dict[str, Any] = {"climate": "continental", "meter_set": "full", "hot_water": True}
    return random_plant(seed, **same, control=control)  # type: ignore[arg-type]


def span_of(site: Site, readings: Readings, first: date) -> Span:
    """Facts and result of a winter."""
    last = first + timedelta(DAYS - 1)
    facts = build_facts(site, readings, first, last)
    return Span(facts, analyse(site, facts, first, last).as_dict())


def without(readings: Readings, first: date, days: int) -> Readings:
    """The same readings without the heat pump's electricity of so many days from the thirtieth on."""
    if not days:
        return readings
    begin = int(np.datetime64(first + timedelta(30), "ms").astype(np.int64))
    out: Readings = {}
    for point, samples in readings.items():
        if point == "hp_elec_kwh":
            continue
        gone = (samples.time >= begin) & (samples.time < begin + days * MS_PER_DAY) & (point == "hp_elec")
        out[point] = Samples(samples.time[~gone], samples.value[~gone])
    return out


@dataclass(frozen=True)
class BillOutcome:
    """told : part -> value, low, high [kWh]. truth : part -> kWh. held : part -> whether its interval
    holds the truth."""

    case: BillCase
    seed: int
    document: dict[str, Any]
    truth: dict[str, float]
    held: dict[str, bool] = field(default_factory=dict)

    @property
    def named(self) -> str | None:
        """The part told as the largest of those that the weather and chance do not explain."""
        unit = "kwh" if self.document["difference"]["money"] is None else "money"
        parts = [p for p in self.document["parts"] if p["code"] not in ("weather", "rest") and p["told"]]
        more = [p for p in parts if p[unit]["value"] > 0.0]
        return max(more, key=lambda p: p[unit]["value"])["code"] if more else None

    @property
    def right(self) -> bool:
        """Whether the change is named, or an unusable meter."""
        if self.case.whole or not self.document["parts"]:
            return self.case.whole and not self.document["parts"]
        return self.named in (self.case.part, *self.case.parts)


def outcome(case: BillCase, seed: int) -> BillOutcome:
    """Simulate a case, ask why the bill is high, and set the answer against the truth."""
    spec = plant(seed, case.control)
    a, b = (run(case.base(spec, first), first) for first in (BEFORE, NOW))
    d, c = (run(case.change(case.base(spec, first), first), first) for first in (BEFORE, NOW))
    if case.base is _away:  # the absence itself is what changes
        d, c = run(spec, BEFORE), run(spec, NOW)
    text = a.site_toml.replace("electricity = 0.29", f"electricity = {PRICE}").replace(
        "standing_charge_per_day = 0.55", f"standing_charge_per_day = {STANDING}"
    )
    for day, price, standing in case.prices:
        text += (
            f"\n[[cost.price]]\nfrom = {day}\nelectricity = {price}\nstanding_charge_per_day = {standing}\n"
        )
    site = parse_site(text + case.site)
    spans = [
        span_of(site, without(readings, first, lost), first)
        for readings, first, lost in (
            (a.readings, BEFORE, case.lost[0]),
            (case.read(c.readings), NOW, case.lost[1]),
        )
    ]
    document = bill(site, spans[1], spans[0], "year")
    truth = _truth(case, (a, b, d, c))
    told = {p["code"]: (p["kwh"]["low"], p["kwh"]["high"]) for p in document["parts"]}
    if case.of_house and {"rooms", "house"} <= set(told):
        told["house"] = _together(document, "rooms", "house")
        del told["rooms"]
    held = {
        code: low - 1e-6 <= truth[code] <= high + 1e-6 for code, (low, high) in told.items() if code in truth
    }
    return BillOutcome(case, seed, document, truth, held)


def _together(document: dict[str, Any], *codes: str) -> tuple[float, float]:
    """Interval of the sum of parts."""
    mine = [p["kwh"] for p in document["parts"] if p["code"] in codes]
    value = sum(p["value"] for p in mine)
    below, above = (float(np.hypot.reduce([p[end] - p["value"] for p in mine])) for end in ("low", "high"))
    return value - below, value + above


def _truth(case: BillCase, runs: tuple[Simulated, ...]) -> dict[str, float]:
    """kWh by part from perfect meters: of both orders, the weather first and the change first, the mean
    (Shapley, 1953).

    runs : the home in the earlier weather and in the later, and the changed home in both
    """
    a, b, d, c = (x.truth.kwh for x in runs)
    natural = [_mechanisms(a, b), _mechanisms(d, c)]
    changed = [_mechanisms(b, c), _mechanisms(a, d)]
    part = dict.fromkeys(("rooms", "house", "rest", "tariff", "standing_charge", "meter", "weather"), 0.0)
    for name in ("hot_water", "cylinder_loss", "direct_heat", "standby", "efficiency", "heat"):
        part[name] = (changed[0][name] + changed[1][name]) / 2.0
        by_nature = (natural[0][name] + natural[1][name]) / 2.0
        # What weather and chance changed in heat and performance is the weather's; draws and rests are by
        # chance.
        part["weather" if name in ("efficiency", "heat") else name] += by_nature
    # What a cylinder loses warms the house.
    part["house" if case.of_house or case.part == "cylinder_loss" else "rooms"] += part.pop("heat")
    if case.lost != (0, 0):
        daily = [np.array([day["kwh"]["electricity"] for day in x.truth.days]) for x in (runs[0], runs[3])]
        gone = [float(day[30 : 30 + n].sum()) for day, n in zip(daily, case.lost, strict=True)]
        part["meter"] = gone[0] - gone[1]
    return part


def _mechanisms(a: dict[str, float], b: dict[str, float]) -> dict[str, float]:
    """The change of electricity from one run to another, by what happened in the plant; it adds up
    exactly."""
    heat_water = [x["heat_hot_water"] for x in (a, b)]
    unit_water = [x["elec_hot_water"] - x["immersion"] for x in (a, b)]
    unit_space = [x["elec_space"] + x["elec_defrost"] - x["backup"] for x in (a, b)]
    net = [x["heat_space"] - x["defrost_taken"] for x in (a, b)]
    k_water = (unit_water[0] / heat_water[0] + unit_water[1] / heat_water[1]) / 2.0
    k_space = (unit_space[0] / net[0] + unit_space[1] / net[1]) / 2.0
    lost = b["cylinder_loss"] + b["secondary_loss"] - a["cylinder_loss"] - a["secondary_loss"]
    immersion, backup = b["immersion"] - a["immersion"], b["backup"] - a["backup"]
    water = heat_water[1] - heat_water[0] + immersion  # heat into the cylinder from both
    out = {
        "cylinder_loss": lost * k_water,
        "hot_water": (water - lost) * k_water,
        "direct_heat": immersion * (1.0 - k_water) + backup * (1.0 - k_space),
        "heat": (net[1] - net[0] + backup) * k_space,
        "standby": b["controls"] + b["pump"] - a["controls"] - a["pump"],
    }
    out["efficiency"] = b["electricity"] - a["electricity"] - sum(out.values())
    return out
