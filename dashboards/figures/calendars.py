"""Calendars of events: one column per day, hours from bottom to top."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.operation import SHORT_RUN_MIN
from fieldfare.analysis.minutes.local_clock import local_clock
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.dashboards.figures.chart import (
    Axis,
    Bars,
    Chart,
    Layer,
    Level,
    Points,
    Shape,
    Spans,
    Tone,
    nothing,
)
from fieldfare.dashboards.figures.daily import LONG_TABLE
from fieldfare.dashboards.figures.scale import EPOCH, day_number
from fieldfare.dashboards.text.words import count, day, measure, number, reason

_WORTH_A_STROKE_H = 0.5
_HOURS = Axis("Hour of the day", low=0.0, high=24.0, clock=True)


def _dates(result: dict[str, Any]) -> Axis:
    """The days of the result, so that stacked calendars align."""
    period = result["period"]
    return Axis("Date", low=day_number(period["from"]) - 1.0, high=day_number(period["to"]) + 1.0, dates=True)


def runs_chart(site: Site, result: dict[str, Any], facts: Facts) -> Chart:
    """Calendar of compressor runs, for heating and for hot water."""
    title = "When it ran"
    runs = facts.runs
    cycling = result["cycling"]
    if not len(runs):
        return nothing("runs", title, cycling["reason"] or "No run was seen.")
    layers: list[Layer] = []
    water = runs["use"] == HOT_WATER
    for name, chosen, tone in (("for the rooms", ~water, "heat"), ("for hot water", water, "water")):
        x, low, high = _strokes(site, runs.where(chosen))
        if tone == "heat":
            x, low, high = _carried_on(facts.days, x, low, high)
        if x:
            layers.append(Spans(name, x, low, high, tone))  # type: ignore[arg-type]
    says = count(len(runs), "run") if cycling["starts"] is None else count(cycling["starts"], "start")
    if cycling["median_run_minutes"]:
        says += f", typical run {measure(cycling['median_run_minutes'], 'minutes', 0)}"
    return Chart(
        "runs",
        title,
        f"{says}.",
        _dates(result),
        _HOURS,
        tuple(layers),
        ("Week from", "Starts", "Median run [min]", "Runs under 10 min"),
        _weeks_of_runs(runs),
    )


def _local(site: Site, ms: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Day number and hour of the day in the site's zone."""
    day, into_day = np.divmod(local_clock(site.zone, ms), MS_PER_DAY)
    return day, into_day / 3_600_000.0


def _week(events: Table) -> np.ndarray:
    """The Monday of each event's week, as a date."""
    date = events["day"].astype("datetime64[D]")
    since_monday = (date.astype(np.int64) + 3) % 7  # 1970-01-01 was a Thursday
    return (date - since_monday).astype(object)


def _numbers(events: Table) -> list[float]:
    return [float(day_number(d)) for d in events["day"].astype("datetime64[D]").tolist()]


def _strokes(site: Site, events: Table) -> tuple[list[float], list[float], list[float]]:
    """Each event as strokes from start to end; after midnight it continues at the bottom of the next day."""
    if not len(events):
        return [], [], []
    number, hour = _local(site, events["start"])
    x: list[float] = []
    low: list[float] = []
    high: list[float] = []
    for n, a, length in zip(number, hour, events["minutes"] / 60.0, strict=True):
        end = a + length
        while True:
            x.append(float(n))
            low.append(float(a))
            high.append(float(min(end, 24.0)))
            if end <= 24.0:
                break
            n, a, end = n + 1, 0.0, end - 24.0
    return x, low, high


def _carried_on(
    days: Table, x: list[float], low: list[float], high: list[float]
) -> tuple[list[float], list[float], list[float]]:
    """Strokes from midnight for minutes that runs don't cover: a run's row covers at most the day after its
    start."""
    drawn: dict[float, float] = {}
    for n, a, b in zip(x, low, high, strict=True):
        drawn[n] = drawn.get(n, 0.0) + b - a
    number = (days["day"] - np.datetime64(EPOCH)) // np.timedelta64(1, "D")
    for at, minutes in zip(number, days["minutes_heating"] + days["minutes_defrost"], strict=True):
        more = float(minutes) / 60.0 - drawn.get(float(at), 0.0)
        if more > _WORTH_A_STROKE_H:
            x, low, high = [*x, float(at)], [*low, 0.0], [*high, min(more, 24.0)]
    return x, low, high


def _weeks_of_runs(runs: Table) -> tuple[tuple[str, ...], ...]:
    frame, week = runs.frame(), _week(runs)
    minutes = frame[~runs["cut"]].groupby(week[~runs["cut"]])["minutes"]
    middle, short = (
        minutes.median().to_dict(),
        minutes.agg(lambda m: int((m < SHORT_RUN_MIN).sum())).to_dict(),
    )
    starts: dict[date, int] = frame.groupby(week).size().to_dict()  # type: ignore[assignment]
    return tuple((day(w), str(n), number(middle.get(w), 0), str(short.get(w, 0))) for w, n in starts.items())


def defrosts_chart(site: Site, result: dict[str, Any], facts: Facts) -> Chart:
    """Defrosts by hour; those in air that can't frost a coil have another mark."""
    title = "When it defrosted"
    defrosts = facts.defrosts
    figures = result["defrost"]
    if not len(defrosts):
        return nothing("defrosts", title, figures["reason"] or "No defrost was seen.")
    number_of, hour = _local(site, defrosts["start"])
    dry = defrosts["frost_known"] & ~defrosts["frosting"]
    hints = [
        f"{measure(m, 'min', 0)}, {measure(o, '°C', 1)}"
        for m, o in zip(defrosts["minutes"], defrosts["outdoor"], strict=True)
    ]
    layers: list[Layer] = []
    marks: tuple[tuple[str, Any, Shape, Tone], ...] = (
        ("air can frost", ~dry, "dot", "water"),
        ("air can't frost", dry, "cross", "alert"),
    )
    for name, chosen, shape, tone in marks:
        at = np.flatnonzero(chosen)
        if len(at):
            x, y = number_of[at].tolist(), hour[at].tolist()
            layers.append(Points(name, x, y, tone, shape, tuple(hints[i] for i in at)))
    if figures["count"] is None:
        says = reason(figures["reason"])
    else:
        says = count(figures["count"], "defrost")
        if figures["electricity_kwh"] is not None:
            says += f", {measure(figures['electricity_kwh'], 'kWh', 0)} of electricity"
    if figures["per_frost_hour"]:
        says += f", {number(figures['per_frost_hour'], 2)} for each hour of heating in frosting air"
    by_day = defrosts.frame().groupby("day")
    about = by_day.agg(count=("day", "size"), minutes=("minutes", "median"), outdoor=("outdoor", "mean"))
    table = tuple(
        (day(d.date()), str(n), number(minutes, 0), number(outdoor, 1))
        for d, n, minutes, outdoor in about.itertuples()
    )
    return Chart(
        "defrosts",
        title,
        f"{says}.",
        _dates(result),
        _HOURS,
        tuple(layers),
        ("Day", "Defrosts", "Median length [min]", "Outdoor [°C]"),
        table,
    )


def reheats_chart(site: Site, result: dict[str, Any], facts: Facts) -> Chart:
    """Charges of the cylinder, from start to end temperature."""
    title = "Hot-water reheats"
    reheats = facts.reheats
    water = result["hot_water"]
    if not len(reheats):
        return nothing("reheats", title, next(iter(water["reasons"].values()), "No reheat was seen."))
    x = _numbers(reheats)
    columns, table = _reheats_table(reheats)
    says = count(len(reheats), "reheat")
    if water["median_reheat_minutes"] is not None:
        says += f", typically {measure(water['median_reheat_minutes'], 'minutes', 0)}"
    says += "."
    is_known = np.isfinite(reheats["from_c"]) & np.isfinite(reheats["to_c"])
    if not is_known.any():
        bars = Bars("a reheat", x, reheats["minutes"].astype(float).tolist(), "water")
        return Chart(
            "reheats", title, says, _dates(result), Axis("Length", "min", low=0.0), (bars,), columns, table
        )
    chosen = reheats.where(is_known)
    days = _numbers(chosen)
    layers: list[Layer] = [
        Spans("a reheat", days, chosen["from_c"].tolist(), chosen["to_c"].tolist(), "water")
    ]
    if site.hot_water is not None:
        layers.append(Level("setpoint", site.hot_water.setpoint_c, "design"))
    return Chart(
        "reheats", title, says, _dates(result), Axis("Cylinder", "°C"), tuple(layers), columns, table
    )


def _reheats_table(reheats: Table) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Reheats as rows, or weekly sums if there are many."""
    names = ["minutes", "from_c", "to_c", "heat", "electricity"]
    heads = ("Minutes", "From [°C]", "To [°C]", "Heat [kWh]", "Electricity [kWh]")
    if len(reheats) <= LONG_TABLE:
        rows = zip(map(reheats.day, range(len(reheats))), *(reheats[n] for n in names), strict=True)
        return ("Day", *heads), tuple(
            (day(d), number(m, 0), *(number(v, 1) for v in more)) for d, m, *more in rows
        )
    groups = reheats.frame().groupby(_week(reheats))
    middle, sums = groups[["minutes", "from_c", "to_c"]].median(), groups[["heat", "electricity"]].sum()
    count = groups.size()
    columns = (
        "Week from",
        "Reheats",
        "Median minutes",
        "Median from [°C]",
        "Median to [°C]",
        "Heat [kWh]",
        "Electricity [kWh]",
    )
    return columns, tuple(
        (
            day(w),
            str(count.loc[w]),
            number(middle.loc[w, "minutes"], 0),
            number(middle.loc[w, "from_c"], 1),
            number(middle.loc[w, "to_c"], 1),
            number(sums.loc[w, "heat"], 1),
            number(sums.loc[w, "electricity"], 1),
        )
        for w in count.index
    )
