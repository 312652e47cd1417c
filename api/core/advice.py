"""Advised settings of a site, from its last year."""

from __future__ import annotations

from typing import Any

from fieldfare.api.core.last_year import last_year
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord


def advice(service: Service, record: SiteRecord, *, household: bool = False) -> dict[str, Any]:
    """Settings worth changing, JSON-ready. household : only what is the household's to change.

    Raises NoReadings
    """
    from fieldfare.analysis.advice.plan import plan

    site, facts, result = last_year(service, record)
    document = plan(site, facts, result, household=household)
    return {"site": record.site.id, "period": result["period"], **document}
