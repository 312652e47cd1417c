"""The trace: temperatures, powers, water flow and use over time, from a year of days down to single
readings."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import MS_PER_MINUTE
from fieldfare.dashboards.day_rows import Row
from fieldfare.dashboards.figures.chart import (
    Axis,
    Chart,
    Dash,
    Line,
    Tone,
)
from fieldfare.dashboards.figures.scale import day_number
from fieldfare.dashboards.figures.tones import RGB
from fieldfare.dashboards.text.words import quantity_words

PANELS: tuple[tuple[str, str, tuple[float, float], tuple[tuple[str, Tone, str], ...]], ...] = (
    (
        "temperature",
        "°C",
        (0.56, 1.0),
        (
            ("flow_temperature", "heat", "solid"),
            ("return_temperature", "heat", "dot"),
            ("target_flow_temperature", "design", "dash"),
            ("cylinder_temperature", "water", "solid"),
            ("room_temperature", "room", "solid"),
            ("outdoor_temperature", "air", "solid"),
        ),
    ),
    (
        "power",
        "kW",
        (0.29, 0.52),
        (
            ("heat_output", "heat", "solid"),
            ("space_heat", "heat", "solid"),
            ("hot_water_heat", "water", "solid"),
            ("heat_pump_electricity", "power", "solid"),
            ("backup_heater_electricity", "alert", "solid"),
            ("immersion_electricity", "alert", "dot"),
        ),
    ),
    ("flow", "m³/h", (0.13, 0.25), (("flow_rate", "water", "solid"),)),
)
"""Panels from top to bottom: name, unit, share of the height, and the quantities with tone and dash."""
USES: tuple[tuple[str, Tone, str], ...] = (
    ("heating", "heat", ""),
    ("hot water", "water", "/"),
    ("defrost", "alert", "x"),
    ("at rest", "faint", "."),
)
_PREFERRED = ("power", "gauge", "register", "interval")


def trace_document(site: Site, result: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    """What the trace's script needs: the year by days as a plotly figure, and which points to ask for on
    zooming in.

    data, layout : plotly's. points : id -> axis, factor and offset to the panel's unit, form, name, line.
    shifts : [from ms, minutes] the site's clock against UTC. first, last : local days
    """
    period = result["period"]
    return {
        "data": _overview(rows),
        "layout": _layout(period),
        "points": _points(site),
        "shifts": _shifts(site, period),
        "uses": [{"name": n, "color": RGB[t], "pattern": p} for n, t, p in USES],
        "site": site.id,
    }


def _layout(period: dict[str, Any]) -> dict[str, Any]:
    last = (datetime.fromisoformat(period["to"]) + timedelta(days=1)).date().isoformat()
    layout: dict[str, Any] = {
        "margin": {"l": 52, "r": 10, "t": 6, "b": 46},
        "xaxis": {"type": "date", "range": [period["from"], last], "anchor": "y4", "title": {"text": ""}},
        "legend": {"orientation": "h", "traceorder": "normal", "y": 1.01, "yanchor": "bottom", "x": 0},
        "dragmode": "zoom",
        "hovermode": "x",
    }
    for i, (_, unit, domain, _) in enumerate(PANELS, 1):
        layout["yaxis" if i == 1 else f"yaxis{i}"] = {
            "domain": list(domain),
            "title": {"text": unit},
            "zeroline": False,
            "fixedrange": True,
            "rangemode": "normal",
        }
    layout["yaxis4"] = {
        "domain": [0.0, 0.1],
        "range": [0, 1],
        "title": {"text": "use"},
        "showticklabels": False,
        "fixedrange": True,
        "zeroline": False,
    }
    return layout


def _overview(rows: list[Row]) -> list[dict[str, Any]]:
    x = [r["day"] + "T12:00" for r in rows]

    def line(name: str, key: str, axis: str, tone: Tone, dash: str) -> dict[str, Any] | None:
        y = [None if r.get(key) is None else round(r[key], 3) for r in rows]
        if all(v is None for v in y):
            return None
        return {
            "type": "scatter",
            "mode": "lines",
            "name": name,
            "x": x,
            "y": y,
            "yaxis": axis,
            "connectgaps": False,
            "line": {"color": RGB[tone], "dash": dash, "width": 1.6},
        }

    lines = [
        line("Flow while heating", "flow", "y", "heat", "solid"),
        line("Cylinder, hottest", "tank_max", "y", "water", "solid"),
        line("Room", "room", "y", "room", "solid"),
        line("Outdoors", "outdoor", "y", "air", "solid"),
        line("Heat, day's mean", "heat_kw", "y2", "heat", "solid"),
        line("Electricity, day's mean", "electricity_kw", "y2", "power", "solid"),
        line("Water flow", "flow_rate", "y3", "water", "solid"),
    ]
    areas = []
    for (name, tone, pattern), key in zip(
        USES, ("n_heating", "n_hot_water", "n_defrost", "n_off"), strict=True
    ):
        share = [None if r.get(key) is None else round(r[key] / r["n_minutes"], 4) for r in rows]
        if any(share):
            areas.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "name": name,
                    "x": [r["day"] for r in rows],
                    "y": share,
                    "yaxis": "y4",
                    "stackgroup": "use",
                    "line": {"width": 0, "shape": "hv", "color": RGB[tone]},
                    "fillcolor": RGB[tone],
                    "fillpattern": {"shape": pattern, "size": 5, "fillmode": "overlay"},
                    "hoverinfo": "skip",
                }
            )
    return [t for t in lines if t is not None] + areas


def _points(site: Site) -> dict[str, Any]:
    out = {}
    for i, (panel, _, _, quantities) in enumerate(PANELS, 1):
        axis = "y" if i == 1 else f"y{i}"
        for quantity, tone, dash in quantities:
            if (point := _best(site, quantity)) is None:
                continue
            scale, offset = point.to_canonical
            factor = scale if panel != "power" else scale / 1000.0 if point.form == "power" else scale
            out[point.id] = {
                "axis": axis,
                "factor": factor,
                "offset": offset,
                "form": point.form,
                "name": quantity_words(quantity),
                "color": RGB[tone],
                "dash": dash,
            }
    return out


def _best(site: Site, quantity: str) -> Point | None:
    """The point that shows a quantity's shape best: a power before a running total."""
    found = sorted(site.points_of(quantity), key=lambda p: _PREFERRED.index(p.form))
    return found[0] if found else None


def _shifts(site: Site, period: dict[str, Any]) -> list[list[int]]:
    """The site's clock against UTC from each change on."""
    here = datetime.fromisoformat(period["from"]).replace(tzinfo=site.zone) - timedelta(days=2)
    end = datetime.fromisoformat(period["to"]).replace(tzinfo=site.zone) + timedelta(days=2)
    out: list[list[int]] = []
    ms = int(here.timestamp()) // 3600 * 3600
    while ms < end.timestamp():
        shift = datetime.fromtimestamp(ms, site.zone).utcoffset()
        minutes = int(shift.total_seconds() // 60) if shift else 0
        if not out or out[-1][1] != minutes:
            out.append([ms * 1000, minutes])
        ms += 3600
    return out


def trace_drawings(rows: list[Row]) -> tuple[Chart, Chart]:
    """The trace's days as drawings: what is seen first, and all that is seen without script."""
    x = [float(day_number(r["day"])) for r in rows]

    def lines(*wanted: tuple[str, str, Tone, Dash, float]) -> tuple[Line, ...]:
        return tuple(
            Line(name, x, [None if r.get(key) is None else r[key] * factor for r in rows], tone, dash)
            for key, name, tone, dash, factor in wanted
            if any(r.get(key) is not None for r in rows)
        )

    warm = lines(
        ("flow", "flow while heating", "heat", "solid", 1.0),
        ("tank_max", "cylinder, hottest", "water", "dot", 1.0),
        ("room", "room", "room", "solid", 1.0),
        ("outdoor", "outdoors", "air", "dash", 1.0),
    )
    power = lines(
        ("heat_kw", "heat, day's mean", "heat", "solid", 1.0),
        ("electricity_kw", "electricity, day's mean", "power", "dash", 1.0),
    )
    dates = Axis("Date", dates=True)
    none = "No temperature was read.", "Neither heat nor electricity was read."
    return (
        Chart(
            "trace-temperatures",
            "Temperatures by day",
            "",
            dates,
            Axis("Temperature", "°C"),
            warm,
            empty=none[0],
        ),
        Chart(
            "trace-power",
            "Heat and electricity by day",
            "",
            dates,
            Axis("Power", "kW", low=0.0),
            power,
            empty=none[1],
        ),
    )


def uses_document(facts: Facts, start: int, end: int) -> dict[str, list[list[int]]]:
    """What each minute was used for between two moments: name of the use -> [start, length], and when runs
    started.

    facts : Facts that reach back before `start`, for runs that began earlier. start, end : ms since 1970 UTC
    """
    runs = facts.runs.where(facts.runs["use"] != HOT_WATER) if len(facts.runs) else facts.runs
    spans = {"heating": runs, "hot water": facts.reheats, "defrost": facts.defrosts}
    out = {name: _within(table, start, end) for name, table in spans.items()}
    out["start"] = [[a, 0] for a, _ in _within(facts.runs, start, end) if a >= start]
    return out


def _within(table: Table, start: int, end: int) -> list[list[int]]:
    """Events that touch the window, as [start, length] in ms, cut to it."""
    if not len(table):
        return []
    begin = table["start"].astype(np.int64)
    finish = begin + table["minutes"].astype(np.int64) * MS_PER_MINUTE
    touching = (finish > start) & (begin < end)
    cut = np.maximum(begin[touching], start)
    return np.column_stack([cut, np.minimum(finish[touching], end) - cut]).tolist()
