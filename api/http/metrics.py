"""What is counted, in the Prometheus text format."""

from __future__ import annotations

import time
from collections.abc import Iterable
from functools import partial

from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.http.app_state import AppState

KEPT_FOR_S = 60.0
"""Counting readings walks over all that is not sealed yet, so a scrape more often than this gets the last
counts."""


def metrics_text(parts: AppState) -> str:
    """All metrics."""
    return "\n".join([*_of_sites(parts), *_of_work(parts), *_set_aside(parts)]) + "\n"


def _of_sites(parts: AppState) -> list[str]:
    kept = parts.__dict__.get("_site_metrics")
    if kept is not None and time.monotonic() - kept[0] < KEPT_FOR_S:
        return kept[1]
    readings, lag, troubled = [], [], []
    for card in parts.service.sites.cards():
        site, label = card.id, f'site="{card.id}"'
        points = attempt(site, "count its readings", partial(parts.service.store.points, site))
        failed = isinstance(points, Failure)
        troubled.append((label, int(failed or card.trouble is not None)))
        if isinstance(points, Failure):
            continue
        readings.append((label, sum(p.count for p in points.values())))
        if points:
            lag.append((label, round(time.time() - max(p.last for p in points.values()) / 1000, 3)))
    lines = [
        *_metric(
            "fieldfare_site_failed", "gauge", "1 where a site's file or readings can't be read.", troubled
        ),
        *_metric("fieldfare_readings", "gauge", "Readings in the store.", readings),
        *_metric("fieldfare_lag_seconds", "gauge", "Time since a site's last reading.", lag),
    ]
    parts.__dict__["_site_metrics"] = (time.monotonic(), lines)
    return lines


def _of_work(parts: AppState) -> list[str]:
    jobs = [(f'kind="{kind}",state="{state}"', n) for (kind, state), n in sorted(parts.book.counts().items())]
    alerts = [
        (f'state="{state}",severity="{severity}"', n)
        for (state, severity), n in sorted(parts.alerts.counts().items())
    ]
    notices = [(f'state="{state}"', n) for state, n in sorted(parts.notices.counts().items())]
    return [
        *_metric("fieldfare_jobs", "gauge", "Pieces of work of the last weeks.", jobs),
        *_metric("fieldfare_alerts", "gauge", "Alerts by state and severity.", alerts),
        *_metric("fieldfare_notices", "gauge", "Notices by state.", notices),
    ]


def _set_aside(parts: AppState) -> list[str]:
    from fieldfare.api.records.dead_letters import list_kept

    listed = list_kept(parts.settings, None, 1)
    return [
        *_metric("fieldfare_set_aside", "gauge", "Messages kept aside.", [("", listed["held"])]),
        *_metric("fieldfare_set_aside_total", "counter", "Messages ever set aside.", [("", listed["ever"])]),
    ]


def _metric(name: str, kind: str, told: str, values: Iterable[tuple[str, float]]) -> list[str]:
    lines = [f"{name}{{{label}}} {value}" if label else f"{name} {value}" for label, value in values]
    return [f"# HELP {name} {told}", f"# TYPE {name} {kind}", *lines]
