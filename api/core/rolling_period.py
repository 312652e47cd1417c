"""The verdict on a site always covers the rolling period, whatever days are shown."""

from __future__ import annotations

from typing import Any

import orjson

from fieldfare.analysis.reports.verdict import given_verdict
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord


def rolling_result(
    service: Service, record: SiteRecord, shown: dict[str, Any] | None
) -> dict[str, Any] | None:
    """Result of the rolling period; None without readings.

    shown : an existing result, reused if it covers the same days
    """
    try:
        first, last = service.results.rolling(record, service.settings.rolling_days)
    except NoReadings:
        return None
    if shown is not None and (shown["period"]["from"], shown["period"]["to"]) == (f"{first}", f"{last}"):
        return shown
    rolling: dict[str, Any] = orjson.loads(service.results.recent(record, first, last))
    return rolling


def under_standing_verdict(service: Service, record: SiteRecord, result: dict[str, Any]) -> dict[str, Any]:
    """Replace a result's verdict by that of the rolling period, with its `from` and `to`, so that a selection
    of good days can't hide a fault."""
    rolling = rolling_result(service, record, result) or result
    days = {k: rolling["period"][k] for k in ("from", "to")}
    return {**result, "verdict": given_verdict(rolling) | days}
