"""Entry points of the simulator: design a system, add meters, run it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from fieldfare.analysis.readings import Samples
from fieldfare.collector.simulated.design.schedule import SimulatedSpan, span_of
from fieldfare.collector.simulated.design.sizing import CLIMATES, design_plant, measured_climate
from fieldfare.collector.simulated.design.spec import Climate, ControlKind, PlantSpec
from fieldfare.collector.simulated.design.weather import day_means, snap
from fieldfare.collector.simulated.faults import sensing
from fieldfare.collector.simulated.faults.plant import with_fault, with_oddity
from fieldfare.collector.simulated.metering import meters
from fieldfare.collector.simulated.metering.meter_sets import SETS, meters_of
from fieldfare.collector.simulated.site import site_toml
from fieldfare.collector.simulated.step.engine import run_plant
from fieldfare.collector.simulated.truth import Truth, truth_of

__all__ = [
    "CLIMATES",
    "SETS",
    "PlantSpec",
    "Samples",
    "Simulated",
    "Truth",
    "measured_climate",
    "random_plant",
    "simulate",
    "with_fault",
    "with_meters",
    "with_oddity",
]


@dataclass(frozen=True)
class Simulated:
    """A system's site file, its readings by point id, and the truth."""

    spec: PlantSpec
    site_toml: str
    readings: dict[str, Samples]
    truth: Truth


def random_plant(
    seed: int,
    climate: str | Climate | None = None,
    meter_set: str | None = None,
    *,
    control: ControlKind | None = None,
    emitter: str | None = None,
    buffer: str | None = None,
    hot_water: bool | None = None,
    every_s: int | None = None,
    meter_errors: bool = True,
) -> PlantSpec:
    """A healthy system drawn from a seed.

    seed : int, decides everything that is not given
    climate : str (mild, continental, upland) or Climate, None draws one
    meter_set : str, one of SETS, None draws among common sets
    control : "thermostat" or "compensation"; emitter : radiator, underfloor, mixed, fan_coil; buffer : none,
        series, parallel; hot_water : bool; every_s : int [s] between readings; meter_errors : bool, False for
        perfect meters
    Returns PlantSpec. Raises ValueError for an unknown climate or meter set.
    """
    rng = np.random.default_rng([seed, 0])
    drawn = str(rng.choice(list(CLIMATES)))
    if isinstance(climate, Climate):
        place = climate
    else:
        name = climate or drawn
        if name not in CLIMATES:
            raise ValueError(f"climate must be one of {', '.join(CLIMATES)}, got {name!r}")
        place = CLIMATES[name]
    spec = design_plant(seed, place, control=control, emitter=emitter, buffer=buffer, hot_water=hot_water)
    chosen = meter_set or str(
        rng.choice(
            ["rich", "full", "no_room", "no_cylinder", "unsplit", "basic"],
            p=[0.4, 0.15, 0.12, 0.11, 0.11, 0.11],
        )
    )
    return with_meters(spec, chosen, every_s=every_s, errors=meter_errors)


def with_meters(
    spec: PlantSpec, meter_set: str, *, every_s: int | None = None, errors: bool = True
) -> PlantSpec:
    """Replace the meter set; see meter_sets.meters_of."""
    return replace(spec, meters=meters_of(spec, meter_set, every_s=every_s, errors=errors))


def simulate(spec: PlantSpec, start: date, days: int) -> Simulated:
    """Run a system over whole local days.

    spec : PlantSpec with meters; start : date, first local day; days : int
    Returns Simulated; the same spec, start and days give the same readings.
    """
    span = span_of(start, days, spec.climate.timezone)
    spec = _dated(spec, span)
    finest = min((m.every_s for m in spec.meters), default=60)
    trace = run_plant(spec, span, 60 if finest >= 60 else finest)
    readings = {m.id: meters.read(spec, trace, m, i) for i, m in enumerate(spec.meters)}
    readings = sensing.spoil(spec, trace, readings)
    readings = meters.lose(spec, trace, readings)
    return Simulated(spec, site_toml(spec), readings, truth_of(spec, trace))


def _dated(spec: PlantSpec, span: SimulatedSpan) -> PlantSpec:
    """Start a fault that needs frost on the coldest evening of the span's middle half."""
    if not any(f.code == "frost_risk" and f.start is None for f in spec.faults):
        return spec
    t, _, _ = day_means(spec.climate, spec.seed, span.first, span.days)
    t = snap(t, span.first, spec.oddities, spec.climate.design_c, span.first + timedelta(days=span.days // 2))
    lo, hi = span.days // 4, max(span.days // 4 + 1, 3 * span.days // 4)
    coldest = span.first + timedelta(days=lo + int(np.argmin(t[lo:hi])))
    faults = tuple(
        replace(f, start=coldest) if f.code == "frost_risk" and f.start is None else f for f in spec.faults
    )
    return replace(spec, faults=faults)
