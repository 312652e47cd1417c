"""What every unit does at its last readings. A home is read again only when a reading has come."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
)
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.analysis.reports.live_state import at_present, worked_last
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.live import newest_of
from fieldfare.dashboards.text.live import now_told

_STATES = {
    HEATING: "heating",
    HOT_WATER: "hot_water",
    DEFROST: "defrost",
    COOLING: "cooling",
    OFF: "rests",
    UNKNOWN: "unknown",
}
STANDS_AFTER_MS = MS_PER_DAY
"""A unit that has not run for a day stands still: even a summer's hot water needs a charge a day (common
practice)."""
_LOOKS_BACK_MS = STANDS_AFTER_MS + 2 * 3_600_000


def live_rows(parts: AppState) -> Iterator[dict[str, Any]]:
    """Of each home: id, name, state, text and time [ms] of its last readings; time is None without any."""
    for card in parts.service.sites.cards():
        row = {"id": card.id, "name": card.name, "state": "unknown", "text": card.trouble or "", "time": None}
        span = attempt(card.id, "read its readings", partial(parts.service.store.span, card.id))
        if span is None or isinstance(span, Failure) or card.trouble:
            yield row
            continue
        mark = span[1], card.updated
        state = attempt(
            card.id,
            "tell what it does",
            partial(parts.live_states.get, card.id, mark, partial(_state, parts, card.id, span[1])),
        )
        yield row | {"time": span[1]} | ({} if isinstance(state, Failure) else state)


def _state(parts: AppState, site_id: str, end: int) -> dict[str, Any]:
    plant = parts.service.sites.find(site_id)
    if plant is None:
        return {}
    found = parts.service.store.read(site_id, None, end - _LOOKS_BACK_MS, None)
    newest = newest_of(plant.site, found)
    now, told = at_present(plant.site, newest), now_told(plant.site, newest)
    state = "unknown" if now is None else _STATES.get(now.use, "runs")
    if state == "rests":
        last, first = worked_last(plant.site, found)
        if last is None and first is not None and end - first >= STANDS_AFTER_MS:
            state = "stands"
    return {"state": state, "text": told["text"] if told else ""}
