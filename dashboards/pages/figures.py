"""Pages of a home's figures and of the table behind one, whole or as parts for an open page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.chart import Chart
from fieldfare.dashboards.figures.expectations.index import MODELS, expectation_chart
from fieldfare.dashboards.figures.index import chart
from fieldfare.dashboards.figures.table import table
from fieldfare.dashboards.figures.trace import numbers_by_day
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.rows.days import day_rows
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text.units import in_chart


def numbers_page(
    name: str,
    site: Site,
    result: dict[str, Any],
    facts: Facts,
    visitor: dict[str, Any],
    query: dict[str, str],
    *,
    part: bool,
) -> str:
    """Page of the table behind a figure.

    name : of a figure, a model or the trace. facts : of a model's figures with what the home is equipped
    with. query : from and to, where asked for. part : the table alone
    """
    made = in_chart(_chart(name, site, result, facts))
    if part:
        return table(made)
    page, place = (
        ("/expectations", name) if name in MODELS else ("", "trace" if name == "trace" else f"figure-{name}")
    )
    return render(
        "numbers.html",
        title=f"{made.title}: {site.name}",
        here="site",
        visitor=visitor,
        wide=True,
        row={"id": site.id, "name": site.name},
        chart=made,
        table=table(made),
        back=f"/sites/{site.id}{page}{days_query(query)}#{place}",
    )


def figures_page(
    names: Sequence[str],
    site: Site,
    result: dict[str, Any],
    facts: Facts,
    visitor: dict[str, Any],
    query: dict[str, str],
    *,
    part: bool,
) -> str:
    """Page of some or all figures of a home.

    names : of figures, in their order. query : from and to, where asked for. part : the figures alone
    """
    query_text = days_query(query)
    rows = day_rows(facts, site.zone)
    return render(
        "figures_part.html" if part else "figures.html",
        title=f"Figures: {site.name}",
        here="site",
        visitor=visitor,
        wide=True,
        row={"id": site.id, "name": site.name},
        asked=query_text,
        figures=[draw(chart(name, site, result, facts, rows), query_text) for name in names],
    )


def days_query(query: Mapping[str, str]) -> str:
    """Query string of the selected days; empty for the default."""
    text = "&".join(f"{k}={query[k]}" for k in ("from", "to") if query.get(k))
    return f"?{text}" if text else ""


def _chart(name: str, site: Site, result: dict[str, Any], facts: Facts) -> Chart:
    if name == "trace":
        return numbers_by_day(day_rows(facts, site.zone))
    return expectation_chart(name, site, facts) if name in MODELS else chart(name, site, result, facts)
