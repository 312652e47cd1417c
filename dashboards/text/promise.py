"""Texts about the design's promised efficiency."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import gettext as _

SURE = 0.95
"""Probability from which a promise is called kept (common practice)."""


def promise_remark(result: dict[str, Any], use: str) -> str:
    """`3.6 (3.4 to 3.8) at the design's weather, above its promise`; empty if not known.

    use : space_heating or hot_water
    """
    row = next((r for r in result.get("promise") or () if r["use"] == use), None)
    if row is None:
        return ""
    measured = words.interval(row["measured"], "", 1)
    if row["sure"] >= SURE:
        return f"{measured} at the design's weather: above its promise"
    below = row["sure"] <= 1.0 - SURE
    return f"{measured} at the design's weather: {'below' if below else 'about'} its promise"


def good_news(result: dict[str, Any]) -> str:
    """Sentence for a household if all known promises are kept; else empty."""
    rows = result.get("promise") or []
    if not rows or any(r["sure"] < SURE for r in rows):
        return ""
    return _(
        "Good news: in the weather it was designed for, it needs less electricity for its heat than was"
        " promised."
    )
