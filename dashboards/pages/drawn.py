"""A figure for templates."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from markupsafe import Markup

from fieldfare.dashboards.figures.chart import Chart
from fieldfare.dashboards.figures.svg import svg
from fieldfare.dashboards.figures.table import table
from fieldfare.dashboards.text.units import in_chart


@dataclass(frozen=True)
class Drawn:
    """A chart, drawn as SVG and as a table when a template asks for it.

    query : query string of the figure's URL, such as ?from=2026-01-01
    """

    chart: Chart
    query: str

    @cached_property
    def svg(self) -> Markup:
        return svg(self.chart)

    @cached_property
    def table(self) -> Markup:
        return table(self.chart)


def draw(made: Chart, query: str = "") -> Drawn:
    return Drawn(in_chart(made), query)
