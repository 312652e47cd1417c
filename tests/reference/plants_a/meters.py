"""Meters and gateways: what is measured, with class errors, resolution, noise, spacing and gaps."""

from dataclasses import dataclass

import numpy as np

from tests.reference.plants_a.home import Plant

KWH_PER_MINUTE_W = 1.0 / 60000.0
MODES = {0: "off", 1: "heating", 2: "hot_water", 3: "defrost", 4: "cooling"}
SETS = {
    "full": 5,
    "heat_meter": 2,
    "electricity_only": 1,
    "registers_only": 1,
    "coarse_registers": 2,
    "gateway_no_heat_meter": 3,
}


@dataclass
class Channel:
    """One point: its site-file entry, one value a minute, and the meter that takes it (for clock faults)."""

    entry: dict
    values: np.ndarray
    resolution: float = 0.0
    kind: str = "last"  # last | mean | register | state
    device: str = "gateway"


def meter_errors(rng: np.random.Generator) -> dict:
    """Draw the errors of this home's meters: EN 1434 class 2 (inner part of the limit), EN 50470 class B."""
    return {
        "heat_gain": float(np.clip(rng.normal(1.0, 0.012), 0.97, 1.03)),
        "heat_dt_k": float(np.clip(rng.normal(0.0, 0.04), -0.09, 0.09)),
        "elec_gain": float(np.clip(rng.normal(1.0, 0.006), 0.985, 1.015)),
        "flow_gain": float(np.clip(rng.normal(1.0, 0.012), 0.97, 1.03)),
        "t_flow": float(np.clip(rng.normal(0, 0.1), -0.25, 0.25)),
        "t_return": float(np.clip(rng.normal(0, 0.1), -0.25, 0.25)),
        "outdoor": float(np.clip(rng.normal(0, 0.3), -0.6, 0.6)),
        "room": float(np.clip(rng.normal(0, 0.15), -0.3, 0.3)),
        "cylinder": float(rng.normal(0, 0.3)),
    }


def heat_signal(plant: Plant, log: np.ndarray, err: dict) -> np.ndarray:
    """Return heat power [W] as the heat meter sees it."""
    s = plant.sensing
    g = log["q_unit"] / 3600.0 * float(plant.params["rho_cp"][0])
    heat = log["q_meter"].copy()
    if s.get("one_branch"):
        heat = log["q_sh"] * s["one_branch"]
    elif s.get("behind_heater"):
        heat = heat + log["bu_w"]
    heat = err["heat_gain"] * (heat + g * err["heat_dt_k"])
    if s.get("antifreeze_uncorrected"):
        heat = heat * 1.155 / 1.1137
    if s.get("forward_only"):
        heat = np.maximum(heat, 0.0)
    return heat * s.get("heat_factor", 1.0)


def electricity_signal(
    plant: Plant, log: np.ndarray, err: dict, with_pump: bool, rng: np.random.Generator
) -> np.ndarray:
    """Return the electricity [W] that the heat pump's meter sees."""
    power = log["hp_w"] + (log["pump_w"] if with_pump else 0.0)
    if plant.sensing.get("car_w"):
        hour = plant.hour()[-len(log) :]
        nights = np.repeat(rng.random(len(log) // 1440 + 1) < 0.55, 1440)[: len(log)]
        power = power + plant.sensing["car_w"] * (nights & (hour >= 0.5) & (hour < 4.0))
    other = plant.sensing.get("other_load_w", 0.0)
    if other:
        on = np.repeat(rng.random(len(log) // 60 + 1) < 0.3, 60)[: len(log)]
        power = power + other * (0.25 + on)
    return power * err["elec_gain"] * plant.sensing.get("elec_factor", 1.0)


def outdoor_signal(plant: Plant, log: np.ndarray, err: dict) -> np.ndarray:
    """Return the outdoor temperature [degC] at the sensor."""
    value = log["to"] + err["outdoor"]
    gain = plant.sensing.get("outdoor_sun_k", 0.0)
    if gain:
        warm = np.zeros(len(log))
        sun = log["sun"]
        last = 0.0
        for i in range(0, len(log), 10):
            last += (sun[i] / 600.0 * gain - last) * 0.25
            warm[i : i + 10] = last
        value = value + warm
    return value


class Board:
    """Collects the channels of one home."""

    def __init__(self, plant: Plant, log: np.ndarray, rng: np.random.Generator) -> None:
        self.plant, self.log, self.rng = plant, log, rng
        self.err = meter_errors(rng)
        self.channels: list[Channel] = []
        self.prefix = str(rng.choice(["", "hp_", "gw_", "m1_"]))

    def add(self, name: str, quantity: str, how: str, unit: str, signal: np.ndarray, **more: object) -> None:
        """Add a channel; `more` are fields of the site file's entry, or resolution, kind and device."""
        entry = {"id": self.prefix + name, "quantity": quantity, "as": how, "unit": unit}
        resolution = float(more.pop("resolution", 0.0))
        kind = str(more.pop("kind", "last"))
        device = str(more.pop("device", "gateway"))
        entry |= more
        if unit == "":
            entry.pop("unit")
        self.channels.append(Channel(entry, signal, resolution, kind, device))

    def gauge(
        self, name: str, quantity: str, unit: str, values: np.ndarray, resolution: float, noise: float, **more
    ) -> None:
        """Add a gauge with noise."""
        self.add(
            name,
            quantity,
            "gauge",
            unit,
            values + noise * self.rng.standard_normal(len(values)),
            resolution=resolution,
            **more,
        )

    def energy(
        self, name: str, quantity: str, watts: np.ndarray, how: str, coarse: float | None = None, **more
    ) -> None:
        """Add power, register or both of one meter. `coarse` is the register's resolution [kWh]."""
        factor = {"heat_output": "heat_unit", "heat_pump_electricity": "elec_unit"}.get(quantity, "")
        unit_error = float(self.plant.sensing.get(factor, 1.0))
        if "power" in how:
            kilo = self.rng.random() < 0.3
            scale = 0.001 if kilo else 1.0
            resolution = more.get("power_resolution", 1.0) * scale
            self.add(
                name + "_p",
                quantity,
                "power",
                "kW" if kilo else "W",
                watts * scale * unit_error,
                resolution=resolution,
                kind="mean",
                **{k: v for k, v in more.items() if k != "power_resolution"},
            )
        if "register" in how:
            start = float(np.round(self.rng.uniform(50, 20000), 1))
            total = start + np.cumsum(watts) * KWH_PER_MINUTE_W
            res = coarse if coarse is not None else float(self.rng.choice([0.001, 0.01, 0.1]))
            self.add(
                name + "_e",
                quantity,
                "register",
                "kWh",
                total * unit_error,
                resolution=res,
                kind="register",
                **{k: v for k, v in more.items() if k != "power_resolution"},
            )

    def electricity(
        self, how: str, heaters: bool, coarse: float | None = None, power_resolution: float = 1.0
    ) -> None:
        """Add the electricity meters."""
        p, log = self.plant.params[0], self.log
        with_pump = bool(self.rng.random() < 0.4)
        more: dict = {"includes": ["circulation_pump"]} if with_pump else {}
        watts = electricity_signal(self.plant, log, self.err, with_pump, self.rng)
        self.energy(
            "elec",
            "heat_pump_electricity",
            watts,
            how,
            coarse,
            meter_class="B",
            device="elec",
            power_resolution=power_resolution,
            **more,
        )
        if not heaters:
            return
        built = self.plant.facts["asked"][0]
        if p["bu_w"] > 0 or self.rng.random() < 0.5:
            self.energy(
                "backup", "backup_heater_electricity", log["bu_w"] * 1.0, how, coarse, meter_class="B"
            )
        if self.plant.facts["hot_water"] and built["imm_w"] > 0:
            self.energy(
                "immersion", "immersion_electricity", log["imm_w"] * 1.0, how, coarse, meter_class="B"
            )
        if not with_pump:
            self.energy(
                "pump", "circulation_pump_electricity", log["pump_w"] * 1.0, how, coarse, meter_class="B"
            )

    def heat(self, how: str, coarse: float | None = None) -> None:
        """Add the heat meter."""
        more: dict = {}
        if self.plant.facts["antifreeze"] != "none":
            more["antifreeze_corrected"] = True
        if self.plant.facts.get("heat_includes"):
            more["includes"] = self.plant.facts["heat_includes"]
        self.energy(
            "heat",
            "heat_output",
            heat_signal(self.plant, self.log, self.err),
            how,
            coarse,
            meter_class="2",
            device="heat",
            **more,
        )

    def circuit(self) -> None:
        """Add flow and return temperature and flow rate."""
        log, e = self.log, self.err
        names = ("return", "flow") if self.plant.sensing.get("swap") else ("flow", "return")
        self.gauge(
            names[0], names[0] + "_temperature", "degC", log["t_u"] + e["t_flow"], 0.1, 0.03, device="heat"
        )
        self.gauge(
            names[1], names[1] + "_temperature", "degC", log["t_in"] + e["t_return"], 0.1, 0.03, device="heat"
        )
        litres = self.rng.random() < 0.4
        flow = log["q_unit"] * e["flow_gain"]
        if litres:
            self.gauge("volume", "flow_rate", "l/min", flow / 0.06, 0.1, 0.0, device="heat")
        else:
            self.gauge("volume", "flow_rate", "m3/h", flow, 0.005, 0.0, device="heat")

    def outdoor(self) -> None:
        """Add the outdoor temperature."""
        self.gauge(
            "outdoor",
            "outdoor_temperature",
            "degC",
            outdoor_signal(self.plant, self.log, self.err),
            0.1,
            0.05,
        )

    def rooms(self, targets: bool) -> None:
        """Add room temperatures and their targets."""
        for i, zone in enumerate(self.plant.facts["zone_names"], start=1):
            self.gauge(
                f"room{i}",
                "room_temperature",
                "degC",
                self.log[f"air{i}"] + self.err["room"],
                0.1,
                0.03,
                zone=zone,
            )
            if targets:
                self.gauge(
                    f"set{i}", "target_room_temperature", "degC", self.log[f"set{i}"], 0.5, 0.0, zone=zone
                )

    def mode(self) -> None:
        """Add the operating mode, in the gateway's own words or numbers."""
        style = int(self.rng.integers(3))
        words = [
            {m: m for m in MODES.values()},
            {"0": "off", "1": "heating", "2": "hot_water", "3": "defrost", "4": "cooling"},
            {
                "Standby": "off",
                "Heat": "heating",
                "DHW": "hot_water",
                "Defrost": "defrost",
                "Cool": "cooling",
            },
        ][style]
        back = {ours: word for word, ours in words.items()}
        text = np.array([back[MODES[k]] for k in range(5)], dtype=object)[self.log["mode"].astype(int)]
        more = {} if style == 0 else {"values": words}
        self.add("mode", "operating_mode", "state", "", text, kind="state", **more)

    def unit_states(self) -> None:
        """Add what the unit's own gateway tells: defrost, speed, starts, code, diverter."""
        log, rng, p = self.log, self.rng, self.plant.params[0]
        if rng.random() < 0.6:
            self.add(
                "defrost",
                "defrost_active",
                "state",
                "",
                log["def_on"].astype(int).astype(str).astype(object),
                kind="state",
            )
        if rng.random() < 0.6:
            top = float(p["f_max"] * (1 + p["boost"]))
            self.gauge("speed", "compressor_speed", "%", 100.0 * log["f"] / top, 1.0, 0.0)
        if rng.random() < 0.5:
            self.add(
                "starts",
                "compressor_starts",
                "register",
                "count",
                1200 + log["starts"],
                resolution=1.0,
                kind="register",
            )
            self.add(
                "hours",
                "compressor_hours",
                "register",
                "h",
                4100 + log["hours"],
                resolution=0.1,
                kind="register",
            )
        if rng.random() < 0.8 or log["code"].any():
            text = np.where(
                log["code"] > 0.5, np.char.add("E", log["code"].astype(int).astype(str)), "0"
            ).astype(object)
            self.add("code", "fault_code", "state", "", text, kind="state")
        if self.plant.facts["hot_water"] and rng.random() < 0.5:
            text = (log["circ"] == 2).astype(int).astype(str).astype(object)
            self.add("diverter", "diverter_to_hot_water", "state", "", text, kind="state")

    def cylinder(self) -> None:
        """Add the cylinder temperature."""
        if self.plant.facts["hot_water"]:
            resolution = float(self.rng.choice([0.1, 0.1, 0.5]))
            self.gauge(
                "cylinder",
                "cylinder_temperature",
                "degC",
                self.log["cyl"] + self.err["cylinder"],
                resolution,
                0.03,
            )

    def extras(self) -> None:
        """Add humidity, sun, pressure, targets, distribution and buffer temperatures."""
        log, rng, p = self.log, self.rng, self.plant.params[0]
        if rng.random() < 0.6:
            self.gauge("humidity", "outdoor_humidity", "%", np.clip(log["rh"], 0, 99), 1.0, 1.0)
        if rng.random() < 0.2:
            self.gauge("sun", "solar_irradiance", "W/m2", np.maximum(log["sun"], 0), 1.0, 0.0)
        self.gauge("flow_set", "target_flow_temperature", "degC", log["target"], 0.1, 0.0)
        self.gauge(
            "pressure", "system_pressure", "bar", log["pressure"], float(rng.choice([0.01, 0.1])), 0.005
        )
        if p["buffer"] > 1.5:
            self.gauge("dist_flow", "distribution_flow_temperature", "degC", log["t_dist_f"], 0.1, 0.03)
            self.gauge("dist_return", "distribution_return_temperature", "degC", log["t_dist_r"], 0.1, 0.03)
            self.gauge("buffer", "buffer_temperature", "degC", log["buffer"], 0.1, 0.03)
        if rng.random() < 0.4:
            for i, zone in enumerate(self.plant.facts["zone_names"], start=1):
                text = (log[f"call{i}"] > 0.5).astype(int).astype(str).astype(object)
                self.add(f"call{i}", "heat_call", "state", "", text, kind="state", zone=zone)


def build_channels(plant: Plant, log: np.ndarray, metering: str, rng: np.random.Generator) -> list[Channel]:
    """Return the channels of a metering set (a key of `SETS`)."""
    board = Board(plant, log, rng)
    both = str(rng.choice(["power register", "power register", "power", "register"]))
    if metering == "full":
        board.electricity("power register", True)
        board.heat("power register")
        for part in (
            board.circuit,
            board.outdoor,
            board.mode,
            board.unit_states,
            board.cylinder,
            board.extras,
        ):
            part()
        board.rooms(True)
    elif metering == "heat_meter":
        board.electricity(both, True)
        board.heat(both)
        board.circuit()
        if rng.random() < 0.7:
            board.outdoor()
    elif metering == "electricity_only":
        board.electricity(both, bool(rng.random() < 0.4))
        if rng.random() < 0.6:
            board.outdoor()
    elif metering == "registers_only":
        board.electricity("register", True, float(rng.choice([0.01, 0.1])))
        board.heat("register", float(rng.choice([0.01, 0.1, 1.0])))
        board.outdoor()
    elif metering == "coarse_registers":
        coarse = float(rng.choice([0.1, 1.0, 1.0]))
        board.electricity("register", True, coarse)
        board.heat("register", coarse)
        for part in (board.circuit, board.outdoor, board.mode, board.cylinder):
            part()
        board.rooms(bool(rng.random() < 0.5))
    elif metering == "gateway_no_heat_meter":
        board.electricity("power", False, power_resolution=float(rng.choice([10.0, 50.0, 100.0])))
        for part in (
            board.circuit,
            board.outdoor,
            board.mode,
            board.unit_states,
            board.cylinder,
            board.extras,
        ):
            part()
        board.rooms(True)
    else:
        raise ValueError(f"unknown metering {metering!r}; use one of {', '.join(SETS)}")
    return board.channels
