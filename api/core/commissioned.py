"""Values of the commissioning sheet compared with today's readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import METER, meters_of
from fieldfare.api.checks.photos import Photos
from fieldfare.api.checks.sheets import SheetKey, Sheets
from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.records.maintenance_log import MaintenanceLog
from fieldfare.api.records.tuning_log import steps_of

if TYPE_CHECKING:
    from fieldfare.analysis.commissioned.compare import Noted

FIRST = SheetKey("commissioning", "first")
LOOKS_BACK_DAYS = 365
MOST_JOBS = 200
"""Newest jobs whose texts are searched for serial numbers."""


def commissioned(service: Service, record: SiteRecord) -> dict[str, Any]:
    """Every kept value with today's, and the findings that are open; JSON-ready.

    Returns signed, values (of `compared`), open (codes of findings), from, to. Raises NoReadings
    """
    from fieldfare.analysis.commissioned.compare import compared

    sheets = Sheets(service, Photos(service.database, service.settings.data))
    sheet = sheets.read(record, FIRST)
    first, last = service.results.rolling(record, LOOKS_BACK_DAYS)
    service.facts_cache.update(record.site, first, last)
    facts = service.facts_cache.stored(record.site.id, first, last)
    site = service.facts_cache.with_borrowed_weather(record.site)
    steps, _ = steps_of(service.database, record.site.id, first, last)
    days = {item["id"]: _day(item["at"], record.site) for item in sheet["items"]}
    registers = _registers(service, record.site, days, last)
    noted = _noted(sheets, record)
    for key, of_job in _in_jobs(service, record, sheet["items"], days).items():
        if key not in noted or noted[key].day <= of_job.day:
            noted[key] = of_job
    values = compared(site, facts, sheet["items"], registers, steps, noted)
    result = rolling_result(service, record, None) or {}
    return {
        "site": record.site.id,
        "name": record.site.name,
        "signed": sheet["signed"],
        "from": first.isoformat(),
        "to": last.isoformat(),
        "values": values,
        "open": sorted({f["code"] for f in result.get("findings", []) if not f.get("until")}),
    }


def _day(at: str | None, site: Site) -> date | None:
    return datetime.fromisoformat(at).astimezone(site.zone).date() if at else None


def _noted(sheets: Sheets, record: SiteRecord) -> dict[tuple[str, str], Noted]:
    """What the last sheet since commissioning noted of each meter."""
    from fieldfare.analysis.commissioned.compare import Noted

    found: dict[tuple[str, str], Noted] = {}
    for sheet in sheets.all_of(record):
        for item in sheet["items"]:
            day = _day(item["at"], record.site)
            if sheet["kind"] == FIRST.kind or not item["id"].startswith(METER) or day is None:
                continue
            for f in item["found"]:
                key = (item["id"], f["id"])
                if f["value"].strip() and (key not in found or found[key].day <= day):
                    found[key] = Noted(f["value"], day)
    return found


def _in_jobs(
    service: Service, record: SiteRecord, items: Sequence[Mapping[str, Any]], days: Mapping[str, date | None]
) -> dict[tuple[str, str], Noted]:
    """Serial numbers that jobs since commissioning give in their text; the last of each meter."""
    from fieldfare.analysis.commissioned.compare import Noted
    from fieldfare.analysis.commissioned.serials import serials_in

    keys = [
        (item["id"], f["id"])
        for item in items
        for f in item["found"]
        if item["id"].startswith(METER) and f["id"].startswith("serial") and f["value"].strip()
    ]
    if not keys:
        return {}
    jobs, _ = MaintenanceLog(service).page(record.site.id, 0, MOST_JOBS)
    found: dict[tuple[str, str], Noted] = {}
    for job in reversed(jobs):
        for key, serial in serials_in(f"{job.what}. {job.parts}", keys).items():
            if job.day >= (days.get(key[0]) or job.day):
                found[key] = Noted(serial, job.day)
    return found


def _registers(service: Service, site: Site, days: dict[str, date | None], last: date) -> dict[str, Any]:
    """Meter registers named on the sheet: readings on the day of entry, and the newest."""
    from fieldfare.analysis.commissioned.compare import Register

    found = {}
    for item, day in days.items():
        if not item.startswith(METER) or day is None:
            continue
        for point in meters_of(site, item.removeprefix(METER)):
            if point.form != "register":
                continue
            at_first = _values(service, site, point.id, day, day)
            newest = _values(service, site, point.id, last - timedelta(1), last)
            if len(newest):
                ends = (float(at_first.min()), float(at_first.max())) if len(at_first) else None
                found[point.id] = Register(point.id, ends, float(newest[-1]), last)
    return found


def _values(service: Service, site: Site, point: str, first: date, last: date) -> np.ndarray:
    start, end = local_midnight(site, first), local_midnight(site, last + timedelta(1))
    samples = service.store.read(site.id, [point], start, end).get(point)
    values = np.asarray(samples.value if samples is not None else [], dtype=np.float64)
    return values[np.isfinite(values)]
