"""A badly set simulated home, tuned week by week as the diary says, through one heating season."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts, join
from fieldfare.analysis.figures.period import Figures
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.result import Result
from fieldfare.analysis.tuning.diary import diary
from fieldfare.analysis.tuning.steps import TuningStep
from fieldfare.collector.simulated.design.spec import ControlKind, PlantSpec
from fieldfare.collector.simulated.plant import Simulated, random_plant, simulate
from tests.benchmarks.advice_simulators import PUMP_EXPONENT, Setting, changed

FIRST, SEASON_DAYS, LEARN_DAYS = date(2023, 10, 10), 200, 28
CURVE_HOT_K, SET_BACK_K, FLOW_SHARE = 8.0, 4.0, 1.5
SHORT_K = 0.5
"""A day counts as cold where a zone's mean from 8 to 22 h was so far under its target."""


def badly_set(spec: PlantSpec, curve_k: float = CURVE_HOT_K) -> PlantSpec:
    """A curve that is too hot, a set-back that is too deep, and the pump at full speed."""
    return changed(spec, Setting(lower=((0.0, -curve_k),), set_back_k=SET_BACK_K, flow_share=FLOW_SHARE))


def turned(spec: PlantSpec, step: TuningStep, outdoor: list[float] | None) -> PlantSpec:
    """The plant with a step made: by the difference for curve and pump, by the value for the rest."""
    control, pump, water = spec.control, spec.heat_pump, spec.hot_water
    if step.code == "heating_curve":
        assert outdoor is not None
        at = np.array([point[0] for point in control.curve])
        lower = np.interp(at, outdoor, np.array(step.before) - np.array(step.after))
        curve = tuple((o, f - float(k)) for (o, f), k in zip(control.curve, lower, strict=True))
        return replace(spec, control=replace(control, curve=curve))
    if step.code == "set_back":
        return replace(spec, control=replace(control, setback_k=step.after[0]))
    if step.code == "pump_speed":
        share = step.before[0] / step.after[0]
        return replace(
            spec,
            heat_pump=replace(
                pump, flow_m3_per_h=pump.flow_m3_per_h * share, pump_w=pump.pump_w * share**PUMP_EXPONENT
            ),
        )
    assert water is not None
    value = step.after[0]
    if step.code == "hot_water_setpoint":
        reheat = min(water.reheat_below_c, value - 1.0)
        return replace(spec, hot_water=replace(water, setpoint_c=value, reheat_below_c=reheat))
    return replace(spec, hot_water=replace(water, reheat_below_c=value))


@dataclass
class Stretch:
    """Days between two looks at the diary. electricity, untuned : a day's mean [kWh], tuned and left alone,
    in the same weather. cold_days : days on which a zone was cold; cold_untuned the same if left alone
    room_c : mean of the zones. did : the step made on its first day"""

    first: date
    days: int
    did: TuningStep | None
    outdoor_c: float
    electricity: float
    untuned: float
    cold_days: int
    cold_untuned: int
    room_c: float


@dataclass
class Tuned:
    """A season. ended : the day on which the diary said that it is done. last : the diary of the last look"""

    seed: int
    control: str
    spec: PlantSpec
    stretches: list[Stretch] = field(default_factory=list)
    log: list[TuningStep] = field(default_factory=list)
    ended: date | None = None
    last: dict[str, Any] = field(default_factory=dict)

    def saved_share(self) -> float:
        """Of the electricity after the last step: less than if left alone."""
        since = [s for s in self.stretches if self.log and s.first >= self.log[-1].day]
        used = sum(s.electricity * s.days for s in since)
        return 1.0 - used / sum(s.untuned * s.days for s in since) if since else 0.0


def tune(
    seed: int,
    control: ControlKind,
    *,
    curve_k: float = CURVE_HOT_K,
    days: int = SEASON_DAYS,
    learn: int = LEARN_DAYS,
    hot_water: bool = True,
    looks: tuple[int, ...] = (3, 3, 2),
    stop_when_done: bool = False,
) -> Tuned:
    """Learn for some weeks, then do what the diary says, one step at a time, until it is done."""
    good = random_plant(seed, meter_set="rich", hot_water=hot_water, control=control, emitter="radiator")
    spec = bad = badly_set(good, curve_k)
    alone = simulate(bad, FIRST, days)
    site = parse_site(alone.site_toml)
    told, parts, readings = Tuned(seed, control, bad), [], {}
    for first, length in _looks(days, learn, looks, told):
        run = simulate(spec, first, length)
        told.stretches.append(_stretch(spec, run, alone, first, length, told.log))
        readings = _spliced(readings, run.readings)
        last = first + timedelta(length - 1)
        parts.append(build_facts(site, _newest(readings, first), first, last))
        facts: Facts = join(parts)
        told.last = diary(site, facts, _document(site, facts, last), told.log)
        if told.last["state"] == "done":
            told.ended = told.ended or last
            if stop_when_done:
                break
        elif told.last["state"] == "change":
            told.ended = None
            asked = told.last["next"]
            step = TuningStep(last + timedelta(1), asked["code"], tuple(asked["now"]), tuple(asked["to"]))
            spec = turned(spec, step, asked["outdoor"])
            told.log.append(step)
    told.spec = spec
    return told


def _document(site: Site, facts: Facts, last: date) -> dict[str, Any]:
    """The result without findings, which the diary does not read."""
    return Result(site, FIRST, last, facts, Figures(site, facts)).as_dict()


def _looks(days: int, learn: int, looks: tuple[int, ...], told: Tuned) -> Iterator[tuple[date, int]]:
    """First day and length of each stretch: after a step those of `looks`, eight days in all, else a week."""
    first, end = FIRST, FIRST + timedelta(days)
    length = learn
    while first + timedelta(length) <= end:
        yield first, length
        first += timedelta(length)
        since = (first - told.log[-1].day).days if told.log else 8
        ends = [sum(looks[:n]) for n in range(len(looks))]
        length = looks[ends.index(since)] if since in ends else 7


def _stretch(
    spec: PlantSpec, run: Simulated, alone: Simulated, first: date, length: int, log: list[TuningStep]
) -> Stretch:
    did = log[-1] if log and log[-1].day == first else None
    days = {day["day"] for day in run.truth.days}
    untuned = [day for day in alone.truth.days if day["day"] in days]
    return Stretch(
        first,
        length,
        did,
        _mean(run.truth.days, "outdoor_c"),
        float(np.mean([day["kwh"]["electricity"] for day in run.truth.days])),
        float(np.mean([day["kwh"]["electricity"] for day in untuned])),
        len(_cold_days(spec, run)),
        len(_cold_days(spec, alone) & days),
        float(np.mean([day["room_c"][: len(spec.house.zones)] for day in run.truth.days])),
    )


def _mean(days: list[dict[str, Any]], key: str) -> float:
    return float(np.mean([day[key] for day in days]))


def _cold_days(spec: PlantSpec, run: Simulated) -> set[str]:
    """Days with a zone's true mean from 8 to 22 h (UTC is near enough) under its day target by SHORT_K."""
    seconds = run.truth.minutes["time"] // 1000
    day, hour = seconds // 86400, seconds % 86400 // 3600
    about = (hour >= 8) & (hour < 22)
    at = day[about] - day.min()
    cold = np.zeros(int(day.max() - day.min()) + 1, dtype=bool)
    for z, target in enumerate(spec.control.targets_c[: len(spec.house.zones)]):
        room = run.truth.minutes[f"room{z}"].astype(float)
        count = np.bincount(at, minlength=len(cold))
        mean = np.bincount(at, room[about], len(cold)) / np.maximum(count, 1)
        cold |= (count > 0) & (mean < target - SHORT_K)
    return {(date(1970, 1, 1) + timedelta(int(day.min()) + int(n))).isoformat() for n in np.flatnonzero(cold)}


def _spliced(before: dict[str, Samples], new: dict[str, Samples]) -> dict[str, Samples]:
    """Readings end to end; running totals go on where they were."""
    out = {}
    for name, samples in new.items():
        old = before.get(name)
        if old is None or not len(old.time):
            out[name] = samples
            continue
        value = samples.value
        if name.endswith("_kwh") and len(value):
            value = value - value[0] + old.value[-1]
        out[name] = Samples(np.concatenate([old.time, samples.time]), np.concatenate([old.value, value]))
    return out


def _newest(readings: dict[str, Samples], first: date) -> dict[str, Samples]:
    """The readings from two days before a day on."""
    start = (first - date(1970, 1, 1) - timedelta(2)).days * 86_400_000
    return {name: Samples(s.time[s.time >= start], s.value[s.time >= start]) for name, s in readings.items()}
