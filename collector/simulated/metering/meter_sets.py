"""Typical meter sets of installations, with errors drawn once per meter."""

from __future__ import annotations

from typing import Literal

import numpy as np

from fieldfare.collector.simulated.design.spec import Meter, PlantSpec

HEAT_QUANTITIES = {"heat_output", "space_heat", "hot_water_heat"}
HEAT_ZERO_K = 0.15  # difference below which a heat meter does not count; common practice
# Limits of error. Electricity: EN 50470-3 at reference conditions. Heat: EN 1434-1 flow sensor at half of qp.
ELECTRICITY_LIMIT = {"A": 0.02, "B": 0.01, "C": 0.005}
FLOW_SENSOR_LIMIT = {"1": 0.0102, "2": 0.0204, "3": 0.031}
PAIR_LIMIT = (0.005, 0.09)  # EN 1434-1 temperature pair at 3 K least difference: share, and K
CALCULATOR_LIMIT = (0.005, 0.03)

SETS = (
    "rich",
    "full",
    "no_room",
    "no_cylinder",
    "unsplit",
    "basic",
    "hourly",
    "electricity_15min",
    "interval_15min",
    "monthly",
)


def meters_of(
    spec: PlantSpec, meter_set: str, *, every_s: int | None = None, errors: bool = True
) -> tuple[Meter, ...]:
    """Meters of a plant.

    spec : PlantSpec; meter_set : str, one of SETS; every_s : int [s], None the set's own; errors : bool,
        False for perfect meters that lose nothing
    Returns tuple of Meter. Raises ValueError for an unknown set.

    rich: fourteen to eighteen points a minute. full: everything the contract names. no_room, no_cylinder:
    rich without those sensors. unsplit: five minutes, without states, pumps in the unit's meter. basic:
    electricity, heat and outdoor every five minutes. hourly: two registers. electricity_15min: kWh a quarter
    of an hour. interval_15min: electricity and heat so. monthly: two registers read by hand.
    """
    if meter_set not in SETS:
        raise ValueError(f"meter_set must be one of {', '.join(SETS)}, got {meter_set!r}")
    draw = _Draw(np.random.default_rng([spec.seed, 2]), errors)
    default = {"unsplit": 300, "basic": 300, "hourly": 3600, "electricity_15min": 900, "interval_15min": 900}
    every = every_s or (30 * 86400 if meter_set == "monthly" else default.get(meter_set, 60))
    elec, heat = draw.electricity(), draw.heat()
    if meter_set == "electricity_15min":
        return (
            draw.meter(
                "hp_elec", "heat_pump_electricity", "interval", "kWh", 900, 0.001, elec, stamp="start"
            ),
        )
    if meter_set == "interval_15min":
        return (
            draw.meter(
                "hp_elec", "heat_pump_electricity", "interval", "kWh", every, 0.001, elec, stamp="end"
            ),
            draw.meter("heat", "heat_output", "interval", "kWh", every, 0.001, heat, stamp="end"),
            draw.gauge("outdoor", "outdoor_temperature", "degC", every, 0.1, 0.3),
        )
    registers = (
        draw.meter("hp_elec_kwh", "heat_pump_electricity", "register", "kWh", every, 0.01, elec),
        draw.meter("heat_kwh", "heat_output", "register", "kWh", every, 0.1 if every < 3600 else 1.0, heat),
    )
    if meter_set in {"hourly", "monthly"}:
        return registers
    if meter_set == "basic":
        return (*registers, draw.gauge("outdoor", "outdoor_temperature", "degC", every, 0.1, 0.3))
    return _detailed(spec, draw, meter_set, every, elec, heat, registers)


class _Draw:
    """Draws each meter's errors once."""

    def __init__(self, rng: np.random.Generator, errors: bool) -> None:
        self.rng, self.errors = rng, errors
        self.lost = float(rng.uniform(0.0, 0.004)) if errors else 0.0

    def _uniform(self, limit: float) -> float:
        return float(self.rng.uniform(-limit, limit)) if self.errors else 0.0

    def electricity(self) -> tuple[str, float, float]:
        """Class, gain and offset of an electricity meter."""
        name = str(self.rng.choice(["A", "B", "B", "C"]))
        return name, 1.0 + self._uniform(ELECTRICITY_LIMIT[name]), 0.0

    def heat(self) -> tuple[str, float, float]:
        """Class, gain and temperature-pair error [K] of a heat meter, from three independent parts."""
        name = str(self.rng.choice(["2", "2", "3", "1"]))
        gain = (
            (1.0 + self._uniform(FLOW_SENSOR_LIMIT[name]))
            * (1.0 + self._uniform(PAIR_LIMIT[0]))
            * (1.0 + self._uniform(CALCULATOR_LIMIT[0]))
        )
        return name, gain, self._uniform(PAIR_LIMIT[1]) + self._uniform(CALCULATOR_LIMIT[1])

    def meter(
        self,
        id: str,
        quantity: str,
        kind: Literal["power", "register", "interval", "gauge", "state"],
        unit: str,
        every: int,
        resolution: float,
        drawn: tuple[str, float, float],
        *,
        includes: tuple[str, ...] = (),
        stamp: str = "",
    ) -> Meter:
        """An energy or power meter."""
        noise = {"power": 2.0}.get(kind, 0.0) if self.errors else 0.0
        start = float(np.floor(self.rng.uniform(0.0, 9000.0))) if kind == "register" else 0.0
        return Meter(
            id,
            quantity,
            kind,
            unit,
            every,
            resolution,
            noise,
            drawn[1],
            drawn[2],
            drawn[0],
            includes,
            stamp,  # type: ignore[arg-type]
            start_value=start,
            lost_share=self.lost,
            antifreeze_corrected=None if quantity not in HEAT_QUANTITIES else False,
        )

    def gauge(
        self,
        id: str,
        quantity: str,
        unit: str,
        every: int,
        resolution: float,
        limit: float,
        *,
        zone: str = "",
        noise: float = 0.03,
        gain: float = 1.0,
        offset: float | None = None,
    ) -> Meter:
        """A sensor with a fixed offset inside its limit."""
        shift = self._uniform(limit) if offset is None else offset
        return Meter(
            id,
            quantity,
            "gauge",
            unit,
            every,
            resolution,
            noise if self.errors else 0.0,
            gain,
            shift,
            zone=zone,
            lost_share=self.lost,
        )

    def state(self, id: str, quantity: str, every: int, zone: str = "") -> Meter:
        """A state that the unit reports."""
        return Meter(id, quantity, "state", "", every, zone=zone, lost_share=self.lost)

    def count(self, id: str, quantity: str, unit: str, every: int, resolution: float) -> Meter:
        """A counter of the unit."""
        return Meter(
            id,
            quantity,
            "register",
            unit,
            every,
            resolution,
            lost_share=self.lost,
            start_value=float(np.floor(self.rng.uniform(50.0, 4000.0))),
        )


def _detailed(
    spec: PlantSpec,
    draw: _Draw,
    meter_set: str,
    every: int,
    elec: tuple[str, float, float],
    heat: tuple[str, float, float],
    registers: tuple[Meter, ...],
) -> tuple[Meter, ...]:
    """The richer sets: powers, registers, temperatures and states."""
    pumps_inside = meter_set == "unsplit" or bool(draw.rng.random() < 0.3)
    includes = ("circulation_pump",) if pumps_inside else ()
    fine = 0.01 if draw.rng.random() < 0.5 else 0.1
    # flow, return and flow rate are the heat meter's own sensors and share its errors
    common = draw._uniform(0.15)
    out = [
        draw.meter("hp_elec", "heat_pump_electricity", "power", "W", every, 1.0, elec, includes=includes),
        Meter(**{**registers[0].__dict__, "includes": includes}),
        draw.meter("heat", "heat_output", "power", "W", every, 1.0, heat),
        registers[1],
        draw.gauge("flow_temp", "flow_temperature", "degC", every, fine, 0.0, offset=common + heat[2] / 2),
        draw.gauge(
            "return_temp", "return_temperature", "degC", every, fine, 0.0, offset=common - heat[2] / 2
        ),
        draw.gauge("flow_rate", "flow_rate", "m3/h", every, 0.001, 0.0, gain=heat[1], noise=0.003),
        draw.gauge("outdoor", "outdoor_temperature", "degC", every, 0.1, 0.3),
    ]
    zones = spec.house.zones
    if meter_set != "no_room":
        for zone in zones:
            name = "room" if len(zones) == 1 else f"room_{zone}"
            out.append(draw.gauge(name, "room_temperature", "degC", every, 0.1, 0.2, zone=zone))
    hot = spec.hot_water
    if hot is not None and meter_set != "no_cylinder":
        out.append(draw.gauge("cylinder", "cylinder_temperature", "degC", every, 0.1, 0.4))
    if meter_set != "unsplit":
        out.append(draw.state("mode", "operating_mode", every))
        if not pumps_inside:
            out.append(
                draw.meter(
                    "pump_elec", "circulation_pump_electricity", "power", "W", every, 1.0, draw.electricity()
                )
            )
    if hot is not None:
        out.append(
            draw.meter(
                "immersion_kwh", "immersion_electricity", "register", "kWh", every, 0.01, draw.electricity()
            )
        )
    if spec.backup is not None:
        out.append(
            draw.meter(
                "backup_kwh", "backup_heater_electricity", "register", "kWh", every, 0.01, draw.electricity()
            )
        )
    if meter_set != "unsplit":
        out.append(draw.gauge("pressure", "system_pressure", "bar", every, 0.01, 0.05, noise=0.005))
        out.append(draw.gauge("target_flow", "target_flow_temperature", "degC", every, 0.1, 0.0, noise=0.0))
        name = "target_room" if len(zones) == 1 else f"target_room_{zones[0]}"
        if meter_set != "no_room":
            out.append(
                draw.gauge(name, "target_room_temperature", "degC", every, 0.1, 0.0, zone=zones[0], noise=0.0)
            )
    if meter_set == "full":
        out += _everything(spec, draw, every)
    return tuple(out)


def _everything(spec: PlantSpec, draw: _Draw, every: int) -> list[Meter]:
    """Additional points of the full set."""
    zones = spec.house.zones
    out = [
        draw.meter("fan_elec", "fan_electricity", "power", "W", every, 1.0, draw.electricity()),
        draw.meter("house_kwh", "house_electricity", "register", "kWh", every, 0.01, draw.electricity()),
        draw.gauge("humidity", "outdoor_humidity", "%", every, 0.1, 2.0, noise=0.3),
        draw.gauge(
            "sun", "solar_irradiance", "W/m2", every, 1.0, 0.0, noise=2.0, gain=1.0 + draw._uniform(0.03)
        ),
        draw.gauge("dist_flow", "distribution_flow_temperature", "degC", every, 0.1, 0.2),
        draw.gauge("dist_return", "distribution_return_temperature", "degC", every, 0.1, 0.2),
        draw.state("defrosting", "defrost_active", every),
        draw.state("diverter", "diverter_to_hot_water", every),
        draw.state("fault", "fault_code", every),
        draw.gauge("speed", "compressor_speed", "%", every, 1.0, 0.0, noise=0.0),
        draw.count("starts", "compressor_starts", "count", every, 1.0),
        draw.count("hours", "compressor_hours", "h", every, 1.0),
    ]
    out += [draw.state("call" if len(zones) == 1 else f"call_{z}", "heat_call", every, zone=z) for z in zones]
    if len(zones) > 1:
        out.append(
            draw.gauge(
                f"target_room_{zones[1]}",
                "target_room_temperature",
                "degC",
                every,
                0.1,
                0.0,
                zone=zones[1],
                noise=0.0,
            )
        )
    if spec.buffer is not None:
        out.append(draw.gauge("buffer", "buffer_temperature", "degC", every, 0.1, 0.3))
    return out
