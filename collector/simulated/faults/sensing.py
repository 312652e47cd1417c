"""Faults between the system and the store: sensors, meters, clocks and units."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta

import numpy as np

from fieldfare.analysis.readings import Samples
from fieldfare.collector.simulated.design.spec import Fault, Meter, PlantSpec
from fieldfare.collector.simulated.faults.effects import fault_start_day
from fieldfare.collector.simulated.step.engine import Trace

Readings = dict[str, Samples]


def level(fault: Fault, faint: float, plain: float, gross: float, healthy: float = 0.0) -> float:
    """Value at the fault's level, between the three named strengths."""
    return float(np.interp(fault.level, [0.0, 1 / 3, 2 / 3, 1.0], [healthy, faint, plain, gross]))


def start_ms(fault: Fault, trace: Trace) -> int:
    """Instant the fault begins [UTC ms], local midnight of its day."""
    day = trace.span.first + timedelta(days=max(0, fault_start_day(fault, trace.span)))
    return int(datetime.combine(day, time(), trace.span.zone).astimezone(UTC).timestamp() * 1000)


def _find(spec: PlantSpec, *quantities: str) -> list[Meter]:
    """Available meters of the first quantity, in order of preference, that the system has."""
    for quantity in quantities:
        found = [m for m in spec.meters if m.quantity == quantity]
        if found:
            return found
    return []


def _gap(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """Gateway outage of half a day, five days or three weeks; gross also loses a fifth of the readings."""
    begin = start_ms(fault, trace)
    end = begin + int(level(fault, 12.0, 120.0, 504.0) * 3_600_000)
    rng = np.random.default_rng([spec.seed, 81])
    out = {}
    for name, s in readings.items():
        keep = (s.time < begin) | (s.time >= end)
        if fault.level > 0.9:
            keep &= rng.random(len(keep)) > 0.2
        out[name] = Samples(s.time[keep], s.value[keep])
    return out


def _stuck(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """A sensor repeats its last value for half a day or permanently, or shows its error value."""
    order = (
        "return_temperature",
        "outdoor_temperature",
        "room_temperature",
        "cylinder_temperature",
        "heat_output",
    )
    chosen = _find(spec, *order)[:1]
    begin = start_ms(fault, trace)
    end = begin + (43_200_000 if fault.level < 0.5 else 10**14)
    out = dict(readings)
    for meter in chosen:
        s = readings[meter.id]
        at = (s.time >= begin) & (s.time < end)
        if not at.any():
            continue
        value = s.value.copy()
        value[at] = 85.0 if fault.level > 0.9 and meter.unit == "degC" else value[np.argmax(at)]
        out[meter.id] = Samples(s.time, value)
    return out


def _reset(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """A register resets to zero: once, three times, every few days."""
    times = round(level(fault, 1.0, 3.0, 12.0))
    begin = start_ms(fault, trace)
    end = int(trace.stamp_s[-1] * 1000)
    out = dict(readings)
    for meter in _find(spec, "heat_pump_electricity", "heat_output"):
        if meter.kind != "register":
            continue
        s = readings[meter.id]
        value = s.value.copy()
        for i in range(times):
            at = s.time >= begin + (end - begin) * i // times
            if at.any():
                value[at] -= value[np.argmax(at)]
        out[meter.id] = Samples(s.time, np.round(value, 6))
        break
    return out


def _units(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """A meter sends another unit than declared; the strength is the share of affected data."""
    begin = start_ms(fault, trace)
    length = int(trace.stamp_s[-1] * 1000) - int(trace.stamp_s[0] * 1000)
    if fault.level < 0.9:
        begin = max(begin, int(trace.stamp_s[0] * 1000) + int(length * (0.9 if fault.level < 0.5 else 0.4)))
    changes: dict[str, tuple[tuple[str, ...], str, Callable[[np.ndarray], np.ndarray]]] = {
        "kw_as_w": (("heat_pump_electricity",), "power", lambda v: np.round(v / 1000.0, 3)),
        "degf_as_degc": (("outdoor_temperature",), "gauge", lambda v: np.round(v * 1.8 + 32.0, 1)),
        "mwh_as_kwh": (("heat_output",), "register", lambda v: np.round(v / 1000.0, 4)),
    }
    quantities, kind, change = changes[fault.cause or "kw_as_w"]
    out = dict(readings)
    for meter in spec.meters:
        if meter.quantity in quantities and meter.kind == kind:
            s = readings[meter.id]
            at = s.time >= begin
            out[meter.id] = Samples(s.time, np.where(at, change(s.value), s.value))
    return out


def _swapped(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """Flow and return sensors are swapped."""
    flow, back = _find(spec, "flow_temperature"), _find(spec, "return_temperature")
    begin = start_ms(fault, trace)
    a, b = readings[flow[0].id], readings[back[0].id]
    at = a.time >= begin
    return {
        **readings,
        flow[0].id: Samples(a.time, np.where(at, b.value, a.value)),
        back[0].id: Samples(b.time, np.where(at, a.value, b.value)),
    }


def _clock(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """The electricity meter's clock is off by 10 minutes, an hour or six hours."""
    shift = int(level(fault, 10.0, 60.0, 360.0) * 60_000)
    begin = start_ms(fault, trace)
    out = dict(readings)
    for meter in _find(spec, "heat_pump_electricity"):
        every = meter.every_s * 1000
        s = readings[meter.id]
        moved = s.time + np.where(s.time >= begin, max(every, shift // every * every), 0)
        last = int(trace.stamp_s[-1]) * 1000
        order = np.argsort(moved, kind="stable")
        moved, value = moved[order], s.value[order]
        keep = np.concatenate([np.diff(moved) > 0, [True]]) & (moved <= last)
        out[meter.id] = Samples(moved[keep], value[keep])
    return out


def _sun(spec: PlantSpec, trace: Trace, fault: Fault, readings: Readings) -> Readings:
    """The outdoor sensor hangs on a sunny wall: up to 3, 8 or 15 K too warm in full sun."""
    k = level(fault, 3.0, 8.0, 15.0)
    begin = start_ms(fault, trace)
    out = dict(readings)
    for meter in _find(spec, "outdoor_temperature"):
        s = readings[meter.id]
        at = np.clip((s.time // 1000 - trace.stamp_s[0]) // trace.log_s, 0, len(trace.stamp_s) - 1)
        # thermal lag of the wall
        slow = _smooth(trace.sun, 2700.0 / trace.log_s)
        value = s.value + np.where(s.time >= begin, k * slow[at] / 500.0 + 0.1 * k, 0.0)
        out[meter.id] = Samples(s.time, np.round(value, 1))
    return out


def _smooth(x: np.ndarray, steps: float) -> np.ndarray:
    """First-order lag of `steps` steps: float array like x."""
    from scipy.signal import lfilter

    a = 1.0 / max(steps, 1.0)
    return np.asarray(lfilter([a], [1.0, a - 1.0], x))


SENSING_FAULTS: dict[str, Callable[[PlantSpec, Trace, Fault, Readings], Readings]] = {
    "data_gap": _gap,
    "sensor_stuck": _stuck,
    "register_reset": _reset,
    "unit_mismatch": _units,
    "flow_return_swapped": _swapped,
    "clock_offset": _clock,
    "outdoor_sensor_biased": _sun,
}


def spoil(spec: PlantSpec, trace: Trace, readings: Readings) -> Readings:
    """Apply every sensing fault of the system to its readings.

    spec : PlantSpec; trace : Trace; readings : dict of Samples
    Returns dict of Samples.
    """
    for fault in spec.faults:
        change = SENSING_FAULTS.get(fault.code)
        if change is not None:
            readings = change(spec, trace, fault, readings)
    return readings
