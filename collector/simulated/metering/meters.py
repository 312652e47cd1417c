"""Read an installation's meters off a trace, including their errors."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import numpy as np

from fieldfare.analysis.readings import Samples
from fieldfare.collector.simulated.design.spec import Meter, PlantSpec
from fieldfare.collector.simulated.design.weather import relative_humidity
from fieldfare.collector.simulated.metering.meter_sets import HEAT_QUANTITIES, HEAT_ZERO_K
from fieldfare.collector.simulated.step.engine import Trace
from fieldfare.collector.simulated.step.parameters import GLYCOL
from fieldfare.collector.simulated.step.physics import heat_coefficient

TO_CANONICAL = {"W": 1.0, "kW": 1000.0, "kWh": 1.0, "MWh": 1000.0, "Wh": 0.001}
MONTH_S = 30 * 86400  # `every_s` of a meter read by hand on the first of each month


def column(trace: Trace, name: str) -> np.ndarray:
    """One logged column as float64 (intervals,)."""
    return trace.log[name].astype(np.float64)


def true_power(spec: PlantSpec, trace: Trace, meter: Meter) -> np.ndarray:
    """Reading of a perfect meter in this place.

    Returns float array (intervals,) [W], mean of each log interval.
    """
    parts = {
        "heat_pump_electricity": ("comp", "fan", "controls"),
        "fan_electricity": ("fan",),
        "backup_heater_electricity": ("backup",),
        "immersion_electricity": ("immersion",),
        "circulation_pump_electricity": ("pump",),
        "house_electricity": ("comp", "fan", "controls", "backup", "immersion", "pump"),
        "heat_output": ("heat",),
        "space_heat": ("space",),
        "hot_water_heat": ("hot",),
    }[meter.quantity]
    out = sum((column(trace, p) for p in parts), np.zeros(len(trace.log)))
    if "circulation_pump" in meter.includes:
        out = out + column(trace, "pump")
    if "backup_heater" in meter.includes:
        out = out + column(trace, "backup")
    if "immersion" in meter.includes:
        out = out + column(trace, "immersion")
    if meter.quantity == "house_electricity":
        out = out + _household(spec, trace)
    return np.asarray(out)


def _household(spec: PlantSpec, trace: Trace) -> np.ndarray:
    """Lights, kettles and the rest of the house: float array (intervals,) [W]."""
    rng = np.random.default_rng([spec.seed, 51])
    n = len(trace.log)
    at = trace.span.warm_minutes // 60 + (np.arange(n) * trace.log_s) // 3600
    base = 0.8 * trace.hours["gains"][np.minimum(at, len(trace.hours) - 1)]
    spikes = (rng.random(n) < 0.012) * rng.uniform(400.0, 2400.0, n)
    return base + np.convolve(spikes, np.ones(4), mode="same")


def metered_power(spec: PlantSpec, trace: Trace, meter: Meter) -> np.ndarray:
    """Reading of the meter: gain, and for heat meters the errors of the temperature pair and the fluid.

    Returns float array (intervals,) [W].
    Source: EN 1434-1, errors of flow sensor and calculator act on the product, that of the pair on the
        difference; a heat meter does not count below a small difference or flow.
    """
    power = true_power(spec, trace, meter) * meter.gain
    if meter.quantity not in HEAT_QUANTITIES:
        return power
    flow = column(trace, "flow")
    hp = spec.heat_pump
    water = heat_coefficient(32.0, 38.0, 0.0, 0.0)
    fluid = heat_coefficient(32.0, 38.0, GLYCOL[hp.antifreeze], hp.antifreeze_percent)
    if meter.antifreeze_corrected is not True:
        power = power * (water / fluid)
    per_k = flow * water / 3600.0
    if meter.quantity != "heat_output":
        hot = column(trace, "diverter") > 0.5
        per_k = per_k * (hot if meter.quantity == "hot_water_heat" else ~hot)
    power = power + per_k * meter.offset
    still = np.abs(power) < per_k * HEAT_ZERO_K
    return np.where(still | (flow < 0.02), 0.0, power)


def gauge(spec: PlantSpec, trace: Trace, meter: Meter) -> np.ndarray:
    """True value of a gauge, state or counter at each stamp: float array (intervals,), canonical unit."""
    second = bool(meter.zone) and len(spec.house.zones) > 1 and meter.zone == spec.house.zones[1]
    simple = {
        "flow_temperature": "t_flow",
        "return_temperature": "t_return",
        "distribution_flow_temperature": "t_dist",
        "distribution_return_temperature": "t_dist_return",
        "flow_rate": "flow",
        "outdoor_temperature": "outdoor",
        "room_temperature": "room1" if second else "room0",
        "target_room_temperature": "target1" if second else "target0",
        "target_flow_temperature": "target_flow",
        "cylinder_temperature": "cylinder",
        "buffer_temperature": "buffer",
        "operating_mode": "mode",
        "defrost_active": "defrost",
        "heat_call": "call1" if second else "call0",
        "diverter_to_hot_water": "diverter",
        "compressor_speed": "speed",
        "compressor_starts": "starts",
        "compressor_hours": "hours",
        "fault_code": "fault",
    }
    if meter.quantity in simple:
        return column(trace, simple[meter.quantity])
    if meter.quantity == "outdoor_humidity":
        return np.clip(relative_humidity(column(trace, "outdoor"), column(trace, "vapour")), 0.0, 100.0)
    if meter.quantity == "solar_irradiance":
        return trace.sun.astype(np.float64)
    if meter.quantity == "system_pressure":
        return pressure(spec, trace)
    raise ValueError(f"no reading of {meter.quantity} in a simulated plant")


def pressure(spec: PlantSpec, trace: Trace) -> np.ndarray:
    """Gauge pressure of the heating circuit.

    Returns float array (intervals,) [bar]. Warming the water by 25 K raises it by about 0.3 bar (common
        practice); a leak lowers it to zero.
    """
    n = len(trace.log)
    at = np.minimum(
        trace.span.warm_minutes // 60 + (np.arange(n) * trace.log_s) // 3600, len(trace.hours) - 1
    )
    lost = np.cumsum(trace.hours["leak"] / 168.0)
    lost = lost - lost[trace.span.warm_minutes // 60]
    base = spec.cold_pressure_bar - lost[at] + trace.hours["pressure"][at]
    return np.maximum(0.0, base * (1.0 + 0.0065 * (column(trace, "loop_mean") - 20.0)))


def stamps_of(trace: Trace, meter: Meter) -> np.ndarray:
    """Instants at which a meter is read: int64 array [UTC s], all at or after the first log stamp."""
    span = trace.span
    start, end = int(span.start.timestamp()), int(span.end.timestamp())
    if meter.every_s >= MONTH_S:
        out = []
        day = span.first
        while day <= span.first + timedelta(days=span.days):
            if day.day == 1 or day == span.first:
                out.append(int(datetime.combine(day, time(), span.zone).astimezone(UTC).timestamp()))
            day += timedelta(days=1)
        return np.array([max(s, start + trace.log_s) for s in out if s <= end], dtype=np.int64)
    return np.arange(start + meter.every_s, end + 1, meter.every_s, dtype=np.int64)


def read(spec: PlantSpec, trace: Trace, meter: Meter, number: int) -> Samples:
    """All readings of one meter, before sensing faults.

    number : int, of the meter in the plant, for its own noise
    Returns Samples in the meter's unit.
    """
    rng = np.random.default_rng([spec.seed, 61, number])
    stamp = stamps_of(trace, meter)
    at = np.clip((stamp - trace.stamp_s[0]) // trace.log_s, 0, len(trace.stamp_s) - 1)
    counting = meter.quantity in {"compressor_starts", "compressor_hours"}
    if meter.kind == "power":
        value = metered_power(spec, trace, meter)[at] / TO_CANONICAL[meter.unit]
    elif meter.kind in {"register", "interval"} and not counting:
        total = np.cumsum(metered_power(spec, trace, meter)) * trace.log_s / 3.6e6 / TO_CANONICAL[meter.unit]
        if meter.kind == "interval":
            value = np.diff(np.concatenate([[0.0], total[at]]))
            if meter.stamp != "end":
                stamp = stamp - meter.every_s
        else:
            value = total[at] + meter.start_value
            return Samples(stamp * 1000, _floor(value, meter.resolution))
    else:
        value = gauge(spec, trace, meter)[at] * meter.gain + meter.offset
        if counting:
            return Samples(stamp * 1000, _floor(value + meter.start_value, meter.resolution))
        if meter.kind == "state":
            if meter.quantity == "fault_code":
                words = np.array(["ok", "E21", "E90"], dtype=object)
                return Samples(stamp * 1000, words[np.round(value).astype(int)])
            return Samples(stamp * 1000, np.round(value))
        value = to_unit(value, meter.unit)
    if meter.noise > 0.0:
        value = value + meter.noise * rng.standard_normal(len(value)) * (value != 0.0)
    if meter.resolution > 0.0:
        value = np.round(np.round(value / meter.resolution) * meter.resolution, 6)
    return Samples(stamp * 1000, value)


def _floor(value: np.ndarray, resolution: float) -> np.ndarray:
    """Round a running total down to the last displayed digit."""
    if resolution <= 0.0:
        return value
    return np.round(np.floor(value / resolution + 1e-9) * resolution, 6)


def to_unit(value: np.ndarray, unit: str) -> np.ndarray:
    """Convert a gauge's value from its canonical unit to the declared one."""
    if unit == "degF":
        return value * 1.8 + 32.0
    if unit == "l/min":
        return value * 1000.0 / 60.0
    if unit == "kPa":
        return value * 100.0
    return value


def lose(spec: PlantSpec, trace: Trace, samples: dict[str, Samples]) -> dict[str, Samples]:
    """Drop lost readings: single ones at random, and short outages of the gateway.

    Returns dict of Samples.
    """
    rng = np.random.default_rng([spec.seed, 71])
    start, end = int(trace.stamp_s[0]), int(trace.stamp_s[-1])
    weeks = (end - start) / 604800.0
    outages = [
        (begin, begin + float(rng.uniform(600.0, 5400.0)))
        for begin in rng.uniform(start, end, rng.poisson(0.12 * weeks))
    ]
    out = {}
    for meter in spec.meters:
        s = samples[meter.id]
        keep = rng.random(len(s.time)) >= meter.lost_share
        if meter.every_s < 3600 and meter.lost_share > 0.0:
            for begin, stop in outages:
                keep &= ~((s.time >= begin * 1000) & (s.time < stop * 1000))
        out[meter.id] = Samples(s.time[keep], s.value[keep])
    return out


def perfect(meters: tuple[Meter, ...]) -> tuple[Meter, ...]:
    """The same meters without error, noise or loss."""
    return tuple(replace(m, gain=1.0, offset=0.0, noise=0.0, lost_share=0.0) for m in meters)
