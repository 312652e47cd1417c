"""A small plant calculated by hand in whole minutes: runs of half an hour, two reheats a day, weather of a
plain sine.

No model of a house stands behind it: every reading follows from a line here, so a test can break exactly one
    of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.period import Figures
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.judge import Judgement, judge
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples

FIRST = date(2025, 11, 3)
DAYS = 40
POINTS = (
    ("elec", "heat_pump_electricity", "power", "W"),
    ("elec_kwh", "heat_pump_electricity", "register", "kWh"),
    ("heat", "heat_output", "power", "W"),
    ("heat_kwh", "heat_output", "register", "kWh"),
    ("flow", "flow_temperature", "gauge", "degC"),
    ("back", "return_temperature", "gauge", "degC"),
    ("rate", "flow_rate", "gauge", "m3/h"),
    ("outdoor", "outdoor_temperature", "gauge", "degC"),
    ("room", "room_temperature", "gauge", "degC"),
    ("target", "target_room_temperature", "gauge", "degC"),
    ("tank", "cylinder_temperature", "gauge", "degC"),
    ("mode", "operating_mode", "state", ""),
    ("pressure", "system_pressure", "gauge", "bar"),
)
ALL = tuple(p[0] for p in POINTS)


@dataclass
class Small:
    """Site file parts and readings of the small plant; change either before `facts`."""

    ids: tuple[str, ...] = ALL
    days: int = DAYS
    first: date = FIRST
    pump: str = ""
    about: str = ""
    design: str = "outdoor_c = -3.0\nheat_loss_kw = 6.0\n"
    limits: str = ""
    units: dict[str, str] = field(default_factory=dict)
    forms: dict[str, str] = field(default_factory=dict)
    seed: int = 4
    longitude: float = -2.0

    def __post_init__(self) -> None:
        self.time, self.values = self._minutes()

    @property
    def site(self) -> Site:
        return parse_site(self.text)

    @property
    def text(self) -> str:
        text = (
            '[site]\nid = "small"\nname = "Small"\ntimezone = "Europe/London"\nlatitude = 52.0\nlongitude ='
            f" {self.longitude}\n{self.about}[design]\n{self.design}[heat_pump]\nrated_output_kw ="
            f" 7.0\nmin_output_kw = 2.5\nflow_m3_per_h = 1.0\n{self.pump}[heating_curve]\npoints = [[-3.0,"
            " 45.0], [15.0, 28.0]]\n[hot_water]\ncylinder_litres = 200\n"
        )
        if self.limits:
            text += f"[limits]\n{self.limits}\n"
        for name, quantity, form, unit in POINTS:
            if name in self.ids:
                text += (
                    f'[[point]]\nid = "{name}"\nquantity = "{quantity}"\nas ='
                    f' "{self.forms.get(name, form)}"\n'
                )
                text += f'unit = "{self.units.get(name, unit)}"\n' if unit else ""
        return text

    def _minutes(self) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        site_zone = parse_site('[site]\nid = "xx"\nname = "x"\ntimezone = "Europe/London"\n')
        begin = local_midnight(site_zone, self.first - timedelta(1))
        end = local_midnight(site_zone, self.first + timedelta(self.days))
        time = np.arange(begin, end, 60_000, dtype=np.int64)
        n, rng = len(time), np.random.default_rng(self.seed)
        minute = (time // 60_000) % 1440
        day = (time - begin) // 86_400_000
        # Runs of half an hour begin at times of their own each hour, as in a house; two reheats a day at
        # fixed times.
        offset = np.repeat(rng.integers(0, 25, n // 60 + 2), 60)[:n]
        phase = (time // 60_000) % 60
        heating = (phase >= offset) & (phase < offset + 30)
        reheat = ((minute >= 390) & (minute < 430)) | ((minute >= 1110) & (minute < 1150))
        mode = np.where(reheat, 2.0, np.where(heating, 1.0, 0.0))
        on = mode > 0
        outdoor = (
            5.0
            + 3.0 * np.sin(day / 5.0)
            + 2.5 * np.cos((minute - 885) * 2 * np.pi / 1440)
            + 0.05 * rng.standard_normal(n)
        )
        watts = np.where(on, np.where(reheat, 1900.0, 1300.0) + 30.0 * rng.standard_normal(n), 15.0)
        late = np.concatenate((np.zeros(2), watts[:-2]))
        heat = np.where(late > 100.0, late * np.where(reheat, 2.7, 3.4), 0.0)
        rate = np.where(heat > 0, 1.0, 0.0)
        lift = np.where(rate > 0, heat / (1155.0 * np.maximum(rate, 1e-9)), 0.0)
        back = np.where(reheat, 44.0, 32.0 - 0.4 * (outdoor - 5.0)) + 0.03 * rng.standard_normal(n)
        tank = (
            50.0
            - 6.0
            * np.where(minute < 390, minute + 290, np.where(minute < 1110, minute - 430, minute - 1150))
            / 720.0
        )
        tank = np.where(
            reheat,
            np.where(minute < 1000, 44.0 + (minute - 390) / 40 * 6, 44.0 + (minute - 1110) / 40 * 6),
            tank,
        )
        values = {
            "elec": watts,
            "elec_kwh": 3000.0 + np.cumsum(watts) / 60_000.0,
            "heat": heat,
            "heat_kwh": 9000.0 + np.cumsum(heat) / 60_000.0,
            "flow": back + lift,
            "back": back,
            "rate": rate,
            "outdoor": np.round(outdoor, 1),
            "room": np.round(20.5 + 0.3 * np.sin(minute / 200.0) + 0.05 * rng.standard_normal(n), 1),
            "target": np.full(n, 20.0),
            "tank": np.round(tank, 1),
            "mode": mode,
            "pressure": np.round(1.6 + 0.01 * rng.standard_normal(n), 2),
        }
        return time, values

    def from_day(self, day: int) -> np.ndarray:
        """bool (n,): minutes from the given day on, counted from the first."""
        return self.time >= self.time[0] + (day + 1) * 86_400_000

    def days_between(self, first: int, last: int) -> np.ndarray:
        return self.from_day(first) & ~self.from_day(last + 1)

    @property
    def readings(self) -> Readings:
        return {
            n: Samples(self.time[np.isfinite(v)], v[np.isfinite(v)])
            for n, v in self.values.items()
            if n in self.ids
        }

    @property
    def facts(self) -> Facts:
        return build_facts(self.site, self.readings, self.first, self.first + timedelta(self.days - 1))

    def context(self) -> Context:
        site, facts = self.site, self.facts
        return Context(site, facts, facts, Figures(site, facts))

    def judged(self) -> Judgement:
        site, facts = self.site, self.facts
        return judge(site, facts, Figures(site, facts))


def found(findings: Sequence[Finding], code: str) -> Finding:
    """The finding of a code; fails with what there is instead."""
    mine = [f for f in findings if f.code == code]
    assert mine, f"{code} is not among {[(f.code, f.severity) for f in findings]}"
    return mine[0]
