"""A figure as a template shows it."""

from __future__ import annotations

from typing import NamedTuple

from markupsafe import Markup

from fieldfare.dashboards.figures.chart import Chart
from fieldfare.dashboards.figures.svg import svg
from fieldfare.dashboards.figures.table import table
from fieldfare.dashboards.text.units import in_chart


class Drawn(NamedTuple):
    """query : what follows the figure's address, such as ?from=2026-01-01"""

    chart: Chart
    svg: Markup
    table: Markup
    query: str


def draw(made: Chart, query: str = "") -> Drawn:
    made = in_chart(made)
    return Drawn(made, svg(made), table(made), query)
