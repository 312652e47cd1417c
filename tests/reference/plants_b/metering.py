"""What the meters and gateways of a home report: sets of points, class errors, resolution, gaps."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.reference.plants_b import records as r
from tests.reference.plants_b.engine import Simulation
from tests.reference.plants_b.homes import DENSITY_20_CP, Home

SOMETIMES_LACKING = {
    "outdoor_humidity": 0.25,
    "heat_call": 0.2,
    "system_pressure": 0.1,
    "compressor_speed": 0.15,
    "defrost_active": 0.2,
    "target_flow_temperature": 0.2,
}
MODES = np.array(["off", "heating", "hot_water", "defrost", "cooling"])


@dataclass
class Point:
    """One measured value: the signal it reads and how it is written."""

    id: str
    quantity: str
    kind: str  # power, register, interval, gauge, state
    signal: str
    unit: str = ""
    factor: float = 1.0  # from the signal's unit to the written unit
    step: float = 0.0  # resolution in the written unit
    start: float = 0.0  # first register reading
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass
class Metering:
    """Signals at the simulation's resolution, the points that read them, and how they are sent."""

    kind: str
    spacing_s: int
    record_s: int
    signals: dict[str, np.ndarray]
    points: list[Point]
    form: str = "wide"  # wide or long
    on_change: bool = False
    drop: list[tuple[float, float]] = field(default_factory=list)  # gaps, days
    missing: float = 0.0
    csv: dict[str, Any] = field(default_factory=dict)
    post: list[Callable] = field(default_factory=list)  # changes to the written table

    def has(self, *quantities: str) -> bool:
        """True where every quantity has a point."""
        there = {p.quantity for p in self.points}
        return all(q in there for q in quantities)


@dataclass(frozen=True)
class Options:
    """How a home is metered; None means by chance."""

    kind: str = "full"
    spacing_s: int | None = None
    heat_at: str = "unit"  # unit, after_heater, space_branch, coil_branch
    forward_only: bool | None = None
    pump_inside: bool | None = None
    form: str | None = None
    gaps: bool = True
    without: tuple[str, ...] = ()
    complete: bool = False  # nothing lacks by chance


def make_signals(
    rng: np.random.Generator, home: Home, sim: Simulation, opt: Options
) -> dict[str, np.ndarray]:
    """All signals with sensor and class errors."""
    c, per = sim.channel, sim.per_minute
    n = len(sim.out)

    def rep(column: int) -> np.ndarray:
        return np.repeat(sim.inputs[:, column], per)

    def elec(values: np.ndarray) -> np.ndarray:
        return values * (1.0 + float(np.clip(rng.normal(0, 0.004), -0.01, 0.01)))

    def sensor(values: np.ndarray, sigma: float, noise: float = 0.03) -> np.ndarray:
        return values + rng.normal(0, sigma) + noise * rng.standard_normal(n)

    flow_error = 1.0 + float(np.clip(rng.normal(0, 0.010), -0.025, 0.025))
    dt_error = float(np.clip(rng.normal(0, 0.03), -0.07, 0.07))
    true_heat = {
        "unit": c("q_meter"),
        "after_heater": c("q_after_heater"),
        "space_branch": c("q_space"),
        "coil_branch": c("q_dhw"),
    }[opt.heat_at]
    moving = c("flow") > 0.05
    extra = flow_error * c("flow") * DENSITY_20_CP * dt_error * moving
    heat = np.where(moving, true_heat * flow_error + extra, 0.0)
    mode, use = c("mode"), c("use")
    running = (mode == 2) | (mode == 3)
    word = np.where(mode == 4, 3, np.where(running, np.where(use == 2, 2, np.where(use == 3, 4, 1)), 0))
    out_noise = 0.05 * rng.standard_normal(n)
    base_load = 140 + 60 * rng.random()
    other = base_load + np.repeat(rng.gamma(0.6, 260.0, n // (15 * per) + 1), 15 * per)[:n]
    consumption = c("p_unit") + c("p_bu") + c("p_imm") + c("p_pump")
    return {
        "elec": elec(c("p_unit")),
        "fan": elec(c("p_fan")),
        "bu": elec(c("p_bu")),
        "imm": elec(c("p_imm")),
        "pump": elec(c("p_pump")),
        "house": consumption + other,
        "heat": heat,
        "heat_space": c("q_space") * flow_error,
        "heat_dhw": c("q_dhw") * flow_error,
        "t_flow": sensor(c("t_hx"), 0.12),
        "t_ret": sensor(c("t_in"), 0.12),
        "t_dist": sensor(c("t_dist"), 0.25),
        "t_dret": sensor(c("t_dret"), 0.25),
        "flow": np.where(moving, c("flow") * flow_error * (1 + 0.004 * rng.standard_normal(n)), 0.0),
        "t_out": rep(r.I_TOUT) + rng.normal(0, 0.2) + out_noise,
        "rh": np.clip(rep(r.I_RH) + rng.normal(0, 2.0), 5, 100),
        "ghi": rep(r.I_GHI) * rng.normal(1, 0.03),
        "room_a": sensor(c("room_a"), 0.12),
        "room_b": sensor(c("room_b"), 0.12),
        "set_a": rep(r.I_SETA),
        "set_b": rep(r.I_SETB),
        "target": c("target"),
        "cyl": sensor(c("cyl"), 0.3),
        "buffer": sensor(c("buffer"), 0.3),
        "pressure": c("pressure") + rng.normal(0, 0.02),
        "mode": word.astype(float),
        "defrost": (mode == 4).astype(float),
        "call": c("call"),
        "diverter": (c("diverter") > 0.5).astype(float),
        "speed": 100 * c("speed"),
        "starts": c("starts") + rng.integers(300, 9000),
        "hours": c("hours") + rng.integers(300, 9000),
        "fault": c("fault"),
    }


def energy_points(
    rng, name: str, quantity: str, signal: str, step: float, register: bool, power: bool = True, **extra: Any
) -> list[Point]:
    """A power and, where the meter has one, its running total."""
    points = []
    kilo = rng.random() < 0.3
    if power:
        points.append(
            Point(
                name,
                quantity,
                "power",
                signal,
                "kW" if kilo else "W",
                1e-3 if kilo else 1.0,
                0.001 if kilo else 1.0,
                extra=dict(extra),
            )
        )
    if register:
        points.append(
            Point(
                f"{name}_total",
                quantity,
                "register",
                signal,
                "kWh",
                1.0,
                step,
                float(rng.uniform(50, 20000)),
                dict(extra),
            )
        )
    return points


def gauge(
    name: str, quantity: str, signal: str, unit: str = "degC", step: float = 0.1, **extra: Any
) -> Point:
    """A gauge point."""
    return Point(name, quantity, "gauge", signal, unit, 1.0, step, extra=dict(extra))


def unit_gauges(home: Home) -> list[Point]:
    """Temperatures and states that a unit's own controller shows."""
    points = [
        gauge("flow_t", "flow_temperature", "t_flow"),
        gauge("return_t", "return_temperature", "t_ret"),
        gauge("outdoor_t", "outdoor_temperature", "t_out"),
        gauge("flow_target", "target_flow_temperature", "target", step=0.5),
        gauge("comp_speed", "compressor_speed", "speed", "%", 1.0),
        Point("mode", "operating_mode", "state", "mode"),
        Point("defrosting", "defrost_active", "state", "defrost"),
        Point("starts", "compressor_starts", "register", "starts", "count", step=1.0),
        Point("hours", "compressor_hours", "register", "hours", "h", step=1.0),
        Point("error", "fault_code", "state", "fault"),
    ]
    if home.par["dhw"]:
        points += [
            gauge("cylinder_t", "cylinder_temperature", "cyl"),
            Point("diverter", "diverter_to_hot_water", "state", "diverter"),
        ]
    return points


def rooms(home: Home) -> list[Point]:
    """Room temperatures and set points of both zones."""
    return [
        gauge("up_t", "room_temperature", "room_a", zone="upstairs"),
        gauge("down_t", "room_temperature", "room_b", zone="downstairs"),
        gauge("up_set", "target_room_temperature", "set_a", zone="upstairs"),
        gauge("down_set", "target_room_temperature", "set_b", zone="downstairs"),
    ]


def electricity(rng, home: Home, step: float, register: bool, power: bool, pump_inside: bool) -> list[Point]:
    """Electricity meters of the unit and of what stands around it."""
    includes = {"includes": ["circulation_pump"]} if pump_inside else {}
    points = energy_points(
        rng, "hp_el", "heat_pump_electricity", "elec", step, register, power, meter_class="B", **includes
    )
    if not pump_inside:
        points += energy_points(rng, "pump_el", "circulation_pump_electricity", "pump", step, register, power)
    if home.par["bu_max"]:
        points += energy_points(rng, "heater_el", "backup_heater_electricity", "bu", step, register, power)
    if home.par["imm_max"]:
        points += energy_points(rng, "immersion_el", "immersion_electricity", "imm", step, register, power)
    return points


def choose_points(rng: np.random.Generator, home: Home, opt: Options) -> list[Point]:
    """Points of one kind of metering."""
    step = float(rng.choice([0.001, 0.01, 0.1, 0.1]))
    inside = bool(opt.pump_inside if opt.pump_inside is not None else rng.random() < 0.25)
    heat_extra: dict[str, Any] = {"meter_class": "2"}
    if home.par["rho_cp"] != DENSITY_20_CP:
        heat_extra["antifreeze_corrected"] = True
    outdoor = gauge("outdoor_t", "outdoor_temperature", "t_out")
    flows = [
        gauge("flow_t", "flow_temperature", "t_flow"),
        gauge("return_t", "return_temperature", "t_ret"),
        gauge("flow", "flow_rate", "flow", "m3/h", 0.001),
    ]
    if opt.kind == "full":
        points = electricity(rng, home, step, True, True, inside)
        points += energy_points(rng, "heat", "heat_output", "heat", step, True, **heat_extra)
        points += [*unit_gauges(home), flows[2], *rooms(home)]
        points += [
            gauge("outdoor_rh", "outdoor_humidity", "rh", "%", 1.0),
            gauge("pressure", "system_pressure", "pressure", "bar", 0.01),
            Point("calls", "heat_call", "state", "call", extra={"zone": "downstairs"}),
        ]
        if home.par["buffer"] == 2:
            points += [
                gauge("emitter_flow", "distribution_flow_temperature", "t_dist"),
                gauge("emitter_return", "distribution_return_temperature", "t_dret"),
            ]
        if home.par["buffer"]:
            points.append(gauge("buffer_t", "buffer_temperature", "buffer"))
        if rng.random() < 0.4:
            points.append(gauge("sun", "solar_irradiance", "ghi", "W/m2", 1.0))
        if rng.random() < 0.25:
            points += energy_points(rng, "fan_el", "fan_electricity", "fan", step, False)
        lacking = [q for q, share in SOMETIMES_LACKING.items() if rng.random() < share and not opt.complete]
        points = [p for p in points if p.quantity not in lacking]
    elif opt.kind == "heat_meter":
        points = electricity(rng, home, step, True, True, inside)
        points += [
            *energy_points(rng, "heat", "heat_output", "heat", step, True, **heat_extra),
            *flows,
            outdoor,
        ]
        if rng.random() < 0.6:
            points += rooms(home)[: int(rng.choice([2, 4]))]
        if home.par["dhw"] and rng.random() < 0.6:
            points.append(gauge("cylinder_t", "cylinder_temperature", "cyl", step=0.5))
        if rng.random() < 0.4:
            points.append(gauge("pressure", "system_pressure", "pressure", "bar", 0.1))
    elif opt.kind == "split_meters":
        points = electricity(rng, home, step, True, True, inside)
        points += energy_points(rng, "heat_rooms", "space_heat", "heat_space", step, True, **heat_extra)
        if home.par["dhw"]:
            points += energy_points(rng, "heat_water", "hot_water_heat", "heat_dhw", step, True, **heat_extra)
        points += [*flows[:2], outdoor, *rooms(home)[:2]]
    elif opt.kind == "registers":
        step = float(rng.choice([0.01, 0.1, 1.0]))
        points = electricity(rng, home, step, True, False, inside)
        points += [
            *energy_points(rng, "heat", "heat_output", "heat", step, True, False, **heat_extra),
            outdoor,
        ]
    elif opt.kind == "electricity_only":
        points = electricity(rng, home, step, False, True, True)[:1]
        if home.par["bu_max"]:
            points[0].extra["includes"] = ["circulation_pump", "backup_heater"]
        points.append(outdoor)
        if rng.random() < 0.3:
            points.append(rooms(home)[1])
        if rng.random() < 0.3:
            points += energy_points(rng, "house_el", "house_electricity", "house", 0.1, True, False)
    else:  # controller
        points = unit_gauges(home)
        points += energy_points(rng, "hp_el", "heat_pump_electricity", "elec", 0.01, bool(rng.random() < 0.5))
        if rng.random() < 0.7:
            points += rooms(home)
    return [p for p in points if p.quantity not in opt.without]


def make_metering(rng: np.random.Generator, home: Home, sim: Simulation, opt: Options) -> Metering:
    """Return the signals and points of a home."""
    signals = make_signals(rng, home, sim, opt)
    points = choose_points(rng, home, opt)
    ids = {p.id for p in points}
    if "pump_el" not in ids:  # the unit's meter counts the pump, and perhaps the heater, too
        signals["elec"] = signals["elec"] + signals["pump"]
        if any("backup_heater" in p.extra.get("includes", ()) for p in points):
            signals["elec"] = signals["elec"] + signals["bu"]
    forward = opt.forward_only if opt.forward_only is not None else rng.random() < 0.3
    if forward:
        for name in ("heat", "heat_space", "heat_dhw"):
            signals[name] = np.maximum(signals[name], 0.0)
    record_s = 60 // sim.per_minute
    spacing = opt.spacing_s or choose_spacing(rng, opt.kind, record_s)
    m = Metering(opt.kind, spacing, record_s, signals, points)
    if opt.kind in ("electricity_only",) and spacing >= 900:
        points[0].kind, points[0].unit, points[0].factor, points[0].step = "interval", "kWh", 1.0, 0.001
    m.form = opt.form or ("long" if rng.random() < 0.3 else "wide")
    m.on_change = m.form == "long" and rng.random() < 0.5 and spacing <= 300
    if m.form == "long" and spacing <= 60 and len(points) > 15:
        m.on_change = True  # no gateway sends thirty values a minute one by one
    if opt.gaps:
        m.missing = float(rng.choice([0.0, 0.001, 0.004]))
        for _ in range(rng.poisson(home.days / 70)):
            first = float(rng.uniform(2, max(3, home.days - 2)))
            m.drop.append((first, first + float(rng.exponential(0.12)) + 0.01))
    if m.form == "wide" and rng.random() < 0.2:
        m.csv = {"delimiter": ";", "decimal": ",", "time_column": "Datum", "time_format": "%d.%m.%Y %H:%M:%S"}
        if rng.random() < 0.5:
            m.csv["timezone"] = home.climate.timezone
    return m


def choose_spacing(rng: np.random.Generator, kind: str, record_s: int) -> int:
    """Seconds between readings by kind of metering."""
    if record_s == 10:
        return 10
    if kind == "full":
        return int(rng.choice([60, 60, 60, 60, 300]))
    if kind == "registers":
        return int(rng.choice([900, 3600]))
    if kind == "electricity_only":
        return int(rng.choice([60, 900, 3600]))
    return int(rng.choice([60, 60, 300, 300, 900]))
