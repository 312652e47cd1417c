"""A small house for situations: one room, one water circuit, one cylinder, stepped by the minute.

Energy is kept: what the unit gives warms water, the water warms the room, the room loses heat to the air.
Every input is
an array of minutes, so that a situation breaks exactly one thing at one time. Constants are round numbers of
a usual
house (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings, Samples
from tests.situations.case import Made

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LOSS_W_PER_K, ROOM_WH_PER_K, GAINS_W = 220.0, 12000.0, 500.0
EMITTER_W_PER_K, WATER_WH_PER_K = 240.0, 110.0
LEAST_W, MOST_W, STANDBY_W = 2000.0, 8000.0, 14.0
CURVE = ((-5.0, 45.0), (15.0, 29.0))
TANK_WH_PER_K, TANK_LOSS_W_PER_K, DRAW_WH = 232.0, 2.0, 1600.0
SETPOINT_C, REHEAT_C = 50.0, 43.0
DRAWS = (430, 760, 1150)

QUANTITIES: dict[str, tuple[str, str, str]] = {
    "elec": ("heat_pump_electricity", "power", "W"),
    "heat": ("heat_output", "power", "W"),
    "flow": ("flow_temperature", "gauge", "degC"),
    "return": ("return_temperature", "gauge", "degC"),
    "rate": ("flow_rate", "gauge", "m3/h"),
    "outdoor": ("outdoor_temperature", "gauge", "degC"),
    "room": ("room_temperature", "gauge", "degC"),
    "target": ("target_room_temperature", "gauge", "degC"),
    "target_flow": ("target_flow_temperature", "gauge", "degC"),
    "tank": ("cylinder_temperature", "gauge", "degC"),
    "mode": ("operating_mode", "state", ""),
    "call": ("heat_call", "state", ""),
    "fault": ("fault_code", "state", ""),
    "backup": ("backup_heater_electricity", "power", "W"),
    "immersion": ("immersion_electricity", "power", "W"),
    "speed": ("compressor_speed", "gauge", "%"),
    "elec_kwh": ("heat_pump_electricity", "register", "kWh"),
    "heat_kwh": ("heat_output", "register", "kWh"),
    "house_kwh": ("house_electricity", "register", "kWh"),
}
USUAL = ("elec", "heat", "flow", "return", "rate", "outdoor", "room", "target", "tank", "mode")


@dataclass
class House:
    """A house over whole local days, and what is done to it.

    points : ids of QUANTITIES that are metered. every : minutes between readings, one number or by point
    steps : point -> smallest step of its register or display, in its unit
    outdoor, target, stove : float64 (n,) [°C, °C, W]. supply, free, heats, reheats : bool (n,): the unit has
    power; is not
        locked out; may heat the rooms; may heat the cylinder. backup, immersion : float64 (n,) [W], the
        back-up heater only while the circuit asks for it
    gives : bool (n,), False where the compressor turns and gives no heat. most_w : the most it gives [W]
    pumps : bool (n,), the water pump turns; without it each run ends within minutes. cools : bool (n,), the
        unit is set to cooling and answers the rooms' call with cold water
    valve : int8 (n,): 0 follows the unit, 1 stays towards the rooms, 2 towards the cylinder
    setpoint_c, reheat_c : of the cylinder. by_room : the thermostat decides when to heat, else the weather
        alone
    heater_inside : the back-up heater is behind the unit's own electricity and heat meters
    trips : minutes after which the unit ends each run by itself, 0 never. calls : rooms decide by a
    thermostat
    fault : object (n,) of str
    """

    first: date = date(2026, 1, 12)
    days: int = 10
    mean_c: float = 3.0
    points: tuple[str, ...] = USUAL
    every: int | Mapping[str, int] = 1
    steps: Mapping[str, float] = field(default_factory=dict)
    target_c: float = 20.5
    cutoff_c: float = 16.0
    start_room_c: float = 20.3
    loss_w_per_k: float = LOSS_W_PER_K
    trips: int = 0
    pause: int = 8
    extra: str = ""
    heater_inside: bool = False
    setpoint_c: float = SETPOINT_C
    reheat_c: float = REHEAT_C
    by_room: bool = True
    most_w: float = MOST_W

    def __post_init__(self) -> None:
        zone = parse_site('[site]\nid = "xx"\nname = "x"\ntimezone = "Europe/London"\n')
        begin = local_midnight(zone, self.first - timedelta(1))
        end = local_midnight(zone, self.first + timedelta(self.days))
        self.time = np.arange(begin, end, 60_000, dtype=np.int64)
        n, minute = len(self.time), (self.time // 60_000) % 1440
        day = np.arange(n) / 1440.0
        swing = np.cos((minute - 885) * 2 * np.pi / 1440)
        self.outdoor = self.mean_c + 1.2 * np.sin(day / 2.5) + 2.5 * swing
        self.target = np.full(n, self.target_c)
        self.stove, self.backup, self.immersion = np.zeros(n), np.zeros(n), np.zeros(n)
        self.supply, self.free = np.ones(n, dtype=bool), np.ones(n, dtype=bool)
        self.heats, self.reheats = np.ones(n, dtype=bool), np.ones(n, dtype=bool)
        self.draws, self.pumps = np.ones(n, dtype=bool), np.ones(n, dtype=bool)
        self.cools, self.valve = np.zeros(n, dtype=bool), np.zeros(n, dtype=np.int8)
        self.sent, self.gives = np.ones(n, dtype=bool), np.ones(n, dtype=bool)
        self.fault = np.full(n, "", dtype=object)
        self.minute = minute

    def between(self, first: float, last: float = 1e9) -> Flags:
        """Minutes from day `first` to day `last`, counted from local midnight of the first judged day (UTC
        in winter).
        """
        day = (self.time - self.time[0]) / 86_400_000.0 - 1.0
        return np.asarray((day >= first) & (day < last))

    def hours(self, first: float, last: float) -> Flags:
        """Minutes of every day from hour `first` to hour `last`."""
        return np.asarray((self.minute >= first * 60) & (self.minute < last * 60))

    def made(self, until: float = 1e9) -> Made:
        """Site file and readings. until : days after which the data end, counted as `between`."""
        kept = self.between(-9.0, until) & self.sent
        values = self._run()
        readings: Readings = {}
        for point in self.points:
            every = self.every if isinstance(self.every, int) else self.every.get(point, 1)
            rows = np.flatnonzero(kept & ((self.time // 60_000) % every == 0))
            value = values[point][rows]
            if step := self.steps.get(point):
                value = np.floor(value / step + 1e-9) * step
            readings[point] = Samples(self.time[rows], value)
        newest = max((int(s.time[-1]) for s in readings.values() if len(s.time)), default=int(self.time[-1]))
        shown = self.first + timedelta(int((newest - self.time[0]) // 86_400_000) - 1)
        return Made(self.site_text, readings, self.first, shown)

    @property
    def site_text(self) -> str:
        head = (
            '[site]\nid = "test-house"\nname = "Test House"\ntimezone = "Europe/London"\nlatitude = 52.0\n'
            "longitude = -2.0\n[design]\nheat_loss_kw = 5.7\nindoor_c = 20.5\noutdoor_c = -5.0\n[heat_pump]\n"
            "rated_output_kw = 8.0\nmin_output_kw = 2.0\n[heating_curve]\npoints = "
            f"{[list(p) for p in CURVE]}\n"
        )
        if "tank" in self.points or "mode" in self.points:
            head += (
                f"[hot_water]\ncylinder_litres = 200\nsetpoint_c = {self.setpoint_c}\n"
                f"reheat_below_c = {self.reheat_c}\n"
            )
        for point in self.points:
            quantity, form, unit = QUANTITIES[point]
            head += f'[[point]]\nid = "{point}"\nquantity = "{quantity}"\nas = "{form}"\n'
            head += f'unit = "{unit}"\n' if unit else ""
        return head + self.extra

    def _run(self) -> dict[str, NDArray[np.generic]]:
        n = len(self.time)
        names = (
            "elec",
            "heat",
            "flow",
            "return",
            "rate",
            "room",
            "tank",
            "mode",
            "call",
            "target_flow",
            "speed",
        )
        # Lists: a step reads and writes single numbers, which takes arrays four times as long.
        columns: dict[str, list[float]] = {name: [0.0] * n for name in names}
        curves = np.interp(self.outdoor, [c[0] for c in CURVE], [c[1] for c in CURVE]).tolist()
        outdoors, targets, stoves = self.outdoor.tolist(), self.target.tolist(), self.stove.tolist()
        backups, immersions = self.backup.tolist(), self.immersion.tolist()
        supplied, free, heats, reheats = (
            flags.tolist() for flags in (self.supply, self.free, self.heats, self.reheats)
        )
        pumps, cools, gives = self.pumps.tolist(), self.cools.tolist(), self.gives.tolist()
        valves = self.valve.tolist()
        drawing = np.any([(self.minute - d >= 0) & (self.minute - d < 20) for d in DRAWS], axis=0)
        draws = np.where(drawing, DRAW_WH * self.draws / 20.0, 0.0).tolist()
        room, water, tank = self.start_room_c, 33.0, 46.0
        running, job, calls, rest, ran = False, 0, False, 99, 0
        for i in range(n):
            outdoor, target, pumped, valve = outdoors[i], targets[i], pumps[i], valves[i]
            asked = curves[i] + 1.5 * (target - 20.5)
            season = outdoor < self.cutoff_c
            cool = room < target + (0.6 if calls else 0.2) or not self.by_room
            calls = heats[i] and season and cool
            works = supplied[i] and free[i]
            if not works:
                running, job = False, 0
            # What the unit's own flow sensor sees decides, wherever the valve sends the water.
            side = valve or job
            seen = tank + 3.0 if side == 2 and job == 1 else water
            charging = job == 2 and tank < self.setpoint_c and not (side == 1 and water > 55.0)
            if job == 2 and not charging:
                running, job, rest = False, 0, 0
            if (
                running
                and job == 1
                and (not calls or seen > asked + 3.5 or (self.trips and ran >= self.trips))
            ):
                running, job, rest = False, 0, 0
            if running and not pumped and ran >= 4:
                running, job, rest = False, 0, 0
            if job == 4 and (not calls or not cools[i] or water < 12.0):
                running, job, rest = False, 0, 0
            waits = self.pause if pumped else 30
            wants_water = reheats[i] and tank < self.reheat_c and job != 2
            if works and wants_water and (pumped or rest >= waits) and not (valve == 1 and rest < 45):
                running, job, ran = True, 2, 0
            if works and not running and calls and rest >= waits:
                if cools[i]:
                    running, job, ran = (True, 4, 0) if water > 17.0 else (False, 0, ran)
                elif (tank + 3.0 if valve == 2 else water) < asked - 2.5:
                    running, job, ran = True, 1, 0
            side = valve or job
            rest, ran = rest + 1, ran + 1 if running else 0
            heat = 0.0
            if running and job == 1:
                wanted = EMITTER_W_PER_K * (asked - room) + 900.0 * (
                    asked - seen if side == 2 else asked - water
                )
                heat = min(max(wanted, LEAST_W), self.most_w)
            elif running and job == 4:
                heat = -3000.0
            elif running:
                heat = 5000.0
            top = tank + 6.0 if side == 2 else water + heat / 2300.0
            cop = 0.42 * (top + 275.0) / max(top + 8.0 - outdoor, 12.0)
            drawn_w = abs(heat) / cop + 40.0
            if not gives[i]:
                heat, top = 0.0, (tank if side == 2 else water)
            if not pumped:
                heat, top = 0.0, water + 5.0 * ran
            emitted = (
                EMITTER_W_PER_K * max(water - room, 0.0)
                if (job == 1 or calls) and job != 4
                else 60.0 * (water - room)
            )
            helped = calls and job != 2 and water < asked + 0.5
            backups[i] *= helped
            gain = (heat if side in (1, 4) else 0.0) + backups[i] - emitted
            water += gain / 60.0 / WATER_WH_PER_K
            lost = self.loss_w_per_k * (room - outdoor)
            room += (emitted + GAINS_W + stoves[i] - lost) / 60.0 / ROOM_WH_PER_K
            tank_heat = (heat if side == 2 else 0.0) + immersions[i] - TANK_LOSS_W_PER_K * (tank - 19.0)
            tank += (tank_heat / 60.0 - (draws[i] if tank > 15.0 else 0.0)) / TANK_WH_PER_K
            flows = (running or (calls and supplied[i])) and pumped
            standby = STANDBY_W if supplied[i] else 0.0
            columns["elec"][i] = drawn_w if running else standby
            columns["heat"][i] = heat
            columns["rate"][i] = 1.0 if flows else 0.0
            columns["flow"][i] = top if side == 2 else (water + heat / 2300.0 if pumped else top)
            columns["return"][i] = (top - heat / 1160.0) if side == 2 else water - heat / 2300.0
            columns["room"][i], columns["tank"][i], columns["mode"][i] = room, tank, float(job)
            columns["speed"][i] = 100.0 * abs(heat) / MOST_W if running else 0.0
            columns["call"][i], columns["target_flow"][i] = float(calls), asked if calls else 0.0
        self.backup[:] = backups
        out: dict[str, NDArray[np.generic]] = {name: np.array(column) for name, column in columns.items()}
        return self._shown(out)

    def _shown(self, out: dict[str, NDArray[np.generic]]) -> dict[str, NDArray[np.generic]]:
        """Meters' resolution and noise, registers, and what is not worked out by the minute."""
        rng, n = np.random.default_rng(5), len(self.time)
        elec, heat = np.asarray(out["elec"], dtype=float), np.asarray(out["heat"], dtype=float)
        if self.heater_inside:
            elec, heat = elec + self.backup, heat + self.backup
        out["heat"] = np.round(heat * (1.0 + 0.005 * rng.standard_normal(n)), 0)
        noisy = {"flow": 0.04, "return": 0.04, "room": 0.03, "tank": 0.03, "outdoor": 0.05}
        out |= {"outdoor": self.outdoor, "target": self.target, "fault": self.fault, "backup": self.backup}
        out |= {"immersion": self.immersion}
        for name, size in noisy.items():
            out[name] = np.round(np.asarray(out[name], dtype=float) + size * rng.standard_normal(n), 2)
        out["elec"] = np.where(elec > 0, np.round(elec + rng.standard_normal(n) * 0.01 * elec, 1), 0.0)
        out["elec_kwh"] = 3000.0 + np.cumsum(elec) / 60_000.0
        out["heat_kwh"] = 9000.0 + np.cumsum(heat) / 60_000.0
        base = 250.0 + 150.0 * (np.sin(self.minute / 90.0) > 0.3)
        out["house_kwh"] = 500.0 + np.cumsum(elec + base + self.backup + self.immersion) / 60_000.0
        return out
