"""Outlook for a cold snap: shortfall, its start, and what to do today."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import MAXYEAR, UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import InputError, NotAssessed, readable_csv
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.cold_snap_home import NUMBERS, Course, SnapHome, course, rooms_now, snap_home
from fieldfare.analysis.reports.verdict import MATTER_OF

Floats = NDArray[np.float64]

FORM = (
    "columns time and outdoor_c as CSV, or JSON"
    ' [{"time": "2026-01-31T00:00:00+00:00", "outdoor_c": -4.5}, ...];'
    " time is ISO 8601 with offset, outdoor_c in °C, one row an hour to one a day"
)
MOST_ROWS, MOST_DAYS = 2000, 90
COLDEST_C, WARMEST_C = -60.0, 60.0
DAY_H = 24
"""A house carries its rooms through shorter cold by what it stores (common practice):
means of a day count."""
LONGEST_STEP_H = 48.0
"""A value stands for so long at most; a wider gap is no forecast."""
URGENT = frozenset({"urgent", "act"})
"""Severities of findings that put a home at risk in a cold snap whatever its output."""


@dataclass(frozen=True)
class WeatherForecast:
    """time : UTC, ascending. outdoor_c [°C]; each value holds until the next one."""

    time: tuple[datetime, ...]
    outdoor_c: Floats


@dataclass(frozen=True)
class Outlook:
    """One home in the forecast.

    state : short, may_be_short, holds or not_known. coldest_c : lowest mean of a day [°C].
    load_kw, gives_kw : what the target takes and what can be given, mean of the worst day. short_kw : the
    difference with its interval. room_fall_k : how far the rooms would fall under their target, with its
    interval in fall_k. since, until : first and last hour with the rooms under the target by `snap_fall_k`
    or more, UTC ISO; hours_short of them; where a home may be short, by the bad side of the interval.
    binds : output or emitters. backup : the design lets a back-up heater help in this cold, which is not
    counted. findings : codes that need work before then. reason : why not known. timezone : of the home
    """

    site: str
    state: str
    coldest_c: float
    load_kw: float | None = None
    gives_kw: float | None = None
    short_kw: dict[str, float] | None = None
    since: str | None = None
    until: str | None = None
    hours_short: int = 0
    room_fall_k: float | None = None
    fall_k: dict[str, float] | None = None
    binds: str | None = None
    backup: bool = False
    findings: tuple[str, ...] = ()
    reason: str = ""
    timezone: str = "UTC"

    def as_dict(self) -> dict[str, Any]:
        return asdict(self) | {"findings": list(self.findings)}


def parse_forecast(text: str, name: str) -> WeatherForecast:
    """A forecast from the text of a CSV or JSON file, see FORM. Raises InputError with file and row."""
    rows = _json_rows(text, name) if text.lstrip()[:1] == "[" else _csv_rows(text, name)
    if not 1 <= len(rows) <= MOST_ROWS:
        raise InputError(f"{name}: a forecast has 1 to {MOST_ROWS} rows, got {len(rows)}; it needs {FORM}")
    found = [_row(row, f"{name}: row {n}") for n, row in enumerate(rows, 1)]
    times = [time for time, _ in found]
    for n, (before, after) in enumerate(pairwise(times), 2):
        if after <= before:
            raise InputError(f"{name}: row {n}: time must be later than in the row before")
        if after - before > timedelta(hours=LONGEST_STEP_H):
            raise InputError(
                f"{name}: row {n}: comes {(after - before).total_seconds() / 3600:.0f} h after the row"
                f" before; rows must be {LONGEST_STEP_H:g} h apart at most"
            )
    if times[-1] - times[0] > timedelta(days=MOST_DAYS):
        raise InputError(f"{name}: reaches over more than {MOST_DAYS} days; a forecast is shorter")
    return WeatherForecast(tuple(times), np.array([value for _, value in found]))


def _csv_rows(text: str, name: str) -> list[Mapping[str, Any]]:
    with readable_csv(name):
        reader = csv.DictReader(io.StringIO(text.lstrip("\ufeff")))
        if not {"time", "outdoor_c"} <= set(reader.fieldnames or ()):
            raise InputError(f"{name}: needs {FORM}")
        return list(reader)


def _json_rows(text: str, name: str) -> list[Mapping[str, Any]]:
    try:
        rows = json.loads(text)
    except (ValueError, RecursionError):
        raise InputError(f"{name}: is not valid JSON; it needs {FORM}") from None
    if not all(isinstance(row, dict) for row in rows):
        raise InputError(f"{name}: each row must have time and outdoor_c; it needs {FORM}")
    return list(rows)


def _row(row: Mapping[str, Any], where: str) -> tuple[datetime, float]:
    try:
        time = datetime.fromisoformat(str(row.get("time")))
    except ValueError:
        raise InputError(f"{where}: time must be ISO 8601, such as 2026-01-31T06:00:00+00:00") from None
    if time.tzinfo is None:
        raise InputError(f"{where}: time needs an offset, such as 2026-01-31T06:00:00+00:00")
    if not 1 < time.year < MAXYEAR:  # nothing may be added to or taken from what lies at the end of all days
        raise InputError(f"{where}: no forecast is made for the year {time.year}")
    try:
        value = float(row.get("outdoor_c"))  # type: ignore[arg-type]
    except (TypeError, ValueError):
        value = math.nan
    if not COLDEST_C <= value <= WARMEST_C:
        raise InputError(f"{where}: outdoor_c must be a number from {COLDEST_C:g} to {WARMEST_C:g} °C")
    return time.astimezone(UTC), value


def by_hour(forecast: WeatherForecast) -> tuple[datetime, Floats]:
    """First hour, and outdoor temperature of each hour [°C];
    the last row holds as long as rows usually do."""
    start = forecast.time[0]
    begin = np.array([(t - start).total_seconds() / 3600.0 for t in forecast.time])
    step = float(np.median(np.diff(begin))) if len(begin) > 1 else float(DAY_H)
    hours = np.arange(max(round(begin[-1] + min(step, DAY_H)), 1), dtype=np.float64)
    return start, forecast.outdoor_c[np.searchsorted(begin, hours + 1e-6, side="right") - 1]


def day_means(hourly: Floats) -> Floats:
    """Mean of the day that ends with each hour, of what there is of it; float64 (..., h)."""
    total = np.cumsum(hourly, axis=-1)
    total[..., DAY_H:] = total[..., DAY_H:] - total[..., :-DAY_H].copy()
    return np.asarray(total / np.minimum(np.arange(1, hourly.shape[-1] + 1), DAY_H))


def outlook(
    site: Site, result: Mapping[str, Any] | None, forecast: WeatherForecast, facts: Facts | None = None
) -> Outlook:
    """How one home stands in the forecast.

    result : the newest result document. facts : of its days, which set what the home takes and can be given
    (see snap_home); without them the result and the design stand alone. A home is short where its rooms
    would fall `snap_fall_k` under their target even by the good end of the interval of the fall, and may be
    short where the interval reaches that far.
    """
    start, outdoor = by_hour(forecast)
    coldest = float(_whole_days(day_means(outdoor)).min())
    if result is None:
        return Outlook(site.id, "not_known", coldest, reason="no readings yet")
    urgent = tuple(
        f["code"]
        for f in result["findings"]
        if f["severity"] in URGENT and (matter := MATTER_OF.get(f["code"])) and matter.key != "data"
    )
    try:
        home = snap_home(site, result, facts)
    except NotAssessed as unknown:
        return Outlook(site.id, "not_known", coldest, findings=urgent, reason=str(unknown))
    if facts is not None:
        home = rooms_now(home, facts.days, start.astimezone(site.zone).date())
    bivalent = site.design.bivalent_c
    boiler = next((s for s in site.other_heat_for("space_heating") if s.kind == "boiler"), None)
    helps = boiler is not None and (boiler.below_c is None or coldest < boiler.below_c)
    if boiler is not None and helps and boiler.alone:
        below = f"below {boiler.below_c:g} °C" if boiler.below_c is not None else "in such cold"
        reason = f"{below} the boiler heats the house alone, and its output is not known"
        return Outlook(site.id, "not_known", coldest, findings=urgent, reason=reason)
    backup = helps or (bivalent is not None and coldest < bivalent)
    limit = limit_of(site, "snap_fall_k")
    fields = _course_fields(home, course(home, outdoor), limit, start, backup=backup)
    zone = site.timezone
    return Outlook(site.id, coldest_c=coldest, backup=backup, findings=urgent, timezone=zone, **fields)


def _course_fields(
    home: SnapHome, found: Course, limit: float, start: datetime, *, backup: bool
) -> dict[str, Any]:
    """What a course says: the fields of an Outlook from `state` to `binds`."""
    fall = home.target - day_means(found.room)
    deepest = _interval(fall.max(axis=1))
    load, gives, short, worst = _worst_day(found, home.scatter)
    state, by_emitters = "holds", bool(found.by_emitters[worst])
    if deepest["high"] > limit:
        helped = backup and not by_emitters  # by a heater whose power is not known
        state = "short" if deepest["low"] > limit and not helped else "may_be_short"
    hours = fall[0]
    if deepest["value"] <= limit:  # what decides is the number in doubt
        bad = fall[1 : len(NUMBERS) + 1]
        hours, decides = bad.max(axis=0), NUMBERS[int(np.argmax(bad.max(axis=1)))]
        by_emitters = {"emitters": True, "unit": False}.get(decides, by_emitters)
    at = np.flatnonzero((hours > limit) & (state != "holds"))
    return {
        "state": state,
        "load_kw": load,
        "gives_kw": gives,
        "short_kw": short,
        "since": (start + timedelta(hours=int(at[0]))).isoformat() if len(at) else None,
        "until": (start + timedelta(hours=int(at[-1]))).isoformat() if len(at) else None,
        "hours_short": len(at),
        "room_fall_k": max(deepest["value"], 0.0),
        "fall_k": deepest,
        "binds": ("emitters" if by_emitters else "output") if state != "holds" else None,
    }


def _worst_day(found: Course, scatter: float) -> tuple[float, float, dict[str, float], int]:
    """Needed, given and missing heat [kW], means of the day on which most may be missing, and its last
    hour."""
    missing = _whole_days(day_means(found.needs - found.gives))
    worst = int(np.argmax(missing[: len(NUMBERS) + 1].max(axis=0)))
    last = worst + found.needs.shape[1] - missing.shape[1]
    load, gives = (float(day_means(x[0])[last]) for x in (found.needs, found.gives))
    return load, gives, _interval(missing[:, worst], scatter), last


def _whole_days(values: Floats) -> Floats:
    """Those of `day_means` that are of a whole day; all, where the forecast is shorter."""
    return values[..., DAY_H - 1 :] if values.shape[-1] >= DAY_H else values


def _interval(cases: Floats, scatter: float = 0.0) -> dict[str, float]:
    """Value, low and high from a Course's cases: each number's own effect, independent of the others and of
    the scatter [half interval]."""
    n, middle = len(NUMBERS), float(cases[0])
    above = np.maximum(cases[1 : n + 1] - middle, 0.0)
    below = np.maximum(middle - cases[n + 1 :], 0.0)
    return {
        "value": middle,
        "low": middle - math.hypot(*below, scatter),
        "high": middle + math.hypot(*above, scatter),
    }
