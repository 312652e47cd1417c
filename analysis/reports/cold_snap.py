"""A cold snap ahead: which home will not hold its rooms, by how much, from when, and what to do today."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.heating_days import loss_kw_per_k
from fieldfare.analysis.advice.limits import LIMITS_ADVICE
from fieldfare.analysis.errors import InputError
from fieldfare.analysis.physics.emitters import HeatEmitter, output_kw
from fieldfare.analysis.plant.curve import curve_beyond
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.verdict import MATTER_OF

Floats = NDArray[np.float64]

FORM = (
    'columns time and outdoor_c as CSV, or JSON [{"time": "2026-01-31T00:00:00+00:00", "outdoor_c": -4.5}, ...];'
    " time is ISO 8601 with offset, outdoor_c in °C, one row an hour to one a day"
)
MOST_ROWS = 2000
COLDEST_C, WARMEST_C = -60.0, 60.0
DAY_H = 24.0
"""A house carries its rooms through shorter cold by what it stores (common practice): means of a day count."""
OUTPUT_SLOPE = 0.015
"""Relative change of a unit's output for each kelvin outdoors (common practice for inverter units)."""
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

    state : short, may_be_short, holds or not_known. short_kw : what is missing at the coldest [kW], with its
    interval. since, until : first and last day-mean that falls short, UTC ISO. room_fall_k : how far rooms
    would end under the design temperature. binds : output or emitters. findings : codes that need work before
    then. reason : why not known
    """

    site: str
    state: str
    coldest_c: float
    load_kw: float | None = None
    gives_kw: float | None = None
    short_kw: dict[str, float] | None = None
    since: str | None = None
    until: str | None = None
    room_fall_k: float | None = None
    binds: str | None = None
    findings: tuple[str, ...] = ()
    reason: str = ""

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


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
    return WeatherForecast(tuple(times), np.array([value for _, value in found]))


def _csv_rows(text: str, name: str) -> list[Mapping[str, Any]]:
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
    try:
        value = float(row.get("outdoor_c"))  # type: ignore[arg-type]
    except (TypeError, ValueError):
        value = math.nan
    if not COLDEST_C <= value <= WARMEST_C:
        raise InputError(f"{where}: outdoor_c must be a number from {COLDEST_C:g} to {WARMEST_C:g} °C")
    return time.astimezone(UTC), value


def day_means(forecast: WeatherForecast) -> tuple[list[datetime], Floats]:
    """Mean of the day before each row, of what the forecast covers of it [°C]."""
    hours = np.array([(t - forecast.time[0]).total_seconds() / 3600.0 for t in forecast.time])
    step = float(np.median(np.diff(hours))) if len(hours) > 1 else DAY_H
    ends = np.append(hours[1:], hours[-1] + min(step, DAY_H))
    out = []
    for end in ends:
        held = np.clip(np.minimum(ends, end) - np.maximum(hours, end - DAY_H), 0.0, None)
        out.append(float(np.sum(held * forecast.outdoor_c) / held.sum()))
    return list(forecast.time), np.array(out)


def outlook(site: Site, result: Mapping[str, Any] | None, forecast: WeatherForecast) -> Outlook:
    """How one home stands in the forecast.

    result : the newest result document. The load is the measured loss coefficient times the design room less
    the outdoor temperature, less free gains; what can be given is the lesser of the unit's output, scaled to
    what it measured, and the emitters by EN 442 at the measured heating curve.
    """
    times, outdoor = day_means(forecast)
    coldest = float(outdoor.min())
    if result is None:
        return Outlook(site.id, "not_known", coldest, reason="no readings yet")
    urgent = tuple(
        f["code"]
        for f in result["findings"]
        if f["severity"] in URGENT and (matter := MATTER_OF.get(f["code"])) and matter.key != "data"
    )
    loss = loss_kw_per_k(site, result)
    gives = _gives(site, result, outdoor)
    if loss is None or gives is None:
        missing = (
            "the heat loss" if loss is None else "design.outdoor_c with ratings, or emitters and a curve"
        )
        return Outlook(site.id, "not_known", coldest, findings=urgent, reason=f"needs {missing}")
    free = ((result.get("heat_loss") or {}).get("free_gains_w") or 0.0) / 1000.0
    warmer = site.design.indoor_c - outdoor
    load, least, most = (np.maximum(k * warmer - free, 0.0) for k in loss)
    can, doubt, binds = gives
    short = load - can
    worst = int(np.argmax(short))
    half = math.hypot(float(most[worst] - least[worst]) / 2.0, doubt * float(can[worst]))
    missing_kw = float(short[worst])
    state = "short" if missing_kw > 0.0 else "may_be_short" if missing_kw + half > 0.0 else "holds"
    at = np.flatnonzero(short > 0.0) if state == "short" else np.flatnonzero(short + half > 0.0)
    return Outlook(
        site.id,
        state,
        coldest,
        float(load[worst]),
        float(can[worst]),
        {"value": missing_kw, "low": missing_kw - half, "high": missing_kw + half},
        times[int(at[0])].isoformat() if len(at) else None,
        times[int(at[-1])].isoformat() if len(at) else None,
        max(missing_kw, 0.0) / loss[0],
        binds[worst] if state != "holds" else None,
        urgent,
    )


def _gives(site: Site, result: Mapping[str, Any], outdoor: Floats) -> tuple[Floats, float, list[str]] | None:
    """What can be given [kW], its relative doubt, and what binds, each by time; None where neither is known."""
    parts: dict[str, tuple[Floats, float]] = {}
    output = (result.get("capacity") or {}).get("output_at_design_kw")
    cold = site.design.outdoor_c
    if output and output.get("value") and cold is not None:
        scaled = output["value"] * np.clip(1.0 + OUTPUT_SLOPE * (outdoor - cold), 0.3, 1.5)
        low, high = output.get("low"), output.get("high")
        doubt = (high - low) / 2.0 / output["value"] if low is not None and high is not None else 0.1
        parts["output"] = (scaled, doubt)
    points = (result.get("heating_curve") or {}).get("fitted")
    if points is not None and site.emitter:
        flow = np.minimum(curve_beyond(points, outdoor), site.heat_pump.max_flow_c or np.inf)
        each = [HeatEmitter(e.output_kw, e.output_excess_k, e.kind) for e in site.emitter]
        gives = np.asarray(output_kw(each, flow, flow - 5.0, site.design.indoor_c))
        parts["emitters"] = (gives, LIMITS_ADVICE["advice_emitter_doubt"].default)
    if not parts:
        return None
    names = list(parts)
    stacked = np.stack([parts[n][0] for n in names])
    least = np.argmin(stacked, axis=0)
    doubts = [parts[names[i]][1] for i in least]
    return stacked.min(axis=0), max(doubts), [names[i] for i in least]
