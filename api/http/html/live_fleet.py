"""Rows of the live overview: the state of every unit at its last readings."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.api.http.app_state import AppState
from fieldfare.dashboards.pages.live import LISTED_UP_TO
from fieldfare.dashboards.text.live import live_summary


def live_rows(parts: AppState) -> list[dict[str, Any]]:
    """Per home: id, name, state, text, time [ms] of its last reading (None without readings), and told_at
    [ms], the time of the reading its state is based on.

    Beyond the page's limit, homes have no text.
    """
    service = parts.service
    rows = service.live.rows()
    sentences: dict[str, str] = {}
    if len(rows) <= LISTED_UP_TO:
        sentences = service.live.sentences([row.id for row in rows], _sentence)
        sentences |= {card.id: card.trouble for card in service.sites.cards() if card.trouble}
    times = {row.id: row.time for row in rows if row.time is not None}
    feeds = service.fleet.feeds({s: datetime.fromtimestamp(t / 1000, UTC) for s, t in times.items()})
    zones = {card.id: card.zone.key for card in service.sites.cards()} if feeds else {}
    return [
        {**vars(row), "text": sentences.get(row.id, ""), "feed": feeds.get(row.id), "zone": zones.get(row.id)}
        for row in rows
    ]


def _sentence(site: Site, newest: dict[str, Any]) -> str:
    summary = live_summary(site, newest)
    return summary["text"] if summary else ""
