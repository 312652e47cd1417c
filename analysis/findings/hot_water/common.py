"""What the findings about hot water share."""

from __future__ import annotations

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.findings.context import Context

HOT_WATER_CAUTION = HOT_WATER


def needs_hot_water(context: Context) -> None:
    """Raises NotAssessed where the site makes no hot water."""
    if context.site.hot_water is None:
        raise NotAssessed("the system makes no hot water", "not_applicable")
