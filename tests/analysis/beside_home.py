"""Synthetic ten-minute readings of a house of 200 W/K with a heat pump and other heat sources."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.analysis.reports.result import Result, analyse

FIRST, DAYS, STEP_MIN = date(2026, 1, 1), 50, 10
PER_DAY = 1440 // STEP_MIN
LOSS_W_PER_K, ROOM_C, COP, GAINS_W = 200.0, 20.0, 3.0, 400.0
HEAD = """
[site]
id = "elm"
name = "Elm"
timezone = "UTC"
floor_area_m2 = 120.0
[design]
indoor_c = 20.0
outdoor_c = -8.0
heat_loss_kw = 5.6
space_heat_kwh_per_year = 12000.0
spf_space = 3.4
[heat_pump]
rated_output_kw = 8.0
min_output_kw = 2.0
"""


def point(name: str, quantity: str, form: str = "power", unit: str = "W", more: str = "") -> str:
    return (
        f'[[point]]\nid = "{name}"\nquantity = "{quantity}"\nas = "{form}"\n'
        + (f'unit = "{unit}"\n' if unit else "")
        + more
    )


POINTS = (
    point("elec", "heat_pump_electricity"),
    point("heat", "heat_output"),
    point("out", "outdoor_temperature", "gauge", "degC"),
    point("room", "room_temperature", "gauge", "degC"),
    point("target", "target_room_temperature", "gauge", "degC"),
)


@dataclass
class Home:
    """Cold at both ends of its days, and three times in between.

    pump : more keys of [heat_pump]. more : sections. points : of the site file. values : point -> readings
    """

    pump: str = ""
    more: str = ""
    points: tuple[str, ...] = POINTS
    values: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        n = (DAYS + 2) * PER_DAY
        start = int(datetime(2025, 12, 31, tzinfo=UTC).timestamp() * 1000)
        self.time = start + np.arange(n, dtype=np.int64) * STEP_MIN * 60_000
        day, minute = np.arange(n) // PER_DAY, np.arange(n) % PER_DAY * STEP_MIN
        rng = np.random.default_rng(7)
        self.outdoor = 2.0 + 6.0 * np.sin(day / 4.0 + 4.78) + 1.5 * np.cos((minute - 900) * 2 * np.pi / 1440)
        self.need = np.maximum(LOSS_W_PER_K * (ROOM_C - self.outdoor) - GAINS_W, 0.0)
        self.need = self.need * (1.0 + 0.02 * rng.standard_normal(n))
        self.values = {
            "out": self.outdoor + 0.02 * rng.standard_normal(n),
            "room": ROOM_C + 0.05 * rng.standard_normal(n),
            "target": np.full(n, ROOM_C),
            "heat": self.need,
            "elec": self.need / COP,
        } | self.values

    @property
    def site(self) -> Site:
        return parse_site(f"{HEAD}{self.pump}{self.more}{''.join(self.points)}")

    @property
    def readings(self) -> Readings:
        return {name: Samples(self.time, np.asarray(v, dtype=float)) for name, v in self.values.items()}

    @property
    def last(self) -> date:
        return FIRST + timedelta(DAYS - 1)

    def facts(self) -> Facts:
        return build_facts(self.site, self.readings, FIRST, self.last)

    def result(self) -> Result:
        return analyse(self.site, self.facts(), FIRST, self.last)
