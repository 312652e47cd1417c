"""Page of all expectations of a site against measured values."""

from __future__ import annotations

from typing import Any

import orjson

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.expectations.index import MODELS, expectation_chart
from fieldfare.dashboards.figures.plot import plotly_figure
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.pages.figures import days_query
from fieldfare.dashboards.templating import render


def expectations_page(
    row: dict[str, Any], site: Site, facts: Facts, visitor: dict[str, Any], query: dict[str, str]
) -> str:
    """Page of measured against expected values, for every model.

    row : id and name. facts : of the days shown. query : from and to, where asked for
    """
    after = days_query(query)
    made = [draw(expectation_chart(name, site, facts), after) for name in MODELS]
    return render(
        "expectations.html",
        title=f"Measured and expected: {row['name']}",
        here="site",
        visitor=visitor,
        wide=True,
        row=row,
        asked=after,
        shown=[m for m in made if not m.chart.is_empty],
        missing=[m.chart for m in made if m.chart.is_empty],
        days=(facts.days.day(0).isoformat(), facts.days.day(len(facts.days) - 1).isoformat()),
    )


def expectation_json(name: str, site: Site, facts: Facts) -> bytes:
    """A model's figure as plotly's JSON. Raises KeyError for an unknown name."""
    return orjson.dumps(
        plotly_figure(expectation_chart(name, site, facts)), option=orjson.OPT_SERIALIZE_NUMPY
    )
