"""The jobs as run in a worker process, with a service of its own."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.reports.verdict import GONE_AFTER, SILENT_AFTER, FileFeed, file_due_text
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.service import Service, worker_service
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.jobs.due import is_on_the_hour, watch_time
from fieldfare.dashboards.fleet.entries import FILE_DUE_STEP, SILENCE_STEP

WATCHED_DAYS = 8
"""Days that the watch looks at: a week shows how long this unit pauses, and at which hours a tariff locks
it."""
WATCHED = frozenset({"frost_risk", "pressure_low", "silence", "file_due", "unit_stopped", "fault_reported"})
ONLY_WATCHED = frozenset({"silence", "file_due"})
"""Codes that the nightly work does not judge."""
NOTHING_NEW_AFTER = timedelta(minutes=30)
"""Without a reading for so long, the look before saw all there is: a gateway may send a quarter late."""
_SILENT = {"watch": SILENT_AFTER, "act": GONE_AFTER}


@dataclass(frozen=True)
class JobOutcome:
    """Result of a job. `summary` is one line for people."""

    summary: str
    findings: list[dict[str, Any]] = field(default_factory=list)
    has_result: bool = False


def work(settings: Settings, kind: str, site: str, key: str) -> JobOutcome:
    """Run one job for one site. kind : night, watch, month or winter."""
    service = worker_service(settings)
    record = service.sites.get(site)
    if kind == "night":
        return night(service, record)
    if kind == "watch":
        return watch(service, record, watch_time(key), whole=is_on_the_hour(key))
    if kind == "month":
        return _paper(service, record, "month", key)
    if kind == "winter":
        return _paper(service, record, "winter", key)
    raise ValueError(f"unknown work {kind!r}")


def night(service: Service, record: SiteRecord) -> JobOutcome:
    """Update a site's facts and findings."""
    try:
        result = service.results.rolling_result(record, service.settings.rolling_days)
    except NoReadings:
        return JobOutcome("no readings yet")
    findings, period = result["findings"], result["period"]
    return JobOutcome(
        f"{period['from']} to {period['to']}, {len(findings)} findings", findings, has_result=True
    )


def watch(service: Service, record: SiteRecord, now: datetime, *, whole: bool = True) -> JobOutcome:
    """Check what can't wait for the night: a stopped unit, its faults, frost, pressure, silence.

    whole : run all checks. Otherwise check only units that may have stopped since the last watch
    """
    span = service.store.span(record.site.id)
    if span is None:
        return JobOutcome("no readings yet")
    service.fleet.heard_again(record.site.id)
    service.live.look(record, span[1])
    heard = datetime.fromtimestamp(span[1] / 1000, UTC)
    newest = f"last reading {heard:%Y-%m-%d %H:%M} UTC"
    feed = service.fleet.feeds({record.site.id: heard}).get(record.site.id)
    findings = []
    if feed is None and (quiet := silence(now - heard)):
        findings.append(quiet)
    elif not whole and now - heard > NOTHING_NEW_AFTER:
        return JobOutcome(f"nothing new, {newest}")
    elif not whole and _works(service, record, span[1]):
        return JobOutcome(f"the unit works, {newest}")
    else:
        first, last = service.results.rolling(record, WATCHED_DAYS)
        found = service.results.findings(record, first, last, WATCHED)
        grave = [f for f in found if f.severity in ("act", "urgent")]
        findings = [f.as_dict() for f in grave if f.until is None]
        findings += [file_due(feed)] if feed is not None and feed.is_due(now) else []
    return JobOutcome(f"{len(findings)} findings, {newest}", findings, has_result=True)


def _works(service: Service, record: SiteRecord, newest: int) -> bool:
    """Whether the compressor ran within the shortest rest that may be a stop, before the newest reading."""
    from fieldfare.analysis.findings.limits import limit_of
    from fieldfare.analysis.reports.live_state import compressor_points, worked_last

    site = record.site
    points = compressor_points(site)
    if not points:
        return False
    pause = limit_of(site, "stopped_pause_minutes")
    found = service.store.read(site.id, [p.id for p in points], newest - round(pause * 60_000))
    return worked_last(site, found)[0] is not None


def silence(quiet: timedelta) -> dict[str, Any] | None:
    """The finding that a site has been silent for too long; None if it has readings."""
    reached = [severity for severity, limit in _SILENT.items() if quiet >= limit]
    if not reached:
        return None
    hours = quiet.total_seconds() / 3600
    return {
        "code": "silence",
        "severity": reached[-1],
        "since": None,
        "until": None,
        "headline": f"nothing was heard for {hours:.0f} hours",
        "evidence": [
            {
                "label": "since the last reading",
                "value": round(hours, 1),
                "unit": "h",
                "limit": _SILENT[reached[-1]].total_seconds() / 3600,
            }
        ],
        "causes": [],
        "next_step": SILENCE_STEP,
        "caution": "",
        "cost_per_year": None,
    }


def file_due(feed: FileFeed) -> dict[str, Any]:
    """The finding that the next file of a home without a gateway is overdue."""
    return {
        "code": "file_due",
        "severity": "watch",
        "since": None,
        "until": None,
        "headline": file_due_text(feed),
        "evidence": [],
        "causes": [],
        "next_step": FILE_DUE_STEP,
        "caution": "",
        "cost_per_year": None,
    }


def _paper(service: Service, record: SiteRecord, kind: str, key: str) -> JobOutcome:
    from fieldfare.api.records.papers import keep_paper, month_paper, winter_paper

    try:
        paper = (
            month_paper(service, record, key)
            if kind == "month"
            else winter_paper(service, record, int(key), pictures=True)
        )
    except InputError as error:  # no readings in that time
        return JobOutcome(str(error))
    keep_paper(service, record.site.id, paper)
    return JobOutcome(f"{kind} {key} is ready", has_result=True)
