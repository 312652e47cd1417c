"""One short row per site, for lists."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import BrokenSite, SiteRecord


def site_row(service: Service, record: SiteRecord | BrokenSite) -> dict[str, Any]:
    """A site's row in lists.

    from, to : null where it has no reading. reason : why it can't be read, else null. data_notices : lines
        about data that can't be used
    """
    row: dict[str, Any] = {
        "id": record.id,
        "name": record.id,
        "timezone": "UTC",
        "handed_over": None,
        "points": 0,
        "from": None,
        "to": None,
        "reason": None,
        "data_notices": [],
    }
    if isinstance(record, BrokenSite):
        return row | {"reason": record.reason}
    about = record.site.site
    row |= {
        "name": about.name,
        "timezone": about.timezone,
        "handed_over": about.handed_over.isoformat() if about.handed_over else None,
        "points": len(record.site.point),
    }
    span = attempt(record.id, "read its readings", lambda: service.store.span(record.id))
    if isinstance(span, Failure):
        return row | {"reason": span.reason}
    notices = attempt(record.id, "look for damage", lambda: data_notices(service, record.id))
    row["data_notices"] = [notices.reason] if isinstance(notices, Failure) else notices
    return row | {"from": moment_text(span[0]), "to": moment_text(span[1])} if span else row


def site_rows(
    service: Service, records: Iterable[SiteRecord | BrokenSite] | None = None
) -> list[dict[str, Any]]:
    return [site_row(service, record) for record in (service.sites.every() if records is None else records)]


def data_notices(service: Service, site_id: str) -> list[str]:
    """One line per known damage of a site's stored data."""
    return service.results.data_notices(site_id)


def moment_text(moment: int) -> str:
    """A time [ms] as ISO 8601 in UTC."""
    return datetime.fromtimestamp(moment // 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
