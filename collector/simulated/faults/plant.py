"""Inject faults: each finding's cause as a physical change in the system or in a meter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import numpy as np

from fieldfare.collector.simulated.design.spec import (
    BufferSpec,
    EmitterSpec,
    Fault,
    Oddity,
    PlantSpec,
)
from fieldfare.collector.simulated.faults.effects import EFFECTS, LEVELS, load_share
from fieldfare.collector.simulated.faults.sensing import SENSING_FAULTS
from fieldfare.collector.simulated.metering.meter_sets import HEAT_QUANTITIES


def _v(level: float, healthy: float, faint: float, plain: float, gross: float) -> float:
    """Value at a level, between the three named strengths."""
    return float(np.interp(level, [0.0, 1 / 3, 2 / 3, 1.0], [healthy, faint, plain, gross]))


def _hp(spec: PlantSpec, **change: Any) -> PlantSpec:
    return replace(spec, heat_pump=replace(spec.heat_pump, **change))


def _hw(spec: PlantSpec, **change: Any) -> PlantSpec:
    if spec.hot_water is None:
        raise ValueError(f"{spec.id} makes no hot water")
    return replace(spec, hot_water=replace(spec.hot_water, **change))


def _oversized(spec: PlantSpec, level: float) -> PlantSpec:
    """A unit 1.25, 1.6 or 2.4 times too large with a high minimum output, on radiators with little water."""
    k = _v(level, 1.0, 1.25, 1.6, 2.4)
    hp = spec.heat_pump
    low = _v(level, hp.min_w / hp.rated_w, 0.33, 0.40, 0.48)
    bigger = _hp(
        spec,
        rated_w=hp.rated_w * k,
        min_w=hp.rated_w * k * low,
        fan_w=hp.fan_w * k**0.7,
        crankcase_w=hp.crankcase_w * k**0.5,
    )
    return replace(bigger, buffer=None, emitters=_litres(spec, _v(level, 1.0, 0.95, 0.8, 0.6)))


def _litres(spec: PlantSpec, factor: float) -> tuple[EmitterSpec, ...]:
    """Scale the water and metal of the emitters."""
    return tuple(
        replace(e, litres=e.litres * factor, metal_kj_per_k=e.metal_kj_per_k * factor) for e in spec.emitters
    )


def _little_water(spec: PlantSpec, level: float) -> PlantSpec:
    """No buffer and microbore pipes or fan coils: a half, a quarter or a seventh of the water."""
    control = replace(
        spec.control, stop_above_k=_v(level, 4.0, 3.5, 3.0, 3.0), min_off_s=_v(level, 600, 420, 300, 180)
    )
    coarse = _coarse(spec, _v(level, 0.27, 0.30, 0.36, 0.42))
    return replace(
        coarse, buffer=None, control=control, emitters=_litres(spec, _v(level, 1.0, 0.45, 0.2, 0.1))
    )


def _coarse(spec: PlantSpec, low: float) -> PlantSpec:
    """A unit that cannot modulate below a share of its full output."""
    hp = spec.heat_pump
    return _hp(spec, min_w=round(max(hp.min_w, low * hp.rated_w), -2))


def _restricted(spec: PlantSpec, level: float) -> PlantSpec:
    """A unit with a high minimum output and no buffer, fit for the nominal flow but not for less."""
    control = replace(spec.control, stop_above_k=4.0, min_off_s=300.0)
    return replace(_coarse(spec, _v(level, 0.27, 0.33, 0.38, 0.40)), buffer=None, control=control)


def _separator(spec: PlantSpec, level: float) -> PlantSpec:
    """The same system behind a parallel buffer whose secondary pump runs too fast."""
    hp = spec.heat_pump
    return replace(spec, buffer=BufferSpec(100.0, "parallel", round(0.9 * hp.flow_m3_per_h, 2), hp.pump_w))


def _with_backup(spec: PlantSpec, level: float) -> PlantSpec:
    from fieldfare.collector.simulated.design.spec import Backup

    if spec.backup is not None:
        return spec
    bivalent = spec.climate.design_c + 1.0
    return replace(
        spec, backup=Backup(6000.0, bivalent, 10.0), design=replace(spec.design, bivalent_c=bivalent)
    )


def _unit_of(faint: float, plain: float, gross: float, spec: PlantSpec, level: float) -> PlantSpec:
    """A unit sized to a share of the load on the design day, without back-up heater."""
    k = min(1.0, _v(level, 1.2, faint, plain, gross) * load_share(spec))
    hp, buffer = spec.heat_pump, spec.buffer
    return replace(
        _hp(
            spec,
            rated_w=hp.rated_w * k,
            min_w=hp.min_w * k,
            flow_m3_per_h=round(hp.flow_m3_per_h * k, 2),
        ),
        buffer=buffer
        and replace(buffer, secondary_flow_m3_per_h=round(buffer.secondary_flow_m3_per_h * k, 2)),
        backup=None,
        design=replace(spec.design, bivalent_c=None),
    )


def _two_zones(spec: PlantSpec, level: float) -> PlantSpec:
    """Give the upper storey its own valve, so that it can fail to open."""
    if len(spec.house.zones) == 2:
        return spec
    e = spec.emitters[0]
    shares = (0.55, 0.45)
    house = replace(spec.house, zones=("ground", "upper"), zone_shares=shares)
    emitters = tuple(
        replace(
            e,
            zone=z,
            output_w=e.output_w * s,
            litres=e.litres * s,
            metal_kj_per_k=e.metal_kj_per_k * s,
            slab_kj_per_k=e.slab_kj_per_k * s,
            slab_area_m2=e.slab_area_m2 * s,
        )
        for z, s in zip(house.zones, shares, strict=True)
    )
    control = replace(spec.control, targets_c=(spec.control.targets_c[0], spec.control.targets_c[0] - 1.0))
    out = replace(spec, house=house, emitters=emitters, control=control)
    meters = []
    for m in spec.meters:
        if m.zone and m.zone == spec.house.zones[0]:
            meters.append(replace(m, id=f"{m.id}_ground", zone="ground"))
            meters.append(replace(m, id=f"{m.id}_upper", zone="upper"))
        else:
            meters.append(m)
    return replace(out, meters=tuple(meters))


def _design_number(spec: PlantSpec, factor: float) -> PlantSpec:
    """A healthy system whose design heat loss was calculated wrongly."""
    design = replace(
        spec.design,
        heat_loss_w=round(spec.design.heat_loss_w / factor, -1),
        space_kwh=round(spec.design.space_kwh / factor, -2),
    )
    return replace(spec, design=design)


def _beyond_reach(spec: PlantSpec, level: float, helped: bool) -> PlantSpec:
    """A unit that makes 57 C water, with a cylinder set-point above its reach."""
    hp = _hp(spec, max_flow_c=57.0, hot_water_reach_c=50.0, refrigerant="R410A")
    if helped:
        setpoint = _v(level, 49.0, 52.0, 55.0, 60.0)
    else:
        setpoint = _v(level, 49.0, 55.0, 57.5, 62.0)
    return _hw(
        hp,
        setpoint_c=setpoint,
        reheat_below_c=setpoint - _v(level, 8.0, 8.0, 7.0, 6.0),
        immersion_completes=helped,
        pasteurise_c=spec.hot_water.pasteurise_c if helped and spec.hot_water else None,
        windows=(),
        limit_min=75.0,
    )


def _window(spec: PlantSpec, level: float) -> PlantSpec:
    """Reheats allowed only at night (faint: and after lunch), while the family bathes morning and evening."""
    hw = spec.hot_water
    assert hw is not None
    windows: tuple[tuple[float, float], ...] = ((2.0, 2.0 + _v(level, 6.0, 4.0, 3.0, 1.0)),)
    if level < 0.5:
        windows = (*windows, (13.0, 15.0))
    return _hw(
        spec, windows=windows, litres_40_per_day=hw.litres_40_per_day * _v(level, 1.0, 1.15, 1.25, 1.5)
    )


def _small_cylinder(spec: PlantSpec, level: float) -> PlantSpec:
    hw = spec.hot_water
    assert hw is not None
    k = _v(level, 1.0, 0.7, 0.45, 0.3)
    return _hw(
        spec,
        litres=hw.litres * k,
        coil_w_per_k=hw.coil_w_per_k * k**0.5,
        litres_40_per_day=hw.litres_40_per_day * _v(level, 1.0, 1.2, 1.4, 1.6),
    )


def _antifreeze(spec: PlantSpec, level: float) -> PlantSpec:
    """Propylene glycol in the circuit and a heat meter set for water: 20, 30, 40 % by mass."""
    percent = _v(level, 0.0, 15.0, 30.0, 40.0)
    meters = tuple(
        replace(m, antifreeze_corrected=False) if m.quantity in HEAT_QUANTITIES else m for m in spec.meters
    )
    return replace(_hp(spec, antifreeze="propylene_glycol", antifreeze_percent=round(percent)), meters=meters)


def _heat_meter(spec: PlantSpec, factor: float) -> PlantSpec:
    """The heat meter counts wrong (pulse value, sensor pocket); separate flow and temperatures are right."""
    meters = tuple(
        replace(m, gain=m.gain * factor) if m.quantity in HEAT_QUANTITIES else m for m in spec.meters
    )
    return replace(spec, meters=meters)


def _thermostat(spec: PlantSpec, level: float) -> PlantSpec:
    """Add a room thermostat as the cause of cycling."""
    control = replace(
        spec.control,
        kind="thermostat",
        hysteresis_k=0.5,
        setback_k=0.0,
        min_off_s=_v(level, 600, 600, 420, 240),
        min_run_s=_v(level, 240, 240, 180, 120),
    )
    return replace(spec, control=control)


BUILT_IN: dict[tuple[str, str | None], Callable[[PlantSpec, float], PlantSpec]] = {
    ("short_cycling", "oversized_for_mild_load"): _oversized,
    ("short_cycling", "low_water_volume"): _little_water,
    ("short_cycling", "thermostat_chopping"): _thermostat,
    ("short_cycling", "flow_restriction"): _restricted,
    ("buffer_mixing", "secondary_flow_exceeds_primary"): _separator,
    ("backup_heater_use", "bivalent_set_high"): _with_backup,
    ("backup_heater_use", "capacity_shortfall"): _with_backup,
    ("immersion_use", "setpoint_above_reach"): lambda s, v: _beyond_reach(s, v, True),
    ("reheat_incomplete", "setpoint_above_reach"): lambda s, v: _beyond_reach(s, v, False),
    ("heat_loss_above_design", None): lambda s, v: _design_number(s, _v(v, 1.0, 1.15, 1.4, 1.9)),
    ("heat_loss_below_design", None): lambda s, v: _design_number(s, _v(v, 1.0, 0.88, 0.68, 0.5)),
    # 85 % shows only by calculation; at 65 % a cold week is too cold; at 48 % half the winter
    ("capacity_short", None): partial(_unit_of, 0.85, 0.65, 0.48),
    # smaller still, so that rooms are cold in an ordinary winter too
    ("room_below_target", "capacity_short"): partial(_unit_of, 0.75, 0.55, 0.42),
    ("room_below_target", "zone_not_opening"): _two_zones,
    ("hot_water_shortfall", "reheat_window"): _window,
    ("hot_water_shortfall", "cylinder_small"): _small_cylinder,
    ("implausible_efficiency", None): lambda s, v: _heat_meter(s, _v(v, 1.0, 1.5, 2.6, 5.0)),
    ("heat_meter_disagrees", None): lambda s, v: _heat_meter(s, _v(v, 1.0, 0.94, 0.82, 0.6)),
    ("heat_meter_disagrees", "antifreeze_uncorrected"): _antifreeze,
}

# What a fault needs of a system to show at all.
NEEDS_HOT_WATER = {
    "immersion_use",
    "slow_reheat",
    "reheat_incomplete",
    "hot_water_shortfall",
    "high_standing_loss",
    "pasteurisation_missed",
    "diverter_passing",
}
NEEDS_QUANTITY: dict[str, tuple[tuple[str, str], ...]] = {
    "flow_return_swapped": (("flow_temperature", "gauge"), ("return_temperature", "gauge")),
    "outdoor_sensor_biased": (("outdoor_temperature", "gauge"),),
    "register_reset": (("heat_pump_electricity", "register"),),
    "heat_meter_disagrees": (("heat_output", ""),),
    "implausible_efficiency": (("heat_output", ""),),
    "clock_offset": (("heat_pump_electricity", ""), ("heat_output", "")),
}
UNIT_CAUSES = ("kw_as_w", "degf_as_degc", "mwh_as_kwh")


def causes(code: str) -> tuple[str | None, ...]:
    """Causes of a code, the default first.

    code : str, a finding's
    Returns tuple. Raises ValueError for an unknown code.
    """
    if code == "unit_mismatch":
        return UNIT_CAUSES
    found: dict[str | None, None] = {}
    for known, cause in (*EFFECTS, *BUILT_IN, *((c, None) for c in SENSING_FAULTS)):
        if known == code:
            found[cause] = None
    if not found:
        raise ValueError(f"no fault {code!r}; known: {', '.join(codes())}")
    return tuple(found)


def codes() -> tuple[str, ...]:
    """Every finding code that can be simulated, in alphabetical order."""
    return tuple(sorted({code for code, _ in (*EFFECTS, *BUILT_IN)} | set(SENSING_FAULTS)))


def with_fault(
    spec: PlantSpec,
    code: str,
    cause: str | None = None,
    strength: str | float = "plain",
    start: date | None = None,
) -> PlantSpec:
    """Add a fault to a spec.

    spec : PlantSpec; code : str, a finding's; cause : str, one of causes(code), None takes the first
    strength : "faint", "plain", "gross" or float 0 to 1; start : date, local day it begins (None: from the
        first day, or half-way for gradual changes; sizing faults are always present)
    Returns PlantSpec. Raises ValueError for an unknown code, cause or strength, or a spec that can't have the
        fault.
    """
    known = causes(code)
    chosen = known[0] if cause is None else cause
    if chosen not in known:
        raise ValueError(f"{code} has no cause {cause!r}; known: {', '.join(str(c) for c in known)}")
    if isinstance(strength, str):
        if strength not in LEVELS:
            raise ValueError(f"strength must be one of {', '.join(LEVELS)} or a number, got {strength!r}")
        level = LEVELS[strength]
    else:
        level = float(strength)
    if not 0.0 <= level <= 1.0:
        raise ValueError(f"strength must lie between 0 and 1, got {strength}")
    problem = unfit(spec, code, chosen)
    if problem:
        raise ValueError(f"{spec.id}: {problem}")
    built = BUILT_IN.get((code, chosen))
    if built is not None:
        spec = built(spec, level)
    return replace(spec, faults=(*spec.faults, Fault(code, chosen, level, start, built is not None)))


def unfit(spec: PlantSpec, code: str, cause: str | None = None) -> str | None:
    """Return why a system can't have or show a fault, or None if it can.

    spec : PlantSpec; code : str; cause : str or None
    """
    if code in NEEDS_HOT_WATER and spec.hot_water is None:
        return f"{code} needs hot water"
    if code == "pump_always_on" and spec.control.kind != "thermostat":
        return f"{code} needs a room thermostat; without one the pump runs all the season anyway"
    needs = list(NEEDS_QUANTITY.get(code, ()))
    if code == "unit_mismatch":
        needs = [
            {
                "kw_as_w": ("heat_pump_electricity", "power"),
                "degf_as_degc": ("outdoor_temperature", "gauge"),
                "mwh_as_kwh": ("heat_output", "register"),
            }[cause or "kw_as_w"]
        ]
    for quantity, kind in needs:
        if not any(m.quantity == quantity and (not kind or m.kind == kind) for m in spec.meters):
            return f"{code} needs {quantity}" + (f" as {kind}" if kind else "")
    return None


def with_oddity(spec: PlantSpec, kind: str, start: date | None = None) -> PlantSpec:
    """Add something unusual that is not a fault.

    spec : PlantSpec; kind : str, away, cold_snap, party, serviced or settling_in; start : date, None for its
        usual place
    Returns PlantSpec. Raises ValueError for an unknown kind.
    """
    if kind not in {"away", "cold_snap", "party", "serviced", "settling_in"}:
        raise ValueError(f"no oddity {kind!r}")
    return replace(spec, oddities=(*spec.oddities, Oddity(kind, start)))  # type: ignore[arg-type]
