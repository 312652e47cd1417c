"""A short pandas script that recomputes a figure from the pack's CSV files, run before it is included."""

from __future__ import annotations

import runpy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.minutes.grid import DEFROST_FALL_KWH
from fieldfare.analysis.plant.site import Point, Site

NAME = "recompute.py"
LONGEST_GAP_MIN = 60
"""A power is taken as a line over gaps of up to so long."""
PRESSURE_DAYS = 7
_HEAD = ("from pathlib import Path", "import pandas as pd", "here = Path(__file__).parent")
_OF_CODE = {
    **dict.fromkeys(("short_cycling",), "runs"),
    **dict.fromkeys(("excessive_defrost", "defrost_without_frost"), "defrosts"),
    **dict.fromkeys(("slow_reheat", "reheat_incomplete", "hot_water_shortfall"), "reheats"),
    **dict.fromkeys(("room_below_target", "capacity_short"), "rooms"),
    **dict.fromkeys(("pressure_falling", "pressure_low", "pressure_high", "pressure_swings"), "pressure"),
    **dict.fromkeys(("fault_reported", "unit_stopped"), "faults"),
    "backup_heater_use": "backup_heater",
    "immersion_use": "immersion",
}


@dataclass(frozen=True)
class Recipe:
    """A short script that works out a case's figure from its readings.

    title, unit : of the figure. lines : of the script, which prints it. own : fieldfare's value of the
        figure. own_name : its name in figures.csv; empty where it stands nowhere else
    """

    title: str
    unit: str
    lines: tuple[str, ...]
    own: float
    own_name: str = ""

    @property
    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def recipe_for(
    site: Site,
    result: Mapping[str, Any],
    facts: Facts,
    code: str,
    files: Mapping[str, str],
    counts: Mapping[str, int],
) -> Recipe:
    """Choose the figure to recompute for a finding, by what was measured.

    files, counts : point id -> its file in the pack and how many readings that has, of the points with
    readings. Falls back to heat for each kWh of electricity, then to a count of readings
    """
    kind = _OF_CODE.get(code, "")
    points = [p for p in site.point if p.id in files]
    found: Recipe | None = None
    if kind in ("runs", "defrosts", "reheats", "faults"):
        found = _events(result, facts, kind)
    elif kind == "rooms":
        found = _rooms(site, result, points, files)
    elif kind == "pressure":
        found = _pressure(site, facts, points, files)
    elif kind:
        found = _electricity(result, points, files, kind)
    return found or _efficiency(result, points, files) or _count(points, files, counts)


def run_recipe(folder: Path) -> float:
    """Run the script of a pack and return its figure."""
    return float(runpy.run_path(str(folder / NAME))["result"])


def _script(*lines: str) -> tuple[str, ...]:
    return (*_HEAD, *lines, 'if __name__ == "__main__": print(round(result, 4))')


def _events(result: Mapping[str, Any], facts: Facts, kind: str) -> Recipe | None:
    read = 'events = pd.read_csv(here / "events.csv")'
    if kind == "faults":
        if not len(facts.faults):
            return None
        hours = 'result = events[events["kind"] == "fault"]["minutes"].sum() / 60'
        return Recipe(
            "Time with a reported fault", "h", _script(read, hours), facts.faults.total("minutes") / 60
        )
    name, title = {
        "runs": ("cycling.median_run_minutes", "Typical run (median)"),
        "defrosts": ("defrost.median_minutes", "Typical defrost (median)"),
        "reheats": ("hot_water.median_reheat_minutes", "Typical cylinder charge (median)"),
    }[kind]
    section, key = name.split(".")
    own = result[section][key]
    if own is None:
        return None
    whole = "" if kind == "defrosts" else ' & ~events["cut"].fillna(False).astype(bool)'
    chosen = f'chosen = events[(events["kind"] == "{kind[:-1]}"){whole}]'
    return Recipe(title, "min", _script(read, chosen, 'result = chosen["minutes"].median()'), own, name)


def _series(file: str) -> str:
    return f'pd.read_csv(here / "{file}", index_col="time_utc", parse_dates=True)["value"]'


def _rooms(
    site: Site, result: Mapping[str, Any], points: Sequence[Point], files: Mapping[str, str]
) -> Recipe | None:
    rooms = [p for p in points if p.quantity == "room_temperature" and p.to_canonical == (1.0, 0.0)]
    for p in rooms:
        zone = result["comfort"]["zones"].get(p.zone)
        if zone and zone["mean_c"] is not None and sum(q.zone == p.zone for q in rooms) == 1:
            lines = (
                f"room = {_series(files[p.id])}",
                f'days = room.tz_convert("{site.timezone}").resample("D").mean()',
                "result = days.mean()",
            )
            name = f"comfort.zones.{p.zone}.mean_c"
            return Recipe(f"Mean temperature, {p.zone}", "°C", _script(*lines), zone["mean_c"], name)
    return None


def _pressure(site: Site, facts: Facts, points: Sequence[Point], files: Mapping[str, str]) -> Recipe | None:
    gauges = [p for p in points if p.quantity == "system_pressure"]
    if len(gauges) != 1 or not facts.days.knows("pressure") or gauges[0].to_canonical != (1.0, 0.0):
        return None
    known = facts.days.floats("pressure")
    own = float(np.mean(known[np.isfinite(known)][-PRESSURE_DAYS:]))
    lines = (
        f"pressure = {_series(files[gauges[0].id])}",
        f'days = pressure.tz_convert("{site.timezone}").resample("D").median()',
        f"result = days.dropna().tail({PRESSURE_DAYS}).mean()",
    )
    return Recipe(f"Circuit pressure of the last {PRESSURE_DAYS} days", "bar", _script(*lines), own)


def _energy(points: Sequence[Point], files: Mapping[str, str], quantity: str) -> str | None:
    """Expression for the energy of one meter [kWh]; None without such a meter.

    A register that falls by more than a defrost can was reset; that step is ignored
    """
    for form in ("register", "interval", "power"):
        mine = [p for p in points if p.quantity == quantity and p.form == form]
        if len(mine) != 1:
            continue
        scale, offset = mine[0].to_canonical
        if offset:
            return None
        series = _series(files[mine[0].id])
        if form == "register":
            return f"{series}.diff().where(lambda d: d > {-DEFROST_FALL_KWH / scale:g}).sum() * {scale:g}"
        if form == "interval":
            return f"{series}.sum() * {scale:g}"
        minutes = f'.resample("1min").mean().interpolate(limit={LONGEST_GAP_MIN})'
        return f"{series}{minutes}.sum() * {scale / 60_000.0!r}"
    return None


def _electricity(
    result: Mapping[str, Any], points: Sequence[Point], files: Mapping[str, str], use: str
) -> Recipe | None:
    own, sum_of = result["energy"]["electricity_kwh"][use], _energy(points, files, f"{use}_electricity")
    if not own or sum_of is None:
        return None
    title = f"Electricity of the {use.replace('_', ' ')}"
    return Recipe(title, "kWh", _script(f"result = {sum_of}"), own, f"energy.electricity_kwh.{use}")


def _efficiency(
    result: Mapping[str, Any], points: Sequence[Point], files: Mapping[str, str]
) -> Recipe | None:
    energy = result["energy"]
    heat, electricity = energy["heat_kwh"]["total"], energy["electricity_kwh"]["heat_pump"]
    sums = {q: _energy(points, files, q) for q in ("heat_output", "space_heat", "hot_water_heat")}
    warm = sums["heat_output"]
    if warm is None and sums["space_heat"] and sums["hot_water_heat"]:
        warm = f"{sums['space_heat']} + {sums['hot_water_heat']}"
    used = _energy(points, files, "heat_pump_electricity")
    if warm is None or used is None or not heat or not electricity:
        return None
    lines = (f"heat_kwh = {warm}", f"electricity_kwh = {used}", "result = heat_kwh / electricity_kwh")
    title = "Heat for each kWh of electricity of the heat pump"
    own = "energy.heat_kwh.total over energy.electricity_kwh.heat_pump"
    return Recipe(title, "-", _script(*lines), heat / electricity, own)


def _count(points: Sequence[Point], files: Mapping[str, str], counts: Mapping[str, int]) -> Recipe:
    """Fallback for any point: its number of readings."""
    point = max(points, key=lambda p: counts[p.id])
    lines = (f'result = len(pd.read_csv(here / "{files[point.id]}"))',)
    return Recipe(f"Readings of {point.id}", "-", _script(*lines), float(counts[point.id]))
