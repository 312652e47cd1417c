"""Page of the live overview: units by operating state."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.live_words import grouped

LISTED_UP_TO = 60
"""Homes; of more the overview tells the name and the state alone, so that it stays light and fits few
screens."""


def live_page(
    rows: Iterable[dict[str, Any]], visitor: dict[str, Any], now: datetime, *, part: bool = False
) -> str:
    """Page of the live overview.

    rows : as of `live_words.grouped`. part : only the rows
    """
    groups = grouped(rows, now)
    total = sum(len(g["homes"]) for g in groups)
    says = words.listed([f"{len(g['homes'])} {g['word']}" for g in groups])
    return render(
        "live_part.html" if part else "live.html",
        title="Live",
        here="live",
        visitor=visitor,
        groups=groups,
        total=total,
        says=says,
        time=f"{now:%H:%M:%S} UTC",
        is_long=total > LISTED_UP_TO,
    )
