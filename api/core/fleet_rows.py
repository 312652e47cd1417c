"""Fleet list: every site with its verdict and its first finding, worst first."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import partial
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet import fleet_summary
from fieldfare.analysis.reports.verdict import GONE_AFTER, FileFeed
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.dashboards.text.handling import dealt_with, short


def fleet_rows(
    service: Service, *, fresh: bool = False, offset: int = 0, limit: int | None = None
) -> list[dict[str, Any]]:
    """One row a site: those that failed, then worst first. The verdict is of the days `from` to `to`; `heard`
    is the last reading, and `silent` says that it is days ago. Findings that somebody deals with come last,
    as on the page; `files` is set where a home is fed by files alone, which is never silent; `handling`
    has what was decided: finding code -> state, who, until, words.

    fresh : bool, default False. Bring every site up to date first; else the last stored results are used
    offset, limit : how many sites to leave out, and the most to tell; by default all
    Each row has `failed`, with the `reason`, and `data_notices`: lines about data that can't be used.
    """
    without = _bring_up_to_date(service) if fresh else {}
    service.fleet.refresh()
    now = service.fleet.now()
    rows = service.fleet.rows(Chosen(failed_first=True), offset=offset, limit=limit)
    out = [_row(service, _without(row, without), now) for row in rows]
    return sorted(out, key=lambda row: not row["failed"])


def _bring_up_to_date(service: Service) -> dict[str, Failure | None]:
    """Compute every site's rolling result. Returns the sites without one: site -> reason; None without
    readings."""
    without: dict[str, Failure | None] = {}
    for site_id in service.sites.ids():
        made = attempt(site_id, "work out its results", partial(_make, service, site_id))
        if isinstance(made, Failure):
            without[site_id] = made
        elif not made:
            without[site_id] = None
    return without


def _make(service: Service, site_id: str) -> bool:
    """Update a site's rolling result; return whether it has one."""
    record = service.sites.find(site_id)
    try:
        return record is not None and bool(
            service.results.rolling_document(record, service.settings.rolling_days)
        )
    except NoReadings:
        return False


def _without(home: dict[str, Any], without: dict[str, Failure | None]) -> dict[str, Any]:
    """A home with the outcome of updating its result."""
    if home["id"] not in without:
        return home
    found = without[home["id"]]
    reason = found.reason if found else home["reason"] if home["failed"] else "no readings yet"
    return home | {"result": None, "reason": reason, "failed": found is not None or home["failed"]}


def _row(service: Service, home: dict[str, Any], now: datetime) -> dict[str, Any]:
    result = home["result"]
    handled, heard = home["handled"], service.fleet.last_heard(home["id"])
    return {
        "id": home["id"],
        "name": home["name"],
        **fleet_summary(result, dealt_with(handled)),
        "area": home["area"],
        "handling": {
            code: {"state": h["state"], "who": h["who"], "until": h["until"], "words": short(h)}
            for code, h in handled.items()
            if h["holds"]
        },
        "reason": home["reason"],
        "failed": home["failed"],
        "data_notices": (result or {}).get("data_notices", []),
        "heard": heard.isoformat() if heard else None,
        "silent": heard is not None and home["feed"] is None and now - heard > GONE_AFTER,
        "files": _files(home["feed"], now),
    }


def _files(feed: FileFeed | None, now: datetime) -> dict[str, Any] | None:
    """Last reading of a home fed by files, and whether the next file is overdue."""
    return None if feed is None else {"to": feed.until.isoformat(), "overdue": feed.is_due(now)}


def fleet_feedback(service: Service) -> dict[str, Any]:
    """Design feedback from the firm's systems, without homes that refused consent."""
    from fieldfare.analysis.reports.fleet_feedback import design_feedback, small_result
    from fieldfare.api.records.data_protection import refused_sites

    refused = refused_sites(service, "fleet_learning")
    # Only the needed parts of each result are kept: whole documents of a fleet need too much memory.
    known = [(site, small_result(result)) for site, result in _known(service, refused)]
    return {**design_feedback(known), "left_out": len(refused)}


def _known(service: Service, refused: frozenset[str]) -> Iterator[tuple[Site, dict[str, Any]]]:
    """Sites with their newest readable result."""
    for record in service.sites.all():
        site_id = record.site.id
        if site_id in refused:
            continue
        result = attempt(site_id, "read its results", lambda: service.results.newest(site_id))  # noqa: B023
        if result is not None and not isinstance(result, Failure):
            yield record.site, result
