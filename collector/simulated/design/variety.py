"""Healthy plants as wide as the trade builds them: climates, coils, defrost strategies, pumps, controls,
margins.

`sizing.design_plant` draws plants of one school. `varied` moves each property that it fixes within what is
sold and installed, so that findings are judged against all of them. Ranges are common practice unless said.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.collector.simulated.design.sizing import UNITS_W
from fieldfare.collector.simulated.design.spec import (
    Climate,
    Control,
    HeatPumpSpec,
    PlantSpec,
)
from fieldfare.collector.simulated.faults.plant import BUILT_IN
from fieldfare.collector.simulated.step.machine import steady

_DEFROSTS = ("excessive_defrost", "defrost_without_frost")


def varied(spec: PlantSpec, code: str | None = None) -> PlantSpec:
    """The plant with the properties that its design fixes redrawn at random.

    spec : PlantSpec, healthy. code : str, the fault that it will be given: properties that would hide it stay
    Returns PlantSpec. The same spec and code give the same plant.
    """
    rng = np.random.default_rng([spec.seed, 71])
    climate = _climate(rng, spec.climate)
    pump = _unit(rng, spec, timed=code not in _DEFROSTS and bool(rng.random() < 0.15))
    control = _control(rng, spec.control)
    if any(known == code for known, _ in BUILT_IN) and code == "short_cycling":
        control = replace(spec.control, setback_k=control.setback_k)
    return replace(spec, climate=climate, heat_pump=pump, control=control)


def _climate(rng: np.random.Generator, climate: Climate) -> Climate:
    """From dry inland winters (70 % relative humidity) to sea fog (97 %); cloudier or clearer, calmer or
    wilder."""
    return replace(
        climate,
        dew_depression_k=float(rng.uniform(0.5, 4.0)),
        clearness=float(np.clip(climate.clearness + rng.uniform(-0.08, 0.08), 0.2, 0.7)),
        day_noise_k=climate.day_noise_k * float(rng.uniform(0.8, 1.2)),
        january_c=climate.january_c + float(rng.uniform(-1.0, 1.5)),
        july_c=climate.july_c + float(rng.uniform(-1.5, 1.5)),
    )


def _unit(rng: np.random.Generator, spec: PlantSpec, *, timed: bool) -> HeatPumpSpec:
    hp = replace(
        spec.heat_pump,
        air_approach_k=float(rng.uniform(6.0, 11.0)),
        coat_kg_per_kw=float(rng.uniform(0.10, 0.26)),
        defrost_trigger=float(rng.uniform(0.55, 0.72)),
        defrost_gap_s=float(rng.uniform(1800.0, 3000.0)),
        defrost_end_c=float(rng.uniform(6.0, 15.0)),
        cold_slope=float(rng.uniform(0.010, 0.020)),
        crankcase_w=spec.heat_pump.crankcase_w * float(rng.uniform(0.3, 1.4)),
        controls_w=float(rng.uniform(6.0, 22.0)),
    )
    if timed:
        hp = replace(
            hp,
            defrost_timed=True,
            defrost_gap_s=float(rng.uniform(2700.0, 4200.0)),
            coat_kg_per_kw=float(rng.uniform(0.22, 0.30)),
        )
    separated = spec.buffer is not None and spec.buffer.arrangement == "parallel"
    if rng.random() < 0.4 and not separated:  # with one pump fixed and one modulating a separator mixes
        difference = spec.heat_pump.rated_w / 1000.0 / 1.155 / hp.flow_m3_per_h
        hp = replace(
            hp,
            pump_difference_k=float(rng.uniform(0.8, 1.0)) * min(difference, 8.0),
            pump_least=float(rng.uniform(0.25, 0.5)),
        )
    least = float(np.clip(rng.normal(0.32, 0.06), 0.2, 0.42)) * hp.rated_w
    return _sized(rng, replace(hp, min_w=round(least, -2)), spec)


def _sized(rng: np.random.Generator, hp: HeatPumpSpec, spec: PlantSpec) -> HeatPumpSpec:
    """The catalogue's next unit where the coil and compressor drawn no longer carry the design load."""
    design, climate = spec.design, spec.climate
    load = spec.house.htc_w_per_k * (design.indoor_c - climate.design_c)
    for rated in (hp.rated_w, *(w for w in UNITS_W if w > hp.rated_w)):
        k = rated / hp.rated_w
        bigger = replace(
            hp,
            rated_w=rated,
            min_w=round(hp.min_w * k, -2),
            fan_w=25.0 + 5.0 * rated / 1000.0,
            flow_m3_per_h=round(hp.flow_m3_per_h * k, 2),
        )
        if 0.90 * steady(bigger, climate.design_c, spec.control.curve[0][1])[0] >= load:
            return bigger
    return bigger


def _control(rng: np.random.Generator, control: Control) -> Control:
    """Switching differences of 4 to 8 K, rests of 5 to 15 minutes, set-backs with either control."""
    setback = control.setback_k
    if control.kind == "thermostat" and setback == 0.0 and rng.random() < 0.3:
        setback = float(rng.choice([2.0, 3.0, 4.0]))
    return replace(
        control,
        stop_above_k=control.stop_above_k * float(rng.uniform(0.8, 1.4)),
        start_below_k=control.start_below_k * float(rng.uniform(0.8, 1.5)),
        min_off_s=float(rng.uniform(360.0, 900.0)),
        setback_k=setback,
        setback_from_h=float(rng.choice([21.0, 22.0, 23.0])),
        setback_to_h=float(rng.choice([4.0, 5.0, 6.0])),
    )
