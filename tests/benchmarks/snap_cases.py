"""A cold spell of open weather told as a forecast to simulated homes, and then what really came to pass.

Weather: daily mean outdoor temperatures of Brudermueller et al. (2023), reference 9.3, MIT licence.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.reports.cold_snap import Outlook, WeatherForecast, outlook, parse_forecast
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.design.spec import Climate, PlantSpec
from fieldfare.collector.simulated.plant import (
    Simulated,
    measured_climate,
    random_plant,
    simulate,
    with_fault,
)

WEATHER = Path(__file__).parents[1] / "data" / "open-daily-outdoor.csv"
FELL_SHORT_K = 1.0
"""A day on which a zone's mean is so far under its target counts (common practice: people feel 1 K)."""


@dataclass(frozen=True)
class Spell:
    """name. since : first day of the readings. first, days : of the spell"""

    name: str
    since: date
    first: date
    days: int


SPELLS = (
    Spell("December 2022", date(2022, 10, 1), date(2022, 12, 9), 12),
    Spell("February 2021", date(2021, 1, 1), date(2021, 2, 9), 8),
)


@dataclass(frozen=True)
class SnapCase:
    """A home: fault of the simulator with its cause and strength, none where the home is healthy."""

    name: str
    code: str = ""
    cause: str | None = None
    strength: str | float = "plain"


CASES = (
    SnapCase("healthy"),
    SnapCase("healthy, another"),
    SnapCase("healthy, a third"),
    SnapCase("unit at 85 % of the load", "capacity_short", None, "faint"),
    SnapCase("unit at 75 % of the load", "capacity_short", None, 0.5),
    SnapCase("unit at 65 % of the load", "capacity_short", None, "plain"),
    SnapCase("unit at 48 % of the load", "capacity_short", None, "gross"),
    SnapCase("curve 5.5 K low", "room_below_target", "curve_too_low", "plain"),
    SnapCase("curve 10 K low", "room_below_target", "curve_too_low", "gross"),
    SnapCase("low refrigerant", "excessive_defrost", "low_refrigerant_symptom", "gross"),
    SnapCase("coil blocked", "excessive_defrost", "coil_airflow", "gross"),
    SnapCase("water flow at 55 %", "low_flow", "pump_setting", "plain"),
    SnapCase("curve 6 K high", "flow_temperature_above_curve", "curve_set_high", "plain"),
    SnapCase("leakier than designed", "heat_loss_above_design", None, "plain"),
)


@dataclass(frozen=True)
class Passed:
    """What came to pass. fell_k : greatest day-mean deficit of a zone [K]. missing_kw :
    greatest day-mean heat
    missing at target. since : first day short, None where none was. hours : days short, in hours"""

    fell_k: float
    missing_kw: float
    since: date | None
    hours: float

    @property
    def short(self) -> bool:
        return self.since is not None


@dataclass(frozen=True)
class SnapOutcome:
    """told : of the home before the spell. passed : in the spell"""

    case: str
    seed: int
    spell: str
    told: Outlook
    passed: Passed

    @property
    def kind(self) -> str:
        """named, perhaps (may be short), to_fix (by a finding alone) or missed where the home fell short;
        fine, doubted (may be short) or false where it did not."""
        state = self.told.state
        if self.passed.short:
            quiet = "to_fix" if self.told.findings else "missed"
            return {"short": "named", "may_be_short": "perhaps"}.get(state, quiet)
        return {"short": "false", "may_be_short": "doubted"}.get(state, "fine")

    @property
    def kw_error(self) -> float | None:
        """Told less true missing heat [kW], where the home fell short and was told to."""
        told = self.told.short_kw
        return told["value"] - self.passed.missing_kw if told and self.passed.short else None

    @property
    def day_error(self) -> int | None:
        """Days by which the told first day is late, where a home was named and fell short."""
        if self.kind != "named" or self.told.since is None or self.passed.since is None:
            return None
        return (datetime.fromisoformat(self.told.since).date() - self.passed.since).days


@cache
def open_climate() -> Climate:
    """A climate that follows the open daily means."""
    with WEATHER.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return measured_climate(
        tuple(float(row["outdoor_c"]) for row in rows), date.fromisoformat(rows[0]["day"])
    )


def forecast_of(spell: Spell) -> WeatherForecast:
    """The spell's days as a service would tell them: one row a day."""
    climate = open_climate()
    assert climate.daily_from is not None
    at = (spell.first - climate.daily_from).days
    rows = "".join(
        f"{datetime.combine(spell.first + timedelta(n), datetime.min.time(), UTC).isoformat()},"
        f"{climate.daily[at + n]}\n"
        for n in range(spell.days)
    )
    return parse_forecast(f"time,outdoor_c\n{rows}", spell.name)


def home(case: SnapCase, seed: int, every_s: int = 300) -> PlantSpec:
    """The plant of a case, drawn from a seed."""
    spec = random_plant(seed, open_climate(), "rich", hot_water=True, every_s=every_s)
    return with_fault(spec, case.code, case.cause, case.strength) if case.code else spec


def replayed(case: SnapCase, seed: int, spell: Spell, every_s: int = 300) -> SnapOutcome:
    """Read a home until the spell, tell it the spell, and run the spell."""
    spec = home(case, seed, every_s)
    last = spell.first - timedelta(1)
    ran = simulate(spec, spell.since, (spell.first - spell.since).days + spell.days)
    site = parse_site(ran.site_toml)
    end = local_midnight(site, spell.first)
    before = {name: Samples(s.time[s.time < end], s.value[s.time < end]) for name, s in ran.readings.items()}
    facts = build_facts(site, before, spell.since, last)
    result = analyse(site, facts, spell.since, last).as_dict()
    told = outlook(site, result, forecast_of(spell), facts)
    return SnapOutcome(case.name, seed, spell.name, told, passed(ran, spell))


def passed(ran: Simulated, spell: Spell) -> Passed:
    """Rooms and heat of the spell by the simulator's own books."""
    spec = ran.spec
    days = [d for d in ran.truth.days if date.fromisoformat(d["day"]) >= spell.first][: spell.days]
    control, shares = spec.control, np.array(spec.house.zone_shares)
    hours = (control.setback_to_h - control.setback_from_h) % 24.0
    target = np.array(control.targets_c[: len(shares)]) - control.setback_k * hours / 24.0
    fell, missing, short = [], [], []
    for day in days:
        deficit = target - np.array(day["room_c"][: len(shares)])
        k = {name: value / 24.0 for name, value in day["kwh"].items()}
        needs = ran.truth.htc_w_per_k / 1000.0 * (float(shares @ target) - day["outdoor_c"])
        fell.append(float(deficit.max()))
        missing.append(needs - k["solar"] - k["gains"] - k["emitted"])
        if deficit.max() > FELL_SHORT_K:
            short.append(date.fromisoformat(day["day"]))
    return Passed(max(fell), max(missing), short[0] if short else None, 24.0 * len(short))
