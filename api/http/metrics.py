"""Metrics in the Prometheus text format."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from functools import partial

from prometheus_client import (
    GC_COLLECTOR,
    PLATFORM_COLLECTOR,
    PROCESS_COLLECTOR,
    CollectorRegistry,
    Histogram,
    generate_latest,
)
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.http.app_state import AppState

KEPT_FOR_S = 60.0
"""Counting readings walks over all that is not sealed yet, so a scrape more often than this gets the last
counts."""
_SECONDS = (0.025, 0.1, 0.25, 0.5, 1.0, 1.5, 2.5, 5.0, 10.0, 30.0)
Rows = Iterable[tuple[tuple[str, ...], float]]


class Metrics(Collector):
    """Metrics of an application, collected at each scrape."""

    def __init__(self, parts: AppState) -> None:
        self._parts = parts
        self._sites: tuple[float, list[Metric]] | None = None
        self._registry = CollectorRegistry()
        self.requests: Histogram = Histogram(
            "fieldfare_request_seconds",
            "Time until an answer began, by the first digit of its status.",
            ["status"],
            buckets=_SECONDS,
            registry=self._registry,
        )
        for collector in (PROCESS_COLLECTOR, PLATFORM_COLLECTOR, GC_COLLECTOR, self):
            self._registry.register(collector)

    def text(self) -> str:
        """All metrics."""
        return generate_latest(self._registry).decode()

    def describe(self) -> Iterable[Metric]:
        """No metrics at registration, which would query the database."""
        return ()

    def collect(self) -> Iterator[Metric]:
        yield from self._of_sites()
        yield from _of_work(self._parts)
        yield from _set_aside(self._parts)
        yield _gauge("damaged", "Damaged things of all homes together.", (), [((), len(self._parts.damage))])

    def _of_sites(self) -> list[Metric]:
        if self._sites is not None and time.monotonic() - self._sites[0] < KEPT_FOR_S:
            return self._sites[1]
        readings: list[tuple[tuple[str, ...], float]] = []
        lag: list[tuple[tuple[str, ...], float]] = []
        troubled: list[tuple[tuple[str, ...], float]] = []
        for card in self._parts.service.sites.cards():
            store = self._parts.service.store
            points = attempt(card.id, "count its readings", partial(store.points, card.id))
            failed = isinstance(points, Failure)
            troubled.append(((card.id,), int(failed or card.trouble is not None)))
            if isinstance(points, Failure):
                continue
            readings.append(((card.id,), sum(p.count for p in points.values())))
            if points:
                lag.append(((card.id,), round(time.time() - max(p.last for p in points.values()) / 1000, 3)))
        site = ("site",)
        metrics = [
            _gauge("site_failed", "1 where a site's file or readings can't be read.", site, troubled),
            _gauge("readings", "Readings in the store.", site, readings),
            _gauge("lag_seconds", "Time since a site's last reading.", site, lag),
        ]
        self._sites = (time.monotonic(), metrics)
        return metrics


def metrics_of(parts: AppState) -> Metrics:
    """The application's metrics."""
    found: Metrics = parts.__dict__.setdefault("_metrics", Metrics(parts))
    return found


def _of_work(parts: AppState) -> Iterator[Metric]:
    yield _gauge(
        "jobs", "Pieces of work of the last weeks.", ("kind", "state"), parts.leases.counts().items()
    )
    alerts = parts.alerts.counts().items()
    yield _gauge("alerts", "Alerts by state and severity.", ("state", "severity"), alerts)
    notices = (((state,), n) for state, n in parts.notices.counts().items())
    yield _gauge("notices", "Notices by state.", ("state",), notices)


def _set_aside(parts: AppState) -> Iterator[Metric]:
    from fieldfare.api.records.dead_letters import list_dead_letters

    listed = list_dead_letters(parts.settings, None, 1)
    yield _gauge("set_aside", "Dead letters.", (), [((), listed["held"])])
    ever = CounterMetricFamily("fieldfare_set_aside", "Messages ever set aside.")
    ever.add_metric((), listed["ever"])
    yield ever


def _gauge(name: str, description: str, labels: tuple[str, ...], rows: Rows) -> Metric:
    family = GaugeMetricFamily(f"fieldfare_{name}", description, labels=labels)
    for values, number in sorted(rows):
        family.add_metric(values, number)
    return family
