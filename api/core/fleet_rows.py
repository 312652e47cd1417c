"""Fleet list: every site with its verdict and its first finding, worst first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from functools import partial
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet import fleet_summary
from fieldfare.analysis.reports.verdict import GONE_AFTER, given_verdict
from fieldfare.api.alerts.decisions import HandlingRow
from fieldfare.api.alerts.handled import handled_of
from fieldfare.api.alerts.kept_handlings import all_handlings, people_names
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import Card
from fieldfare.dashboards.text.handling import dealt_with, short, urgency_of


def fleet_rows(service: Service, *, fresh: bool = False) -> list[dict[str, Any]]:
    """One row per site: failed sites first, then worst first.

    The verdict covers the days `from` to `to`; `heard` is the last reading, and `silent` means it is days
    old. Findings in hand come last, as on the page; `handling` maps finding code -> state, who, until, words.
    `failed` and `reason` describe errors, `data_notices` unusable data.

    fresh : bool, default False. Update every site first; otherwise use the last stored results
    """
    now, kept, names = clock(service), all_handlings(service.database), people_names(service.database)
    rows = [
        row
        for card in service.sites.cards()
        if (row := _row(service, card, fresh, now, kept.get(card.id, {}), names)) is not None
    ]
    return [row for _, row in sorted(rows, key=lambda r: r[0])]


def area_of(card: Card) -> str:
    """A home's area from its site file; empty if not given."""
    return getattr(getattr(card, "contact", None), "area", None) or ""


def place_of(card: Card) -> str:
    """Other search text of a home: the household's name and the address."""
    contact = getattr(card, "contact", None)
    return " ".join(t for name in ("name", "address") if (t := getattr(contact, name, None)))


def clock(service: Service) -> datetime:
    """Reference time for ages; the demo's clock stops at the end of its invented data."""
    if not service.settings.demo:
        return datetime.now(UTC)
    ends = [t for site in service.sites.ids() if (t := last_heard(service, site)) is not None]
    return max(ends, default=datetime.now(UTC))


def last_heard(service: Service, site_id: str) -> datetime | None:
    """Time of a site's last reading; None if it has none or it can't be read."""
    span = attempt(site_id, "read its readings", partial(service.store.span, site_id))
    return None if span is None or isinstance(span, Failure) else datetime.fromtimestamp(span[1] / 1000, UTC)


def _row(
    service: Service,
    card: Card,
    fresh: bool,
    now: datetime,
    kept: Mapping[str, HandlingRow],
    names: Mapping[str, str],
) -> tuple[tuple[Any, ...], dict[str, Any]] | None:
    """Sort key and row of a site; None if it was removed meanwhile."""
    named = {"id": card.id, "name": card.name}
    failed = card.trouble
    result, reason = None, None
    if failed is None:
        found = attempt(card.id, "work out its results", lambda: _result(service, card.id, fresh))
        if found is None:
            return None
        if isinstance(found, Failure):
            failed = found.reason
        else:
            result, reason = found
    heard = last_heard(service, card.id)
    handled = handled_of(kept, result, card.zone, names, datetime.now(UTC))
    row = {
        **named,
        **fleet_summary(result, dealt_with(handled)),
        "area": area_of(card),
        "handling": _handling(handled),
        "reason": failed or reason,
        "failed": failed is not None,
        "data_notices": (result or {}).get("data_notices", []),
        "heard": heard.isoformat() if heard else None,
        "silent": heard is not None and now - heard > GONE_AFTER,
    }
    key = failed is None, urgency_of(result, given_verdict(result), handled), card.name.lower(), card.id
    return key, row


def _handling(handled: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Current decisions with their texts."""
    return {
        code: {"state": h["state"], "who": h["who"], "until": h["until"], "words": short(h)}
        for code, h in handled.items()
        if h["holds"]
    }


def _result(service: Service, site_id: str, fresh: bool) -> tuple[dict[str, Any] | None, str | None] | None:
    """A site's result, or the reason why it has none; None for a site that was removed."""
    if not fresh:
        result = service.results.summary(site_id)
        return result, None if result else "not analysed yet"
    record = service.sites.find(site_id)
    if record is None:
        return None
    try:
        return service.results.rolling_result(record, service.settings.rolling_days), None
    except NoReadings:
        return None, "no readings yet"


def fleet_learning(service: Service) -> dict[str, Any]:
    """Lessons of the firm's systems for the next design, without homes that did not consent."""
    from fieldfare.analysis.reports.fleet_feedback import design_feedback
    from fieldfare.api.records.home_rights import refused_sites

    refused = refused_sites(service, "fleet_learning")
    return {**design_feedback(_known(service, refused)), "left_out": len(refused)}


def _known(service: Service, refused: frozenset[str]) -> Iterator[tuple[Site, dict[str, Any]]]:
    """Sites with their newest readable result."""
    for record in service.sites.all():
        site_id = record.site.id
        if site_id in refused:
            continue
        result = attempt(site_id, "read its results", lambda: service.results.newest(site_id))  # noqa: B023
        if result is not None and not isinstance(result, Failure):
            yield record.site, result
