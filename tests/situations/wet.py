"""A cylinder, its charges and the circuit's pressure, stepped by the minute, for situations about water.

The cylinder is one well mixed store, the heating a plain pattern of runs: what is broken is the water's
side, and every part of it stands here. Constants are round numbers of a usual house (common practice, no
source); densities of water are those of a handbook's table (CRC, from memory), so that the expansion is not
the analysis' own.
"""

from __future__ import annotations

from collections.abc import Callable
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

WATTS = 6500.0
DRAWS = ((420, 15), (450, 10), (745, 6), (1140, 12), (1200, 15))
"""Local minutes at which water is drawn, and for how long."""
DRAW_W = 13_000.0
CIRCUIT_LITRES = 150.0
_AT, _DENSITY = (
    (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0),
    (
        999.8,
        999.7,
        998.2,
        995.7,
        992.2,
        988.0,
        983.2,
        977.8,
        971.8,
    ),
)

QUANTITIES: dict[str, tuple[str, str, str]] = {
    "elec": ("heat_pump_electricity", "power", "W"),
    "heat": ("heat_output", "power", "W"),
    "flow": ("flow_temperature", "gauge", "degC"),
    "return": ("return_temperature", "gauge", "degC"),
    "rate": ("flow_rate", "gauge", "m3/h"),
    "outdoor": ("outdoor_temperature", "gauge", "degC"),
    "room": ("room_temperature", "gauge", "degC"),
    "tank": ("cylinder_temperature", "gauge", "degC"),
    "mode": ("operating_mode", "state", ""),
    "immersion": ("immersion_electricity", "power", "W"),
    "pressure": ("system_pressure", "gauge", "bar"),
}
METERED = (
    "elec",
    "heat",
    "flow",
    "return",
    "rate",
    "outdoor",
    "room",
    "tank",
    "mode",
    "immersion",
    "pressure",
)


def _nothing(_: Wet) -> None:
    return None


@dataclass
class Wet:
    """A site over whole local days, and what is done to its water.

    setpoint_c, reheat_c : of the cylinder. disinfect_c, hold_min, every_days : the run that is made, None
        for none
    planned_c : the schedule in the site file, None for none. flow_limit_c, coil_w_per_k : what a charge can
        reach
    leak : share of a charge's heat that goes elsewhere. loss_w_per_k : the cylinder's
    vessel_litres, cold_bar : of the heating circuit. change : called last, to change the arrays below
    draws : float64 (n,), 1 where water is drawn as usual. source : float64 (n,) [W] into the cylinder, not
        metered
    source_limit_c : above it the source rests. stirred : after each disinfection the cylinder is stirred
        cold for three hours
    every : minutes between readings. gauge_bar : the smallest step that the pressure gauge shows
    stir : float64 (n,) [W/K], a circulation pipe. fill : float64 (n,) [l a minute] into the circuit,
        negative for a leak
    pocket_lost_day : from then on the cylinder's sensor hangs in the air of its cupboard, and the unit
        charges by what it shows
    on : bool (n,), the unit works. tank_shown : what the sensor makes of the cylinder's temperature
    """

    days: int = 28
    first: date = date(2026, 1, 12)
    mean_c: float = 4.0
    litres: float = 250.0
    setpoint_c: float = 50.0
    reheat_c: float = 43.0
    disinfect_c: float | None = 60.0
    hold_min: int = 90
    every_days: int = 7
    planned_c: float | None = 60.0
    flow_limit_c: float = 68.0
    coil_w_per_k: float = 800.0
    leak: float = 0.0
    loss_w_per_k: float = 2.0
    heating_c: float | None = None
    source_limit_c: float = 91.0
    stirred: bool = False
    every: int = 1
    gauge_bar: float = 0.01
    vessel_litres: float = 18.0
    cold_bar: float = 1.3
    pocket_lost_day: float = 1e9
    points: tuple[str, ...] = METERED
    extra: str = ""
    change: Callable[[Wet], None] = _nothing
    tank_shown: Callable[[Wet, Floats], Floats] = field(default=lambda _, tank: tank)

    def __post_init__(self) -> None:
        zone = parse_site('[site]\nid = "xx"\nname = "x"\ntimezone = "Europe/London"\n')
        begin = local_midnight(zone, self.first - timedelta(1))
        end = local_midnight(zone, self.first + timedelta(self.days))
        self.time = np.arange(begin, end, 60_000, dtype=np.int64)
        n = len(self.time)
        self.minute = (self.time // 60_000) % 1440
        self.day = (self.time - begin) / 86_400_000.0 - 1.0
        swing = np.cos((self.minute - 885) * 2 * np.pi / 1440)
        self.outdoor = self.mean_c + 1.5 * np.sin(self.day / 2.5) + 2.5 * swing
        self.draws, self.on = np.ones(n), np.ones(n, dtype=bool)
        self.source, self.stir, self.fill = np.zeros(n), np.zeros(n), np.zeros(n)
        self.heats = np.ones(n, dtype=bool)
        self.change(self)

    def hours(self, first: float, last: float) -> Flags:
        return np.asarray((self.minute >= first * 60) & (self.minute < last * 60))

    def made(self) -> Made:
        """Site file and readings, with sensors' noise."""
        values, rng = self._run(), np.random.default_rng(11)
        steps = {"tank": 0.03, "flow": 0.04, "return": 0.04, "room": 0.03, "pressure": 0.005, "outdoor": 0.05}
        readings: Readings = {}
        rows = np.arange(0, len(self.time), self.every)
        for point in self.points:
            value = values[point] + steps.get(point, 0.0) * rng.standard_normal(len(self.time))
            step = self.gauge_bar if point == "pressure" else 0.01
            readings[point] = Samples(self.time[rows], np.round(np.round(value[rows] / step) * step, 2))
        return Made(self.site_text, readings, self.first, self.first + timedelta(self.days - 1))

    @property
    def site_text(self) -> str:
        head = (
            '[site]\nid = "test-water"\nname = "Test Water"\ntimezone = "Europe/London"\nlatitude ='
            " 52.0\nlongitude = -2.0\n[design]\nheat_loss_kw = 5.6\nindoor_c = 20.5\noutdoor_c ="
            " -5.0\n[heat_pump]\nrated_output_kw = 8.0\nmin_output_kw = 2.0\nflow_m3_per_h = 1.2\nmax_flow_c"
            f" = {self.flow_limit_c}\n[heating_curve]\npoints = [[-5.0, {self.heating_c or 44.0}], [15.0,"
            f" {self.heating_c or 28.0}]]\n[hot_water]\ncylinder_litres = {self.litres}\nsetpoint_c ="
            f" {self.setpoint_c}\nreheat_below_c = {self.reheat_c}\n"
        )
        if self.planned_c is not None:
            head += f"pasteurise_c = {self.planned_c}\npasteurise_every_days = {self.every_days}\n"
        for point in self.points:
            quantity, form, unit = QUANTITIES[point]
            head += f'[[point]]\nid = "{point}"\nquantity = "{quantity}"\nas = "{form}"\n'
            head += f'unit = "{unit}"\n' if unit else ""
        return head + self.extra

    def _run(self) -> dict[str, Floats]:
        n = len(self.time)
        # Lists: a step reads and writes single numbers, which takes arrays four times as long.
        columns: dict[str, list[float]] = {name: [0.0] * n for name in QUANTITIES}
        heat_per_k = self.litres * 1.163
        tank, charging, target, until = self.setpoint_c - 2.0, False, 0.0, -1
        drawing = np.zeros(n)
        for at, length in DRAWS:
            drawing[(self.minute >= at) & (self.minute < at + length)] = 1.0
        draws = (DRAW_W * (drawing * self.draws)).tolist()
        outdoors, minutes, days = self.outdoor.tolist(), self.minute.tolist(), self.day.tolist()
        on, heats, stirs, sources = (
            inputs.tolist() for inputs in (self.on, self.heats, self.stir, self.source)
        )
        for i in range(n):
            due = self.disinfect_c is not None and minutes[i] == 120 and int(days[i]) % self.every_days == 2
            if due and self.disinfect_c is not None:
                target, until = self.disinfect_c, -1
            boost = 0.0
            if target:
                boost = 3000.0 if tank < target else 0.0
                if tank >= target and until < 0:
                    until = i + self.hold_min
                if 0 <= until <= i:
                    target, boost = 0.0, 0.0
            shown = tank if days[i] < self.pocket_lost_day else 23.0 + 0.03 * (tank - 45.0)
            if on[i] and shown < self.reheat_c:
                charging = True
            given = max(min(WATTS, self.coil_w_per_k * (self.flow_limit_c - tank)), 0.0)
            if days[i] >= self.pocket_lost_day:
                given = max(given, 400.0)  # the unit goes on at its flow limit: its sensor never warms
            if shown >= self.setpoint_c or not on[i] or given < 400.0:
                charging = False
            heating = on[i] and heats[i] and not charging and minutes[i] % 60 < 35
            heat = given if charging else 0.0
            stir = 60.0 if self.stirred and 0 <= until <= i < until + 180 else stirs[i]
            loss = (self.loss_w_per_k + stir) * (tank - 20.0)
            source = sources[i] if tank < self.source_limit_c else 0.0
            drawn = draws[i] * (tank - 10.0) / 40.0
            tank += (heat + boost + source - loss - drawn) / 60.0 / heat_per_k
            house = 220.0 * max(20.0 - outdoors[i], 0.0) * 60.0 / 35.0
            gives = heat / (1.0 - self.leak) if charging else house if heating else 0.0
            curve = self.heating_c or 28.0 + 0.8 * (15.0 - outdoors[i])
            top = tank + heat / self.coil_w_per_k if charging else curve
            cop = 0.45 * (top + 275.0) / max(top + 8.0 - outdoors[i], 15.0)
            columns["elec"][i] = gives / cop + 30.0 if gives else 15.0
            columns["heat"][i], columns["rate"][i] = gives, 1.2 if gives else 0.0
            idle = 24.0 if i == 0 else 24.0 + (columns["flow"][i - 1] - 24.0) * 0.98
            columns["flow"][i] = top if gives else idle
            columns["return"][i] = top - gives / 1390.0 if gives else idle - 0.1
            columns["mode"][i] = 2.0 if charging else 1.0 if heating else 0.0
            columns["immersion"][i], columns["tank"][i] = boost, shown
        out = {name: np.array(column) for name, column in columns.items()}
        out["outdoor"], out["room"] = self.outdoor, np.full(n, 20.3)
        out["pressure"] = self._pressure((out["flow"] + out["return"]) / 2.0)
        out["tank"] = self.tank_shown(self, out["tank"])
        return out

    def _pressure(self, sensed: Floats) -> Floats:
        """Gauge pressure [bar]: the vessel's gas takes up the water's growth; at 3 bar the relief valve
        lets water go."""
        loop = np.empty(len(sensed))
        mean = float(sensed[0])
        for i, value in enumerate(sensed.tolist()):
            mean += (value - mean) / 20.0  # the circuit follows its flow in twenty minutes
            loop[i] = mean
        growth = CIRCUIT_LITRES * (np.interp(10.0, _AT, _DENSITY) / np.interp(loop, _AT, _DENSITY) - 1.0)
        charge = self.cold_bar - 0.3 + 1.013
        gas = self.vessel_litres * charge / (self.cold_bar + 1.013)
        out, water, least = np.empty(len(sensed)), 0.0, (self.cold_bar + 1.013) * gas / 4.013
        for i, (grown, filled) in enumerate(zip(growth.tolist(), self.fill.tolist(), strict=True)):
            water += filled
            left = gas - water - grown
            if left < least:
                water -= least - left
                left = least
            out[i] = max((self.cold_bar + 1.013) * gas / left - 1.013, 0.0)
        return out
