"""A site's last year, the basis of answers about settings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord

if TYPE_CHECKING:
    from fieldfare.analysis.facts.tables import Facts
    from fieldfare.analysis.plant.site import Site

YEAR_DAYS = 365


class LastYear(NamedTuple):
    """A site's last year: its facts and its result.

    site : with its own or borrowed outdoor sensor. result : the document of these days
    """

    site: Site
    facts: Facts
    result: dict[str, Any]


def last_year(service: Service, record: SiteRecord) -> LastYear:
    """The last year with readings. Raises NoReadings."""
    first, last = service.results.rolling(record, YEAR_DAYS)
    result = service.results.result(record, first, last)
    facts = service.facts_cache.stored(record.site.id, first, last)
    return LastYear(service.facts_cache.with_borrowed_weather(record.site), facts, result)
