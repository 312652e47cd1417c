"""What to set at a home."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.advice.told import advice_told
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def advice_page(
    row: dict[str, Any], document: dict[str, Any] | None, problem: str, visitor: dict[str, Any]
) -> str:
    """Settings worth changing, each with its saving, what rooms do, and when to stop.

    document : of analysis.advice.plan; None with a problem
    """
    home = visitor["role"] == "householder"
    return render(
        "advice.html",
        title=f"What to set, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        home=home,
        problem=words.reason(problem),
        told=advice_told(document) if document is not None else None,
        site_link=f"/sites/{row['id']}{'/home' if home else ''}",
    )
