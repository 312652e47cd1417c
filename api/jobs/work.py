"""The work itself, as a worker process does it: with its own service, and it returns what the caller must
know."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.service import Service, kept_open
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.sites import SiteRecord

WATCHED_DAYS = 8
"""Days that the watch looks at: a week shows how long this unit pauses, and at which hours a tariff locks
it."""
WATCHED = frozenset({"frost_risk", "pressure_low", "silence", "unit_stopped", "fault_reported"})
ONLY_WATCHED = frozenset({"silence"})
"""Codes that the nightly work says nothing about."""
SILENT_AFTER = {"watch": timedelta(hours=6), "act": timedelta(hours=48)}
"""Nothing heard for so long (common practice: gateways repeat every few minutes, routers are off for a
night)."""


@dataclass(frozen=True)
class Outcome:
    """What a piece of work found. `told` is one line for people."""

    told: str
    findings: list[dict[str, Any]] = field(default_factory=list)
    has_result: bool = False


def work(settings: Settings, kind: str, site: str, key: str) -> Outcome:
    """Do one piece of work for one site. kind : night, watch, month or winter."""
    service = kept_open(settings)
    plant = service.sites.get(site)
    if kind == "night":
        return night(service, plant)
    if kind == "watch":
        return watch(service, plant, datetime.now(UTC))
    if kind == "month":
        return _paper(service, plant, "month", key)
    if kind == "winter":
        return _paper(service, plant, "winter", key)
    raise ValueError(f"unknown work {kind!r}")


def night(service: Service, plant: SiteRecord) -> Outcome:
    """Bring a site's facts and findings up to date."""
    try:
        result = service.results.rolling_result(plant, service.settings.rolling_days)
    except NoReadings:
        return Outcome("no readings yet")
    findings, period = result["findings"], result["period"]
    return Outcome(f"{period['from']} to {period['to']}, {len(findings)} findings", findings, has_result=True)


def watch(service: Service, plant: SiteRecord, now: datetime) -> Outcome:
    """Look for what can't wait for the night: a unit that stopped, its faults, frost, pressure, silence."""
    span = service.store.span(plant.site.id)
    if span is None:
        return Outcome("no readings yet")
    service.fleet.heard_again(plant.site.id)
    heard = datetime.fromtimestamp(span[1] / 1000, UTC)
    findings = []
    if quiet := silence(now - heard):
        findings.append(quiet)
    else:
        first, last = service.results.rolling(plant, WATCHED_DAYS)
        found = service.results.findings(plant, first, last, WATCHED)
        grave = [f for f in found if f.severity in ("act", "urgent")]
        findings = [f.as_dict() for f in grave if f.until is None]
    return Outcome(
        f"{len(findings)} findings, last reading {heard:%Y-%m-%d %H:%M} UTC", findings, has_result=True
    )


def silence(quiet: timedelta) -> dict[str, Any] | None:
    """The finding that a site has not been heard of for too long; None where it has."""
    reached = [severity for severity, limit in SILENT_AFTER.items() if quiet >= limit]
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
                "limit": SILENT_AFTER[reached[-1]].total_seconds() / 3600,
            }
        ],
        "causes": [],
        "next_step": "Ask whether the power or the internet connection is off; then look at the gateway.",
        "caution": "",
        "cost_per_year": None,
    }


def _paper(service: Service, plant: SiteRecord, kind: str, key: str) -> Outcome:
    from fieldfare.api.records.papers import keep_paper, month_paper, winter_paper

    try:
        paper = (
            month_paper(service, plant, key)
            if kind == "month"
            else winter_paper(service, plant, int(key), pictures=True)
        )
    except InputError as error:  # nothing was read in that time
        return Outcome(str(error))
    keep_paper(service, plant.site.id, paper)
    return Outcome(f"{kind} {key} is ready", has_result=True)
