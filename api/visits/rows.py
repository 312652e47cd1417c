"""Contents of the visit list: homes, contacts, next visits, and durations of past jobs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict
from datetime import datetime
from statistics import median
from typing import Any

from sqlalchemy import select

from fieldfare.analysis.visits.times import LEAST_JOBS
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.html import page_rows
from fieldfare.api.records.sign_off import is_sign_off
from fieldfare.api.state.database import Database
from fieldfare.api.state.work_tables import Work
from fieldfare.dashboards.pages import present_visit


def visit_rows(parts: AppState, only: str = "") -> Iterator[dict[str, Any]]:
    """Rows of the homes that need action, or of one site, with contact, position and next visit as text."""
    now = page_rows.clock(parts)
    booked = parts.bookings.next_of_each(now)
    chosen = Chosen(sites=[only]) if only else Chosen(visits=True)
    for row in page_rows.fleet(parts, chosen):
        card, visit = row["card"], booked.get(row["id"])
        shown = (
            present_visit(asdict(visit), card.zone, card.name, now.astimezone(card.zone).date())
            if visit
            else None
        )
        yield row | {"contact": card.contact, "position": card.position, "booked": shown}


def homes_of(parts: AppState) -> dict[str, dict[str, Any]]:
    """Site -> name, zone, contact and position."""
    return {
        c.id: {"name": c.name, "zone": c.zone, "contact": c.contact, "position": c.position}
        for c in parts.service.sites.cards()
    }


def present_visits(
    parts: AppState, first: datetime, end: datetime, person: int | None = None
) -> list[dict[str, Any]]:
    """Booked visits between two times as text, with the home's contact and position."""
    homes, now = homes_of(parts), page_rows.clock(parts)
    out = []
    for row in parts.bookings.between(first, end, person=person):
        if (home := homes.get(row.site)) is not None:
            shown = present_visit(
                asdict(row), home["zone"], home["name"], now.astimezone(home["zone"]).date()
            )
            out.append(shown | {"contact": home["contact"], "position": home["position"]})
    return out


def job_minutes(database: Database) -> dict[str, float]:
    """Finding code -> median time [min] of the firm's jobs for that finding alone, where there are
    LEAST_JOBS or more."""
    times: dict[str, list[int]] = defaultdict(list)
    chosen = select(Work.findings, Work.minutes).where(Work.minutes.is_not(None))
    with database.read() as session:
        for findings, minutes in session.execute(chosen):
            if findings and minutes and len(findings) == 1 and not is_sign_off(findings[0]):
                times[findings[0]].append(minutes)
    return {code: float(median(found)) for code, found in times.items() if len(found) >= LEAST_JOBS}
