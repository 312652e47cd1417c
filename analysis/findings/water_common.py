"""What the findings about hot water share."""

from __future__ import annotations

from analysis.errors import NotAssessed
from analysis.findings.context import Context

HOT_WATER_CAUTION = (
    "Hot water scalds and lukewarm water breeds Legionella: keep the cylinder's temperature and disinfection as local rules ask, and never lower "
    "either to save electricity. Work on the cylinder's valves, on pressure and on mains parts is for licensed people, by the maker's instructions."
)


def needs_hot_water(context: Context) -> None:
    """Raises NotAssessed where the site makes no hot water."""
    if context.site.hot_water is None:
        raise NotAssessed("the system makes no hot water")
