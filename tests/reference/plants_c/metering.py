"""Meters and sensors: quantities, resolution, interval and errors."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from tests.reference.plants_c.homes import Home
from tests.reference.plants_c.spec import COLUMN

MODES = np.array(["off", "heating", "hot_water", "defrost"], dtype=object)
KINDS = ("full", "heat", "unit", "basic", "electricity")
SPACINGS = {
    "full": (1, 1, 5),
    "heat": (1, 5, 15),
    "unit": (1, 5, 15),
    "basic": (60,),
    "electricity": (15, 60),
}
SHARES = (0.45, 0.2, 0.17, 0.1, 0.08)


@dataclass
class Point:
    """One point: its entry in the site file, the channel it reads, its resolution, its error."""

    id: str
    quantity: str
    kind: str
    unit: str
    channel: str
    step: float = 0.1
    factor: float = 1.0
    offset: float = 0.0
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass
class Metering:
    """The points of a home and how they are sent."""

    kind: str
    spacing: int
    points: list[Point]
    long: bool = False
    missing: float = 0.0


def energy(name: str, quantity: str, channel: str, factor: float, kinds: str, grade: str) -> list[Point]:
    """An energy meter: `kinds` holds p for its power, r for its register."""
    extra = {"meter_class": grade} if grade else {}
    step = 1.0 if "heat" in name else 0.1
    out = []
    if "p" in kinds:
        out.append(
            Point(
                name, quantity, "power", "W", channel, 10.0 if step == 1.0 else 1.0, factor, extra=dict(extra)
            )
        )
    if "r" in kinds:
        out.append(
            Point(name + "_total", quantity, "register", "kWh", channel, 0.01, factor, extra=dict(extra))
        )
    return out


def gauge(name: str, quantity: str, channel: str, unit: str = "degC", **more: Any) -> Point:
    """A gauge."""
    return Point(name, quantity, "gauge", unit, channel, **more)


def state(name: str, quantity: str, channel: str) -> Point:
    """A state point."""
    return Point(name, quantity, "state", "", channel)


def extras(home: Home, rng: np.random.Generator) -> list[Point]:
    """What only full metering has: every electric consumer, rooms, pressure, humidity, sun, states."""
    s = home.spec
    zone = [{"zone": "downstairs"}, {"zone": "upstairs"}]
    points = [
        *energy("pumps", "circulation_pump_electricity", "p_pump", 1.0, "p", "B"),
        gauge("room", "room_temperature", "room0", offset=rng.normal(0, 0.15), extra=zone[0]),
        gauge("room_up", "room_temperature", "room1", offset=rng.normal(0, 0.15), extra=zone[1]),
        gauge("room_asked", "target_room_temperature", "ask0", extra=zone[0]),
        gauge("room_asked_up", "target_room_temperature", "ask1", extra=zone[1]),
        gauge("flow_asked", "target_flow_temperature", "t_target"),
        gauge("humidity", "outdoor_humidity", "humidity", "%", step=1.0),
        gauge("sun", "solar_irradiance", "sun", "W/m2", step=1.0),
        gauge("pressure", "system_pressure", "pressure", "bar", step=0.01),
        gauge("starts", "compressor_starts", "starts", "count", step=1.0),
        gauge("speed", "compressor_speed", "speed", "%", step=1.0),
        state("fault", "fault_code", "fault"),
    ]
    points[-3].kind = "register"
    if s["bu_w"]:
        points += energy("heater", "backup_heater_electricity", "p_bu", 1.0, "pr", "B")
    if s["dhw"]:
        points += energy("immersion", "immersion_electricity", "p_imm", 1.0, "pr", "B")
        points.append(state("diverter", "diverter_to_hot_water", "diverter"))
    if s["parallel"]:
        points.append(gauge("dist_flow_t", "distribution_flow_temperature", "t_sup2"))
        points.append(gauge("dist_return_t", "distribution_return_temperature", "t_ret2"))
    return points


def make_metering(home: Home, kind: str) -> Metering:
    """Return the metering of a home; `kind` is one of `KINDS` or `random`."""
    rng = np.random.default_rng(home.rng.integers(1 << 32))
    if kind == "random":
        kind = str(rng.choice(KINDS, p=SHARES))
    spacing = int(rng.choice(SPACINGS[kind]))
    grade = str(rng.choice(["2", "2", "3"]))
    wrong = rng.normal(0, 0.008)
    heat = 1.0 + wrong + rng.normal(0, 0.004)
    electric = 1.0 + rng.normal(0, 0.006)
    pair = rng.normal(0, 0.04)
    outdoor = gauge("outdoor", "outdoor_temperature", "outdoor", offset=rng.normal(0, 0.2))
    registers = [
        *energy("hp_elec", "heat_pump_electricity", "p_unit", electric, "r", "B"),
        *energy("heat", "heat_output", "q_hp", heat, "r", grade),
    ]
    water = [
        gauge("flow_t", "flow_temperature", "t_flow", offset=pair),
        gauge("return_t", "return_temperature", "t_ret", offset=-pair),
    ]
    if spacing <= 5 and kind == "full":
        for p in water:
            p.step = 0.01
    cylinder = [gauge("cylinder", "cylinder_temperature", "t_cyl", offset=rng.normal(0, 0.3))]
    cylinder = cylinder if home.spec["dhw"] else []
    flow = gauge("flow", "flow_rate", "flow", "m3/h", step=0.001, factor=1.0 + wrong)
    powers = [
        *energy("hp_elec", "heat_pump_electricity", "p_unit", electric, "p", "B"),
        *energy("heat", "heat_output", "q_hp", heat, "p", grade),
    ]
    mode = state("mode", "operating_mode", "mode")
    points = {
        "full": [*registers, *powers, *water, flow, outdoor, mode, *cylinder, *extras(home, rng)],
        "heat": [*registers, *powers, *water, flow, outdoor],
        "unit": [
            *registers,
            *powers[:1],
            *water,
            outdoor,
            mode,
            *cylinder,
            state("fault", "fault_code", "fault"),
        ],
        "basic": [*registers, outdoor],
        "electricity": registers[:1],
    }[kind]
    if home.spec["bu_w"] and kind in ("basic", "electricity"):
        points[0].extra["includes"] = ["backup_heater"]
        points[0].channel = "p_unit_and_heater"
    missing = float(rng.choice([0.0, 0.002, 0.01])) if kind != "electricity" else 0.0
    return Metering(kind, spacing, points, bool(spacing == 1 and rng.random() < 0.3), missing)


def signals(home: Home, out: np.ndarray) -> dict[str, np.ndarray]:
    """All channels by name, with those of the weather and of sums of consumers."""
    got = {name: out[:, place] for name, place in COLUMN.items()}
    got["outdoor"], got["sun"] = home.weather.outdoor, home.weather.sun
    got["humidity"] = 100.0 * home.weather.humidity
    got["ask1"] = got["ask0"] - home.spec["room_set0"] + home.spec["room_set1"]
    # A turbulent flow flickers by some tenths of a per cent (common practice), so no reading stays the same
    # for days.
    flicker = np.random.default_rng([home.days, 41]).standard_normal(len(got["flow"]))
    got["flow"] = got["flow"] * (1.0 + 0.004 * flicker)
    got["p_unit_and_heater"] = got["p_unit"] + got["p_bu"]
    return got


def sample(p: Point, channel: np.ndarray, spacing: int) -> np.ndarray:
    """Values of a point at the end of each interval of `spacing` minutes."""
    last = np.arange(spacing - 1, len(channel), spacing)
    if p.kind == "state":
        values = channel[last].astype(int)
        if p.quantity == "operating_mode":
            return MODES[values]
        if p.quantity == "fault_code":
            return np.where(values > 0, np.char.add("F", values.astype(str)), "0").astype(object)
        return values.astype(str).astype(object)
    if p.kind == "register":
        total = channel[last] if p.unit == "count" else 812.0 + np.cumsum(channel)[last] / 60000.0
        return np.round(np.floor(total * p.factor / p.step) * p.step, 3)
    if p.kind == "power":
        values = channel[: len(last) * spacing].reshape(-1, spacing).mean(axis=1)
    else:
        values = channel[last]
    return np.round(np.round((values * p.factor + p.offset) / p.step) * p.step, 3)


def make_frame(home: Home, out: np.ndarray, m: Metering) -> pd.DataFrame:
    """The table of readings: a column a point, UTC index; rows that got lost are left out."""
    known = signals(home, out)
    count = len(out) // m.spacing
    begin = pd.Timestamp(str(home.start), tz="UTC")
    stamps = begin + pd.to_timedelta(np.arange(1, count + 1) * m.spacing, unit="min")
    frame = pd.DataFrame(
        {p.id: sample(p, known[p.channel], m.spacing)[:count] for p in m.points}, index=stamps
    )
    for edit in home.edits:
        frame = edit(frame)
    if m.missing:
        rng = np.random.default_rng(home.rng.integers(1 << 32))
        frame = frame[rng.random(len(frame)) >= m.missing]
    return frame
