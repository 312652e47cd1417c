"""Page contents: a row per site with result, facts and time of the last reading."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

import orjson

from fieldfare.analysis.facts.tables import Facts
from fieldfare.api.alerts.handled import handled_of
from fieldfare.api.core.fleet_lines import unpacked
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.finding_actions import colleagues, names_of
from fieldfare.api.http.html.form_values import day_of
from fieldfare.api.http.live import newest_readings
from fieldfare.api.people.access import Actor
from fieldfare.api.records.papers import month_paper
from fieldfare.api.records.sign_off import is_sign_off, sign_offs
from fieldfare.api.records.tuning_log import is_step
from fieldfare.dashboards.fleet.choice import PER_PAGE, Counts, page_of
from fieldfare.dashboards.fleet.winter import in_readers_units
from fieldfare.dashboards.pages.figures import days_query
from fieldfare.dashboards.pages.site import drawn_of
from fieldfare.dashboards.text.units import chosen

EVERY_HOME = Chosen()
WORKS_SHOWN = 20
EFFECTS_SHOWN = 5
"""Effects that are worked out for a page; each reads months of facts."""


def row_of(parts: AppState, record: SiteRecord, result: dict[str, Any] | None) -> dict[str, Any]:
    """A site for pages. heard : time of the last reading. feed : if it is fed by files"""
    about = record.site.site
    row = {"id": about.id, "name": about.name, "handed_over": about.handed_over, "site": record.site}
    span = attempt(about.id, "read its readings", lambda: parts.service.store.span(about.id))
    if isinstance(span, Failure):
        return row | {"heard": None, "result": result, "reason": None if result else span.reason}
    heard = datetime.fromtimestamp(span[1] / 1000, UTC) if span else None
    return row | {
        "heard": heard,
        "feed": parts.service.fleet.feeds({about.id: heard}).get(about.id),
        "result": result,
        "reason": None if result else "no readings yet" if span is None else "not analysed yet",
    }


def clock(parts: AppState) -> datetime:
    """Current time, for ages on pages."""
    return parts.service.fleet.now()


def fleet(
    parts: AppState, chosen: Chosen = EVERY_HOME, *, offset: int = 0, limit: int | None = None
) -> Iterator[dict[str, Any]]:
    """Homes for pages about several: newest stored result without its days; worst first, or in the selected
    order."""
    parts.service.fleet.refresh()
    yield from parts.service.fleet.rows(chosen, offset=offset, limit=limit)


def fleet_part(parts: AppState, query: Mapping[str, str]) -> tuple[list[dict[str, Any]], int, Counts]:
    """Homes of one page of the list, the number that match its filters, and counts over the fleet."""
    table, chosen = parts.service.fleet, Chosen(query)
    table.refresh()
    total = table.total(chosen)
    rows = table.rows(chosen, offset=page_of(query, total)[1], limit=PER_PAGE)
    listed = [row | {"heard": table.last_heard(row["id"])} for row in rows]
    feeds = table.feeds({row["id"]: row["heard"] for row in listed})
    return [row | {"feed": feeds.get(row["id"])} for row in listed], total, table.counts()


def before_winter(parts: AppState) -> Iterator[dict[str, Any]]:
    """Every site's entry in the winter list, with its sign-off."""
    signed = sign_offs(parts.service.database)
    now = clock(parts)
    for row in fleet(parts):
        entry = {"id": row["id"], "name": row["name"], "given": None, "season": ""}
        if row["winter"] is not None and row["result"] is not None:
            entry = in_readers_units(unpacked(row["winter"])) | {"name": row["name"]}
        quiet = None if row["heard"] is None or row["feed"] else now - row["heard"]
        yield entry | {"signed": signed.get((row["id"], entry["season"])), "quiet": quiet}


def period_of(parts: AppState, record: SiteRecord, query: dict[str, str]) -> tuple[date, date]:
    """The local days requested in the URL; default: the rolling year. Raises InputError, NoReadings."""
    first, last = days_of(query)
    if first is None and last is None:
        return parts.service.results.rolling(record, parts.settings.rolling_days)
    return parts.service.results.period(record, first, last)


def days_of(query: Mapping[str, str]) -> tuple[date | None, date | None]:
    """First and last day in the URL; None if open. Raises InputError."""
    first, last = (day_of(query.get(name, ""), name) for name in ("from", "to"))
    return first, last


class PeriodResult(NamedTuple):
    """Result and facts of a period; None and None without readings. document : the result as stored"""

    result: dict[str, Any] | None
    facts: Facts | None
    document: bytes = b""


def period_result(parts: AppState, record: SiteRecord, query: dict[str, str]) -> PeriodResult:
    """Result and facts of the requested days."""
    results = parts.service.results
    try:
        first, last = period_of(parts, record, query)
        document = results.recent(record, first, last)
    except NoReadings:
        return PeriodResult(None, None)
    facts = parts.service.facts_cache.stored(record.site.id, first, last)
    return PeriodResult(orjson.loads(document), facts, document)


def drawn(
    parts: AppState, record: SiteRecord, query: Mapping[str, str], found: PeriodResult
) -> dict[str, Any] | None:
    """Rendered parts of a page that depend on the result alone, cached for all readers; None without a
    result."""
    result, facts, document = found
    if result is None or facts is None:
        return None
    key = record.file, document, days_query(query), chosen()
    return parts.drawn.get(key, lambda: drawn_of(record.site, result, facts, query))


def site_row_with_readings(
    parts: AppState, record: SiteRecord, result: dict[str, Any] | None, actor: Actor
) -> dict[str, Any]:
    """A site's row with its last readings, decisions about its findings,
    and people who can take them over."""
    latest = newest_readings(parts.service.store, record.site)
    rolling = rolling_result(parts.service, record, result)
    handlings = parts.handlings.of_site(record.site.id)
    return {
        **row_of(parts, record, result),
        "latest": latest,
        "rolling": rolling,
        "handled": handled_of(handlings, rolling, record.site.zone, names_of(parts), datetime.now(UTC)),
        "people": colleagues(parts, actor),
    }


def works_of(parts: AppState, record: SiteRecord, *, effects: bool) -> list[dict[str, Any]]:
    """Maintenance log, newest first; the first few with their effect."""
    rows, _ = parts.works.page(record.site.id, 0, WORKS_SHOWN)
    names, photos = names_of(parts), parts.photos.of_works(record.site.id)
    out = []
    for n, work in enumerate(rows):
        entry: dict[str, Any] = {
            "id": work.id,
            "day": work.day.isoformat(),
            "what": work.what,
            "finding": None if is_sign_off(work.finding) or is_step(work.finding) else work.finding,
            "who": names.get(work.who, work.who),
            "findings": work.findings,
            "parts": work.parts,
            "minutes": work.minutes,
            "changed": work.changed.astimezone(record.site.zone).date().isoformat() if work.changed else None,
            "changed_by": names.get(work.changed_by or "", work.changed_by),
            "signed": is_sign_off(work.finding),
            "photos": [p.id for p in photos.get(work.id, ())],
        }
        if effects and n < EFFECTS_SHOWN:
            found = parts.works.effect(record, work)
            entry |= {
                "effect": found["effect"],
                "reason": found["reason"] or "",
                "standing": found["findings"],
            }
        out.append(entry)
    return out


A_WEEK = 7
"""Days from which a new month tells a household something (common practice)."""


def told_month(first: date, last: date) -> str:
    """Month of the last day; the one before while a new month is younger than a week."""
    before = last.replace(day=1) - timedelta(days=1)
    is_young = last.day < A_WEEK and (before - first).days + 1 >= A_WEEK
    return f"{before if is_young else last:%Y-%m}"


def month_contents(parts: AppState, record: SiteRecord, chosen_month: str) -> dict[str, Any] | None:
    """Contents of a month's paper, by default of the last month with a week of readings; None without
    readings."""
    try:
        month = chosen_month or told_month(*parts.service.results.span(record))
        return month_paper(parts.service, record, month, looked_at=True).contents
    except NoReadings:
        return None
