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
from fieldfare.collector.simulated.design.spec import PlantSpec
from fieldfare.collector.simulated.plant import (
    Simulated,
    random_plant,
    simulate,
    with_fault,
)

DAYS = 75
BEFORE, NOW = date(2022, 12, 1), date(2023, 12, 1)
PRICE, STANDING = 0.30, 0.50

Change = Callable[[PlantSpec], PlantSpec]


@dataclass(frozen=True)
class BillCase:
    """change : of the plant, from B to C. price, standing : of now. lost_before, lost_now : days that
    nobody read, each side.

    part : the part that the change belongs to; None where nothing but the weather changed
    """

    name: str
    part: str | None
    change: Change = lambda spec: spec
    price: float = PRICE
    standing: float = STANDING
    lost: tuple[int, int] = (0, 0)
    control: str = "thermostat"


def _warmer(spec: PlantSpec) -> PlantSpec:
    control = spec.control
    return replace(spec, control=replace(control, targets_c=tuple(t + 1.8 for t in control.targets_c)))


def _more_water(spec: PlantSpec) -> PlantSpec:
    assert spec.hot_water is not None
    return replace(
        spec, hot_water=replace(spec.hot_water, litres_40_per_day=spec.hot_water.litres_40_per_day * 1.8)
    )


def _fault(code: str, cause: str | None, strength: str = "plain") -> Change:
    return lambda spec: with_fault(spec, code, cause, strength)


CASES = (
    BillCase("nothing but the weather", None),
    BillCase("rooms 1.8 K warmer", "rooms", _warmer),
    BillCase("four fifths more hot water", "hot_water", _more_water),
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
    BillCase("tariff and standing charge rose", "tariff", price=0.38, standing=0.62),
    BillCase("electricity meter not read for three weeks of the earlier winter", "meter", lost=(21, 0)),
    BillCase(
        "circulation pipe on all day",
        "cylinder_loss",
        _fault("high_standing_loss", "secondary_circulation", "gross"),
    ),
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

    case: str
    seed: int
    part: str | None
    document: dict[str, Any]
    truth: dict[str, float]
    held: dict[str, bool] = field(default_factory=dict)

    @property
    def named(self) -> str | None:
        """The part told as the largest of those that the weather and chance do not explain."""
        parts = [p for p in self.document["parts"] if p["code"] not in ("weather", "rest") and p["told"]]
        return max(parts, key=lambda p: p["money"]["value"])["code"] if parts else None


def outcome(case: BillCase, seed: int) -> BillOutcome:
    """Simulate a case, ask why the bill is high, and set the answer against the truth."""
    spec = plant(seed, case.control)
    a, b = run(spec, BEFORE), run(spec, NOW)
    changed = case.change(spec)
    d, c = run(changed, BEFORE), run(changed, NOW)
    text = a.site_toml.replace("electricity = 0.29", f"electricity = {PRICE}").replace(
        "standing_charge_per_day = 0.55", f"standing_charge_per_day = {STANDING}"
    )
    if (case.price, case.standing) != (PRICE, STANDING):
        text += (
            "\n[[cost.price]]\nfrom = 2023-06-01\nelectricity = "
            f"{case.price}\nstanding_charge_per_day = {case.standing}\n"
        )
    site = parse_site(text)
    spans = [
        span_of(site, without(x.readings, d, lost), d)
        for x, d, lost in ((a, BEFORE, case.lost[0]), (c, NOW, case.lost[1]))
    ]
    document = bill(site, spans[1], spans[0], "year")
    truth = _truth(case, (a, b, d, c))
    held = {
        p["code"]: p["kwh"]["low"] - 1e-6 <= truth[p["code"]] <= p["kwh"]["high"] + 1e-6
        for p in document["parts"]
        if p["code"] in truth
    }
    return BillOutcome(case.name, seed, case.part, document, truth, held)


def _truth(case: BillCase, runs: tuple[Simulated, ...]) -> dict[str, float]:
    """kWh by part from perfect meters: of both orders, the weather first and the change first, the mean
    (Shapley, 1953).

    runs : the home in the earlier weather and in the later, and the changed home in both
    """
    a, b, d, c = (x.truth.kwh for x in runs)
    natural = [_mechanisms(a, b), _mechanisms(d, c)]
    changed = [_mechanisms(b, c), _mechanisms(a, d)]
    part = dict.fromkeys(("rooms", "rest", "tariff", "standing_charge", "meter", "weather"), 0.0)
    for name in ("hot_water", "cylinder_loss", "direct_heat", "standby", "efficiency", "heat"):
        part[name] = (changed[0][name] + changed[1][name]) / 2.0
        by_nature = (natural[0][name] + natural[1][name]) / 2.0
        # What weather and chance changed in heat and performance is the weather's; draws and rests are by
        # chance.
        part["weather" if name in ("efficiency", "heat") else name] += by_nature
    part["rest" if case.part == "cylinder_loss" else "rooms"] += part.pop("heat")
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
