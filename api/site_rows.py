"""One short row about each site, for lists."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from api.plants import Plant
from api.service import Service


def site_row(service: Service, plant: Plant) -> dict[str, Any]:
    """What a list shows of a site; `from` and `to` are null where it has no reading."""
    span = service.store.span(plant.site.id)
    about = plant.site.site
    return {
        "id": about.id,
        "name": about.name,
        "timezone": about.timezone,
        "handed_over": about.handed_over.isoformat() if about.handed_over else None,
        "points": len(plant.site.point),
        "from": moment_text(span[0]) if span else None,
        "to": moment_text(span[1]) if span else None,
    }


def site_rows(service: Service, plants: Iterable[Plant] | None = None) -> list[dict[str, Any]]:
    return [site_row(service, plant) for plant in (service.plants.all() if plants is None else plants)]


def moment_text(moment: int) -> str:
    """A moment [ms] as ISO 8601 in UTC."""
    return datetime.fromtimestamp(moment // 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
