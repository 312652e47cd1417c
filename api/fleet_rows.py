"""The fleet list: every site with its verdict and the finding to deal with first, worst first."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from analysis.fleet import fleet_summary, home_urgency
from analysis.verdict import GONE_AFTER, given_verdict
from api.results import NoReadings
from api.service import Service


def fleet_rows(service: Service, *, fresh: bool = False) -> list[dict[str, Any]]:
    """One row a site, worst first. The verdict is of the days `from` to `to`; `heard` is the last reading, and `silent` says
    that it is days ago.

    fresh : bool, default False. Bring every site up to date first; else the last kept result of each is told
    """
    rows = []
    now = clock(service)
    for card in service.plants.cards():
        result, reason = None, None
        if fresh:
            if (plant := service.plants.find(card.id)) is None:
                continue
            try:
                result = service.results.rolling_result(plant, service.settings.rolling_days)
            except NoReadings:
                reason = "no readings yet"
        else:
            result = service.results.summary(card.id)
            reason = None if result else "not analysed yet"
        heard = _heard(service, card.id)
        row = {
            "id": card.id, "name": card.name, **fleet_summary(result), "reason": reason,
            "heard": heard.isoformat() if heard else None, "silent": heard is not None and now - heard > GONE_AFTER,
        }  # fmt: skip
        rows.append(((home_urgency(result, given_verdict(result)), card.name.lower(), card.id), row))
    return [row for _, row in sorted(rows, key=lambda r: r[0])]


def clock(service: Service) -> datetime:
    """The time that ages are counted to; the demo's invented data end some hours ago, so its clock stands there."""
    if not service.settings.demo:
        return datetime.now(UTC)
    ends = [s[1] for site in service.plants.ids() if (s := service.store.span(site)) is not None]
    return datetime.fromtimestamp(max(ends) / 1000, UTC) if ends else datetime.now(UTC)


def _heard(service: Service, site_id: str) -> datetime | None:
    """Time of a site's last reading."""
    span = service.store.span(site_id)
    return None if span is None else datetime.fromtimestamp(span[1] / 1000, UTC)


def fleet_learning(service: Service) -> dict[str, Any]:
    """What the firm's systems say about the next design; homes that did not agree to it are left out."""
    from analysis.learning import learn
    from api.home_rights import refused_sites

    refused = refused_sites(service, "fleet_learning")
    plants = (p for p in service.plants.all() if p.site.id not in refused)
    known = ((p.site, r) for p in plants if (r := service.results.newest(p.site.id)) is not None)
    return {**learn(known), "left_out": len(refused)}
