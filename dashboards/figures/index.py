"""All figures of a site by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures import (
    calendars,
    daily,
    efficiency_map,
    flow_curve,
    house_and_unit,
)
from fieldfare.dashboards.figures.against_rating import against_rating_chart
from fieldfare.dashboards.figures.chart import Chart, nothing
from fieldfare.dashboards.rows.days import Row, day_rows, rows_of_result

ByDay = Callable[[Site, dict[str, Any], list[Row]], Chart]
ByEvent = Callable[[Site, dict[str, Any], Facts], Chart]

BY_DAY: dict[str, ByDay] = {
    "heat": house_and_unit.heat_chart,
    "curve": flow_curve.curve_chart,
    "efficiency": efficiency_map.efficiency_chart,
    "months": daily.months_chart,
    "water": daily.water_chart,
    "pressure": daily.pressure_chart,
    "rooms": daily.rooms_chart,
    "cylinder": daily.cylinder_chart,
    "idle": daily.idle_chart,
    "frost": daily.frost_chart,
    "coverage": daily.coverage_chart,
    "direct": daily.direct_chart,
    "against_rating": against_rating_chart,
}
BY_EVENT: dict[str, ByEvent] = {
    "runs": calendars.runs_chart,
    "defrosts": calendars.defrosts_chart,
    "reheats": calendars.reheats_chart,
}
NAMES = (*BY_DAY, *BY_EVENT)


def chart(
    name: str, site: Site, result: dict[str, Any], facts: Facts | None, rows: list[Row] | None = None
) -> Chart:
    """A figure by its name. Raises KeyError for an unknown one.

    rows : day rows if at hand, else they are taken from the facts, else from the result's own days
    """
    if name in BY_DAY:
        if rows is None:
            rows = day_rows(facts, site.zone) if facts is not None else rows_of_result(result)
        return BY_DAY[name](site, result, rows)
    make = BY_EVENT[name]
    return (
        make(site, result, facts)
        if facts is not None
        else nothing(name, name, "Needs the facts of the days.")
    )
