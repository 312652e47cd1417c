"""What to set at a site, from its own last year."""

from __future__ import annotations

from typing import Any

from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord

ADVICE_DAYS = 365


def advice(service: Service, plant: SiteRecord, *, household: bool = False) -> dict[str, Any]:
    """Settings worth changing, JSON-ready. household : only what is the household's to change.

    Raises NoReadings
    """
    from fieldfare.analysis.advice.plan import plan

    first, last = service.results.rolling(plant, ADVICE_DAYS)
    result = service.results.result(plant, first, last)
    facts = service.facts_cache.kept(plant.site.id, first, last)
    site = service.facts_cache.equipped(plant.site)
    document = plan(site, facts, result, household=household)
    return {"site": plant.site.id, "period": result["period"], **document}
