"""Simulated homes with a known cause of cold rooms, no hot water, noise or ice, and what the answer names."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from fieldfare.analysis.answers.complaint import complaint
from fieldfare.analysis.answers.hours import Question, hours_of
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import MS_PER_MINUTE, Readings, Samples
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.design.spec import Fault, PlantSpec
from fieldfare.collector.simulated.faults.effects import HABITS
from fieldfare.collector.simulated.plant import random_plant, simulate, with_fault, with_oddity

FIRST, DAYS, NAMED = date(2024, 1, 3), 42, 7
LAST = FIRST + timedelta(DAYS - 1)
SINCE = LAST - timedelta(NAMED - 1)

Change = Callable[[PlantSpec], PlantSpec]


@dataclass(frozen=True)
class Complaint:
    """change : of a healthy plant. cause : the code that must bind. asked : what the caller said. causes :
    others that are true too. read : what is done to the readings. site : what is done to the site file"""

    name: str
    kind: str
    cause: str
    change: Change
    asked: Question = field(default_factory=Question)
    control: str = "thermostat"
    emitter: str | None = "radiator"
    climate: str = "continental"
    causes: tuple[str, ...] = ()
    read: Callable[[Readings], Readings] = lambda readings: readings
    site: Callable[[str], str] = lambda text: text

    def right(self, told: dict[str, Any]) -> bool:
        return told["binding"] in (self.cause, *self.causes)


def _fault(code: str, cause: str | None, strength: str = "gross", *, recent: bool = False) -> Change:
    def act(spec: PlantSpec) -> PlantSpec:
        if (code, cause) in HABITS:
            return replace(spec, faults=(*spec.faults, Fault(code, cause, 2.0 / 3.0, SINCE)))
        return with_fault(spec, code, cause, strength, SINCE if recent else None)

    return act


def _control(**change: Any) -> Change:
    return lambda spec: replace(spec, control=replace(spec.control, **change))


def _hot_water(**change: Any) -> Change:
    def act(spec: PlantSpec) -> PlantSpec:
        assert spec.hot_water is not None
        made = {k: v(spec.hot_water) if callable(v) else v for k, v in change.items()}
        return replace(spec, hot_water=replace(spec.hot_water, **made))

    return act


def _both(*changes: Change) -> Change:
    def act(spec: PlantSpec) -> PlantSpec:
        for change in changes:
            spec = change(spec)
        return spec

    return act


def _small_emitters(spec: PlantSpec) -> PlantSpec:
    return replace(spec, emitters=tuple(replace(e, output_w=0.55 * e.output_w) for e in spec.emitters))


def _leaky(spec: PlantSpec) -> PlantSpec:
    return replace(spec, house=replace(spec.house, htc_w_per_k=1.55 * spec.house.htc_w_per_k))


def _lower_targets(spec: PlantSpec) -> PlantSpec:
    return _control(targets_c=tuple(t - 3.0 for t in spec.control.targets_c))(spec)


def _silent(readings: Readings) -> Readings:
    """A thermostat whose battery is dead: its call and its set temperature are no longer read."""
    begin = int(np.datetime64(SINCE, "ms").astype(np.int64))
    return {
        point: Samples(s.time[s.time < begin], s.value[s.time < begin])
        if point.startswith(("call", "target_room"))
        else s
        for point, s in readings.items()
    }


def _nominal(share: float) -> Callable[[str], str]:
    """A pump that gives so much of the flow that the site file names."""

    def act(text: str) -> str:
        return re.sub(
            r"(?m)^flow_m3_per_h = ([\d.]+)", lambda m: f"flow_m3_per_h = {float(m[1]) / share:.3f}", text
        )

    return act


def _back_home(spec: PlantSpec) -> PlantSpec:
    """A fortnight away, back the day before yesterday."""
    return with_oddity(spec, "away", LAST - timedelta(16))


_NIGHT = Question(from_hour=22, to_hour=6)
_MORNING = Question(from_hour=5, to_hour=9)
COMPLAINTS = (
    Complaint("target turned down", "cold", "target", _lower_targets),
    Complaint(
        "set-back too deep",
        "cold",
        "set_back",
        _control(setback_k=4.5, setback_from_h=21.0, setback_to_h=6.0),
        _MORNING,
    ),
    Complaint("no power at the unit", "cold", "stopped", _fault("frost_risk", "power_loss", recent=True)),
    Complaint(
        "heating switched off at the controls", "cold", "thermostat", _fault("household", "heating_off")
    ),
    Complaint(
        "valve of a zone does not open", "cold", "valve", _fault("room_below_target", "zone_not_opening")
    ),
    Complaint(
        "curve too low",
        "cold",
        "flow_temperature",
        _fault("room_below_target", "curve_too_low"),
        control="compensation",
    ),
    Complaint("emitters too small", "cold", "emitters", _small_emitters),
    Complaint("strainer blocked", "cold", "water_flow", _fault("low_flow", "strainer_or_air")),
    Complaint("unit too small", "cold", "output", _fault("capacity_short", None)),
    Complaint("house loses half as much again", "cold", "house_loss", _leaky),
    Complaint(
        "windows open in the morning",
        "cold",
        "windows",
        _fault("household", "windows_open"),
        Question(from_hour=6, to_hour=10),
    ),
    Complaint(
        "reheat only at night",
        "hot-water",
        "schedule",
        _hot_water(windows=((2.0, 4.0),), litres_40_per_day=lambda h: 1.5 * h.litres_40_per_day),
    ),
    Complaint(
        "setpoint turned down", "hot-water", "setpoint", _hot_water(setpoint_c=42.0, reheat_below_c=36.0)
    ),
    Complaint(
        "setpoint not reached",
        "hot-water",
        "setpoint_missed",
        _fault("reheat_incomplete", "setpoint_above_reach"),
    ),
    Complaint("circulation pipe", "hot-water", "loss", _fault("high_standing_loss", "secondary_circulation")),
    Complaint("insulation wet", "hot-water", "loss", _fault("high_standing_loss", "insulation")),
    Complaint("coil scaled up", "hot-water", "slow", _fault("hot_water_shortfall", "reheat_slow")),
    Complaint("little flow through the coil", "hot-water", "slow", _fault("slow_reheat", "flow_low")),
    Complaint("guests for a week", "hot-water", "drawn_more", _fault("household", "more_drawn")),
    Complaint("cylinder too small", "hot-water", "small", _fault("hot_water_shortfall", "cylinder_small")),
    Complaint(
        "no power at the unit", "hot-water", "stopped", _fault("frost_risk", "power_loss", recent=True)
    ),
    Complaint(
        "defrosts all night",
        "noise",
        "defrosts",
        _fault("excessive_defrost", "coil_airflow"),
        Question(from_hour=22, to_hour=6),
    ),
    Complaint(
        "short runs",
        "noise",
        "short_runs",
        _fault("short_cycling", "thermostat_chopping"),
        Question(from_hour=22, to_hour=6),
        climate="mild",
    ),
    Complaint("coil without air", "ice", "too_often", _fault("excessive_defrost", "coil_airflow")),
    Complaint(
        "defrosts lack heat", "ice", "incomplete", _fault("excessive_defrost", "insufficient_defrost_heat")
    ),
    Complaint("healthy unit in frost", "ice", "usual_rime", lambda spec: spec),
    Complaint(
        "battery of the thermostat dead",
        "cold",
        "thermostat",
        _fault("household", "heating_off"),
        causes=("stopped",),
        read=_silent,
    ),
    Complaint(
        "curve lowered by the household",
        "cold",
        "flow_temperature",
        _fault("room_below_target", "curve_too_low", recent=True),
        control="compensation",
    ),
    Complaint(
        "valve of a zone stuck this week",
        "cold",
        "valve",
        _fault("room_below_target", "zone_not_opening", recent=True),
    ),
    Complaint("back from a fortnight away", "cold", "set_back", _back_home, causes=("target",)),
    Complaint("nothing wrong with the rooms", "cold", "as_set", _control(setback_k=0.0)),
    Complaint(
        "nothing wrong with the cylinder",
        "hot-water",
        "not_cold",
        _hot_water(litres_40_per_day=lambda h: 0.4 * h.litres_40_per_day),
    ),
    Complaint("pump turned up", "noise", "water_noise", _control(setback_k=0.0), _NIGHT, site=_nominal(1.5)),
    Complaint(
        "cylinder charged by night alone",
        "noise",
        "hot_water_at_night",
        _both(
            _hot_water(windows=((1.0, 5.0),), litres_40_per_day=lambda h: 2.0 * h.litres_40_per_day),
            _control(setback_k=4.0, setback_from_h=22.0, setback_to_h=6.0),
        ),
        Question(from_hour=1, to_hour=5),
    ),
    Complaint("pressure low", "noise", "air", _fault("pressure_low", None), _NIGHT),
    Complaint("unit at its end", "noise", "high_speed", _fault("capacity_short", None), _NIGHT),
    Complaint(
        "healthy unit by night", "noise", "quiet", _control(setback_k=0.0), _NIGHT, causes=("defrosts",)
    ),
    Complaint(
        "unit far too large",
        "noise",
        "short_runs",
        _fault("short_cycling", "oversized_for_mild_load"),
        _NIGHT,
        control="compensation",
    ),
    Complaint("coil too cold", "ice", "too_often", _fault("excessive_defrost", "low_refrigerant_symptom")),
    Complaint("coil sensor slipped", "ice", "too_often", _fault("defrost_without_frost", "sensor_fault")),
)


def thinned(samples: Samples, every_min: int) -> Samples:
    """Only the first reading of each span of `every_min` minutes."""
    span = samples.time // (every_min * MS_PER_MINUTE)
    first = np.concatenate([[True], span[1:] != span[:-1]]) if len(span) else np.zeros(0, dtype=bool)
    return Samples(samples.time[first], samples.value[first])


def answer_of(case: Complaint, seed: int, every_min: int = 1) -> dict[str, Any]:
    """Simulate a complaint and answer it from the readings of its week,
    `every_min` minutes apart at least."""
    spec = random_plant(
        seed,
        climate=case.climate,
        meter_set="full",
        hot_water=True,
        control=case.control,
        emitter=case.emitter,  # type: ignore[arg-type]
    )
    made = simulate(case.change(spec), FIRST, DAYS)
    site = parse_site(case.site(made.site_toml))
    readings = {p: thinned(s, every_min) for p, s in case.read(made.readings).items()}
    facts = build_facts(site, readings, FIRST, LAST)
    result = analyse(site, facts, FIRST, LAST).as_dict()
    hours = hours_of(
        site,
        readings,
        facts.between(SINCE, LAST),
        facts.between(FIRST, SINCE - timedelta(1)),
        result,
        case.asked,
        SINCE,
        LAST,
    )
    return complaint(case.kind, hours)
