"""Properties that simulated homes do not have by themselves, and homes that have several of them.

Advice is drawn from few meters: what it says must hold, or be left open, for homes of another trade too.
Each trait stands for what is sold or found (common practice, no source); which ones a home has comes from its
seed.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import tomlkit

from fieldfare.collector.simulated.design.spec import BufferSpec, PlantSpec
from tests.benchmarks.advice_simulators import (
    Ran,
    Run,
    Setting,
    engine,
    home_c,
    own,
    own_spec,
    plants_a,
    plants_b,
    plants_c,
    ran_c,
    ran_own,
)

HAS = 0.25
"""Probability of each trait."""


def _one_speed(spec: PlantSpec) -> PlantSpec:
    return replace(spec, heat_pump=replace(spec.heat_pump, min_w=0.95 * spec.heat_pump.rated_w))


def _wide_thermostat(spec: PlantSpec) -> PlantSpec:
    """An on-off thermostat with a wide band, and water hot enough that it binds."""
    control = replace(spec.control, kind="thermostat", hysteresis_k=1.2)
    return _curve(replace(spec, control=control), 3.0)


def _curve(spec: PlantSpec, higher_k: float) -> PlantSpec:
    points = tuple((outdoor, flow + higher_k) for outdoor, flow in spec.control.curve)
    return replace(spec, control=replace(spec.control, curve=points))


def _emitters(spec: PlantSpec, larger: float) -> PlantSpec:
    each = tuple(
        replace(
            e,
            output_w=larger * e.output_w,
            litres=larger * e.litres,
            metal_kj_per_k=larger * e.metal_kj_per_k,
        )
        for e in spec.emitters
    )
    return replace(spec, emitters=each)


def _cold_runs(spec: PlantSpec) -> PlantSpec:
    """A thermostat ends the runs before the water is as hot as the curve asks."""
    control = replace(spec.control, kind="thermostat", hysteresis_k=0.4)
    return _curve(_emitters(replace(spec, control=control), 1.6), 5.0)


def _above_target(spec: PlantSpec) -> PlantSpec:
    """Rooms whose valves stand open above what is asked for."""
    targets = tuple(t - 1.5 for t in spec.control.targets_c)
    return replace(spec, control=replace(spec.control, kind="compensation", targets_c=targets))


def _sunny(spec: PlantSpec) -> PlantSpec:
    house = replace(spec.house, aperture_m2=2.0 * spec.house.aperture_m2, gains_w=1.6 * spec.house.gains_w)
    return replace(spec, house=house)


def _mixing_buffer(spec: PlantSpec) -> PlantSpec:
    flow = spec.heat_pump.flow_m3_per_h
    pump = replace(spec.heat_pump, pump_difference_k=0.0)
    buffer = BufferSpec(200.0, "parallel", round(1.3 * flow, 2), spec.heat_pump.pump_w)
    return replace(spec, heat_pump=pump, buffer=buffer)


def _deep_set_back(spec: PlantSpec) -> PlantSpec:
    return replace(spec, control=replace(spec.control, setback_k=5.0))


def _slow_floor(spec: PlantSpec) -> PlantSpec:
    each = tuple(replace(e, slab_kj_per_k=2.0 * e.slab_kj_per_k) for e in spec.emitters)
    return replace(spec, emitters=each)


def _small_unit(spec: PlantSpec) -> PlantSpec:
    """At the end of its output on the design day."""
    pump = spec.heat_pump
    return replace(spec, heat_pump=replace(pump, rated_w=0.78 * pump.rated_w, min_w=0.78 * pump.min_w))


def _large_unit(spec: PlantSpec) -> PlantSpec:
    pump = spec.heat_pump
    large = replace(
        pump,
        rated_w=1.7 * pump.rated_w,
        min_w=1.7 * pump.min_w,
        fan_w=1.5 * pump.fan_w,
        flow_m3_per_h=1.5 * pump.flow_m3_per_h,
    )
    return replace(spec, heat_pump=large)


def _pump_follows(spec: PlantSpec) -> PlantSpec:
    if spec.buffer is not None and spec.buffer.arrangement == "parallel":
        return spec
    return replace(spec, heat_pump=replace(spec.heat_pump, pump_difference_k=5.0))


def _light(spec: PlantSpec) -> PlantSpec:
    return replace(spec, house=replace(spec.house, fabric_kj_per_k=0.4 * spec.house.fabric_kj_per_k))


def _heavy(spec: PlantSpec) -> PlantSpec:
    return replace(spec, house=replace(spec.house, fabric_kj_per_k=2.0 * spec.house.fabric_kj_per_k))


OWN: Mapping[str, Any] = {
    "one speed": _one_speed,
    "wide thermostat": _wide_thermostat,
    "cold runs": _cold_runs,
    "large emitters": lambda spec: _emitters(spec, 1.7),
    "above target": _above_target,
    "sunny": _sunny,
    "mixing buffer": _mixing_buffer,
    "deep set-back": _deep_set_back,
    "slow floor": _slow_floor,
    "small unit": _small_unit,
    "large unit": _large_unit,
    "pump follows": _pump_follows,
    "light": _light,
    "heavy": _heavy,
}
"""Of the project's simulator."""


def _c_emitters(spec: dict[str, float], larger: float) -> None:
    for z in ("0", "1"):
        spec["c_em" + z] *= larger
        if spec["kind" + z] == 0.0:
            spec["out" + z] *= larger


def _c_curve(spec: dict[str, float], higher_k: float) -> None:
    spec["f_cold"] += higher_k
    spec["f_warm"] += higher_k


def _c_cold_runs(spec: dict[str, float]) -> None:
    spec["control"] = 2.0
    _c_emitters(spec, 1.6)
    _c_curve(spec, 5.0)


def _c_binding(spec: dict[str, float]) -> None:
    spec["control"] = 2.0
    _c_curve(spec, 3.0)


def _c_above(spec: dict[str, float]) -> None:
    for z in ("0", "1"):
        spec["room_set" + z] -= 1.5


def _c_sunny(spec: dict[str, float]) -> None:
    for name in ("glass0", "glass1"):
        spec[name] *= 2.0
    spec["gain_w"] *= 1.6


def _c_buffer(spec: dict[str, float]) -> None:
    spec.update(parallel=1.0, flow2=1.3 * spec["flow"], pump2_w=20.0, pump_mod=0.0, pump_rest=1.0)
    spec["c_sup"] = spec["c_ret"] = max(4e5, 75.0 * spec["flow"])


def _c_unit(spec: dict[str, float], larger: float) -> None:
    for name in ("q_nom", "frost_full", "air_kg_s"):
        spec[name] *= larger


def _c_mass(spec: dict[str, float], heavier: float) -> None:
    for z in ("0", "1"):
        spec["c_mass" + z] *= heavier


C: Mapping[str, Any] = {
    "one speed": lambda spec: spec.update(min_share=0.8),
    "binding thermostat": _c_binding,
    "cold runs": _c_cold_runs,
    "large emitters": lambda spec: _c_emitters(spec, 1.7),
    "above target": _c_above,
    "sunny": _c_sunny,
    "mixing buffer": _c_buffer,
    "strong room influence": lambda spec: spec.update(control=3.0, room_gain=5.0),
    "deep set-back": lambda spec: spec.update(setback_k=4.0),
    "small unit": lambda spec: _c_unit(spec, 0.75),
    "large unit": lambda spec: _c_unit(spec, 1.7),
    "best at part load": lambda spec: spec.update(pl_gain=0.35, pl_knee=0.2),
    "worst at part load": lambda spec: spec.update(pl_gain=0.0, pl_knee=0.6),
    "pump follows": lambda spec: spec.update(pump_mod=1.0 - spec["parallel"]),
    "light": lambda spec: _c_mass(spec, 0.4),
    "heavy": lambda spec: _c_mass(spec, 2.0),
}
"""Of the third independent simulator."""

SITE = ("one rating point", "no least output", "no emitters")
"""What a site file may lack."""


def traits_of(seed: int, names: Mapping[str, Any]) -> tuple[str, ...]:
    """The traits of a home: at least one, drawn from its seed."""
    rng = np.random.default_rng([seed, 2101])
    drawn = [name for name in (*names, *SITE) if rng.random() < HAS]
    return tuple(drawn) or (str(rng.choice(list(names))),)


def told_traits(simulator: str, seed: int) -> tuple[str, ...]:
    """The traits of a simulator's home, to be printed; none of homes that have none."""
    names = {"own-strange": OWN, "c-strange": C}.get(simulator)
    return traits_of(seed, names) if names is not None else ()


def with_gaps(text: str, traits: tuple[str, ...]) -> str:
    """A site file without what the traits say it lacks."""
    document = tomlkit.parse(text).unwrap()
    pump = document["heat_pump"]
    if "one rating point" in traits:
        pump["rating"] = pump["rating"][:1]
    if "no least output" in traits:
        pump.pop("min_output_kw", None)
    if "no emitters" in traits:
        document.pop("emitter", None)
    return tomlkit.dumps(document)


@lru_cache(maxsize=2)
def _own_spec(seed: int, control: str) -> PlantSpec:
    spec = own_spec(seed, control)
    for name in traits_of(seed, OWN):
        spec = OWN[name](spec) if name in OWN else spec
    return spec


def strange_own(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """Homes of the project's simulator with traits; a trait may set another kind of control."""
    traits = traits_of(seed, OWN)
    return ran_own(_own_spec(seed, control), settings, lambda text: with_gaps(text, traits))


@lru_cache(maxsize=2)
def _home_c(seed: int) -> Any:
    home = copy.deepcopy(home_c(seed))
    for name in traits_of(seed, C):
        if name in C:
            C[name](home.spec)
    return home


def strange_c(seed: int, control: str, settings: tuple[Setting, ...]) -> Ran:
    """Homes of the third independent simulator with traits."""
    traits = traits_of(seed, C)
    return ran_c(seed, _home_c(seed), settings, lambda text: with_gaps(text, traits))


SIMULATORS: dict[str, Run] = {
    "own": own,
    "a": plants_a,
    "b": plants_b,
    "c": plants_c,
    "engine": engine,
    "own-strange": strange_own,
    "c-strange": strange_c,
}
_ALL = frozenset({"curve", "set_back", "rooms", "pump", "water", "heater", "hour", "zones"})
SETS: dict[str, frozenset[str]] = {
    "own": _ALL,
    "a": frozenset({"curve", "set_back", "rooms", "water"}),
    "b": frozenset({"curve", "set_back", "rooms", "water"}),
    "c": _ALL,
    "engine": frozenset({"curve", "set_back", "rooms"}),
    "own-strange": _ALL,
    "c-strange": _ALL,
}
"""What can be changed at each one's homes."""
