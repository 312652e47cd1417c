"""The fleet list: every site with its gravest finding, worst first."""

from __future__ import annotations

from typing import Any

from analysis.fleet import standing, worst_first
from api.results import NoReadings
from api.service import Service


def fleet_rows(service: Service, *, fresh: bool = False) -> list[dict[str, Any]]:
    """One row a site, worst first.

    fresh : bool, default False. Bring every site up to date first; else the last kept result of each is told
    """
    rows = []
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
        rows.append({"id": card.id, "name": card.name, **standing(result), "reason": reason})
    return worst_first(rows)


def fleet_learning(service: Service) -> dict[str, Any]:
    """What the firm's systems say about the next design; homes that did not agree to it are left out."""
    from analysis.learning import learn
    from api.home_rights import refused_sites

    refused = refused_sites(service, "fleet_learning")
    plants = (p for p in service.plants.all() if p.site.id not in refused)
    known = ((p.site, r) for p in plants if (r := service.results.newest(p.site.id)) is not None)
    return {**learn(known), "left_out": len(refused)}
