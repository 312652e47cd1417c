"""What the pages are made from: each site as one row, with its result, its facts and when it was last
heard."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

import orjson

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.tables import Facts
from fieldfare.api.alerts.handled import handled_of
from fieldfare.api.core.fleet_rows import area_of, last_heard, place_of
from fieldfare.api.core.fleet_rows import clock as fleet_clock
from fieldfare.api.core.fleet_summary import rolling_result
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import Card, SiteRecord
from fieldfare.api.http.app_state import AppState
from fieldfare.api.http.finding_actions import colleagues, names_of
from fieldfare.api.http.live import newest_readings
from fieldfare.api.people.access import Actor
from fieldfare.api.records.papers import month_paper
from fieldfare.api.records.sign_off import is_sign_off, sign_offs
from fieldfare.dashboards.pages import winter_entry
from fieldfare.dashboards.text.units import chosen

WORKS_SHOWN = 20
EFFECTS_SHOWN = 5
"""Effects that are worked out for a page; each reads months of facts."""


def row_of(parts: AppState, plant: SiteRecord, result: dict[str, Any] | None) -> dict[str, Any]:
    """A site as pages take it. heard : the last reading's time."""
    about = plant.site.site
    return _row(parts, about.id, about.name, about.handed_over, result) | {"site": plant.site}


def _row(
    parts: AppState, site_id: str, name: str, handed_over: date | None, result: dict[str, Any] | None
) -> dict[str, Any]:
    span = attempt(site_id, "read its readings", lambda: parts.service.store.span(site_id))
    row = {"id": site_id, "name": name, "handed_over": handed_over, "heard": None, "result": result}
    if isinstance(span, Failure):
        return row | {"reason": None if result else span.reason}
    return row | {
        "heard": datetime.fromtimestamp(span[1] / 1000, UTC) if span else None,
        "reason": None if result else "no readings yet" if span is None else "not analysed yet",
    }


def clock(parts: AppState) -> datetime:
    """The time that pages show ages against."""
    return fleet_clock(parts.service)


def fleet(parts: AppState, only: str = "") -> Iterator[dict[str, Any]]:
    """Every site with its newest kept result but for the days, without the site itself: one at a time, for
    large fleets.

    only : id of the one site that is wanted
    """
    handled, names, now = parts.handlings.all(), names_of(parts), datetime.now(UTC)
    for card in parts.service.sites.cards():
        if only and card.id != only:
            continue
        found = attempt(card.id, "read its results", partial(parts.service.results.summary, card.id))
        trouble = card.trouble or (found.reason if isinstance(found, Failure) else None)
        result = None if trouble or isinstance(found, Failure) else found
        row = _row(parts, card.id, card.name, card.handed_over, result)
        row |= {"area": area_of(card), "place": place_of(card)}
        row["handled"] = handled_of(handled.get(card.id, {}), result, card.zone, names, now)
        yield row | {"reason": trouble} if trouble else row


def before_winter(parts: AppState) -> Iterator[dict[str, Any]]:
    """Every site's entry in the list before winter, with the sign-off of its season."""
    signed = sign_offs(parts.service.database)
    now = clock(parts)
    for card in parts.service.sites.cards():
        entry = attempt(card.id, "write its line before winter", partial(_kept_winter_entry, parts, card))
        if isinstance(entry, Failure):  # listed as a home of which nothing can be told
            entry = winter_entry({"id": card.id, "name": card.name, "site": None, "result": None})
        if entry is not None:
            heard = last_heard(parts.service, card.id)
            quiet = None if heard is None else now - heard
            yield entry | {"signed": signed.get((card.id, entry["season"])), "quiet": quiet}


def _kept_winter_entry(parts: AppState, card: Card) -> dict[str, Any] | None:
    mark = parts.service.results.made(card.id), card.updated, chosen()
    return parts.winter_entries.get(card.id, mark, partial(_winter_entry, parts, card))


def _winter_entry(parts: AppState, card: Card) -> dict[str, Any] | None:
    """Made from result and site file; None for a site that has just been removed."""
    plant = parts.service.sites.find(card.id)
    if plant is None:
        return None
    result = parts.service.results.newest(card.id)
    return winter_entry({"id": card.id, "name": card.name, "site": plant.site, "result": result})


def period_of(parts: AppState, plant: SiteRecord, query: dict[str, str]) -> tuple[date, date]:
    """The local days that a page's address asks for; without any, the rolling year. Raises InputError,
    NoReadings."""
    first, last = (_day(query.get(name, ""), name) for name in ("from", "to"))
    if first is None and last is None:
        return parts.service.results.rolling(plant, parts.settings.rolling_days)
    return parts.service.results.period(plant, first, last)


def worked_out(
    parts: AppState, plant: SiteRecord, query: dict[str, str]
) -> tuple[dict[str, Any] | None, Facts | None]:
    """Result and facts of the asked days; None and None where the site has no readings."""
    results = parts.service.results
    try:
        first, last = period_of(parts, plant, query)
        result = orjson.loads(results.recent(plant, first, last))
    except NoReadings:
        return None, None
    return result, parts.service.facts_cache.kept(plant.site.id, first, last)


def site_row_with_readings(
    parts: AppState, plant: SiteRecord, result: dict[str, Any] | None, actor: Actor
) -> dict[str, Any]:
    """A site's row with its last readings, the decisions about its findings and whom they can be given to."""
    latest = newest_readings(parts.service.store, plant.site)
    rolling = rolling_result(parts.service, plant, result)
    kept = parts.handlings.of_site(plant.site.id)
    return {
        **row_of(parts, plant, result),
        "latest": latest,
        "rolling": rolling,
        "handled": handled_of(kept, rolling, plant.site.zone, names_of(parts), datetime.now(UTC)),
        "people": colleagues(parts, actor),
    }


def works_of(parts: AppState, plant: SiteRecord, *, effects: bool) -> list[dict[str, Any]]:
    """The works log, newest first; the first few with what came of them."""
    rows, _ = parts.works.page(plant.site.id, 0, WORKS_SHOWN)
    names, photos = names_of(parts), parts.photos.of_works(plant.site.id)
    out = []
    for n, work in enumerate(rows):
        entry: dict[str, Any] = {
            "id": work.id,
            "day": work.day.isoformat(),
            "what": work.what,
            "finding": None if is_sign_off(work.finding) else work.finding,
            "who": names.get(work.who, work.who),
            "findings": work.findings,
            "parts": work.parts,
            "minutes": work.minutes,
            "changed": work.changed.astimezone(plant.site.zone).date().isoformat() if work.changed else None,
            "changed_by": names.get(work.changed_by or "", work.changed_by),
            "signed": is_sign_off(work.finding),
            "photos": [p.id for p in photos.get(work.id, ())],
        }
        if effects and n < EFFECTS_SHOWN:
            found = parts.works.effect(plant, work)
            entry |= {
                "effect": found["effect"],
                "reason": found["reason"] or "",
                "standing": found["findings"],
            }
        out.append(entry)
    return out


def month_contents(parts: AppState, plant: SiteRecord, asked: str) -> dict[str, Any] | None:
    """A month paper's contents; without a wish, of the last month with readings. None where there is none."""
    try:
        month = asked or f"{parts.service.results.span(plant)[1]:%Y-%m}"
        return month_paper(parts.service, plant, month, looked_at=True).contents
    except NoReadings:
        return None


def _day(text: str, name: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"`{name}` must be a day, such as 2026-01-31, got {text[:20]!r}") from None
