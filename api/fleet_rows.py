"""The fleet list: every site with its gravest finding, worst first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from analysis.fleet import standing, worst_first
from analysis.plant.site import Site
from api.plants import Card
from api.results import NoReadings
from api.service import Service
from api.site_guard import Failure, attempt


def fleet_rows(service: Service, *, fresh: bool = False) -> list[dict[str, Any]]:
    """One row a site: those that failed, then worst first.

    fresh : bool, default False. Bring every site up to date first; else the last kept result of each is told
    Each row has `failed`, with the `reason`, and `data_notices`: lines about data that can't be used.
    """
    rows = [row for card in service.plants.cards() if (row := _row(service, card, fresh)) is not None]
    return sorted(worst_first(rows), key=lambda row: not row["failed"])


def _row(service: Service, card: Card, fresh: bool) -> dict[str, Any] | None:
    """A site's row; None where it was removed meanwhile."""
    named = {"id": card.id, "name": card.name}
    if card.trouble is not None:
        return named | _failed(card.trouble)
    row = attempt(card.id, "work out its results", lambda: _told(service, card.id, fresh))
    if isinstance(row, Failure):
        return named | _failed(row.reason)
    return None if row is None else named | row


def _failed(reason: str) -> dict[str, Any]:
    return {**standing(None), "reason": reason, "failed": True, "data_notices": []}


def _told(service: Service, site_id: str, fresh: bool) -> dict[str, Any] | None:
    found = _result(service, site_id, fresh)
    if found is None:
        return None
    result, reason = found
    notices = (result or {}).get("data_notices", [])
    return {**standing(result), "reason": reason, "failed": False, "data_notices": notices}


def _result(service: Service, site_id: str, fresh: bool) -> tuple[dict[str, Any] | None, str | None] | None:
    """A site's result, or the reason why it has none; None for a site that is not there any more."""
    if not fresh:
        result = service.results.summary(site_id)
        return result, None if result else "not analysed yet"
    plant = service.plants.find(site_id)
    if plant is None:
        return None
    try:
        return service.results.rolling_result(plant, service.settings.rolling_days), None
    except NoReadings:
        return None, "no readings yet"


def fleet_learning(service: Service) -> dict[str, Any]:
    """What the firm's systems say about the next design; homes that did not agree to it are left out."""
    from analysis.learning import learn
    from api.home_rights import refused_sites

    refused = refused_sites(service, "fleet_learning")
    return {**learn(_known(service, refused)), "left_out": len(refused)}


def _known(service: Service, refused: frozenset[str]) -> Iterator[tuple[Site, dict[str, Any]]]:
    """Sites with their newest result, without those whose result can't be read."""
    for plant in service.plants.all():
        site_id = plant.site.id
        if site_id in refused:
            continue
        result = attempt(site_id, "read its results", lambda: service.results.newest(site_id))  # noqa: B023
        if result is not None and not isinstance(result, Failure):
            yield plant.site, result
