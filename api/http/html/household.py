"""Further contents of the household's page: its homes, coming visits, the firm's contact data."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import OF_THE_FIRM, Actor
from fieldfare.api.visits.bookings import FURTHEST
from fieldfare.dashboards.pages import present_visit


def household(parts: AppState, record: SiteRecord, actor: Actor) -> dict[str, Any]:
    """Further contents of the household's page.

    homes : id and name of each home of a householder with several; visits : coming visits as text; contact
    : lines, None if the reader may not see it (a home's link can be passed on) or there is none.
    """
    homes: list[tuple[str, str]] = []
    if actor.role not in OF_THE_FIRM and actor.sites is not None and len(actor.sites) > 1:
        homes = [(c.id, c.name) for c in parts.service.sites.cards() if c.id in actor.sites]
    site = record.site
    contact = site.contact if actor.may("contact.read", site.id) else None
    lines = [contact.name, contact.phone, contact.address, contact.access_notes] if contact else []
    return {
        "homes": homes,
        "visits": visits_to_come(parts, record),
        "contact": [line for line in lines if line] or None,
    }


def visits_to_come(parts: AppState, record: SiteRecord) -> list[dict[str, Any]]:
    """Coming visits to a home as text, the next one first."""
    now, site = datetime.now(UTC), record.site
    today = now.astimezone(site.zone).date()
    return [
        present_visit(asdict(row), site.zone, site.name, today)
        for row in parts.bookings.between(now, now + FURTHEST, site=site.id)
    ]
