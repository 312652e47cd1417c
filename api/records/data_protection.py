"""Data protection of householders: consent, and export of all data of a home in open formats."""

from __future__ import annotations

import csv
import io
import tempfile
import zipfile
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import orjson
from sqlalchemy import select

from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.handling import Handlings
from fieldfare.api.checks.photos import Photos
from fieldfare.api.checks.sheets import Sheets
from fieldfare.api.core.facts_cache import KINDS
from fieldfare.api.core.results import NoReadings
from fieldfare.api.core.series import plain_rows
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.people.access import Actor
from fieldfare.api.people.audit import Audit
from fieldfare.api.records.maintenance_log import MaintenanceLog
from fieldfare.api.records.retention import KEPT
from fieldfare.api.running.intake import export_site
from fieldfare.api.state.people_tables import Consent
from fieldfare.api.state.work_tables import StoredPaper
from fieldfare.api.visits.bookings import Bookings
from fieldfare.collector.csv.cells import harmless

WORDS = {
    "monitoring": "The firm reads the meters of my heating, to find faults and to advise me.",
    "fleet_learning": "The firm may use my home's figures, with other homes', to learn for its next designs.",
    "monthly_letter": "The firm writes to me every month how my heating did.",
}
"""Purpose -> wording of each consent. Both are stored with the answer: a purpose keeps its name."""
_ALL = 1_000_000


def give_consent(service: Service, site: str, purpose: str, given: bool, who: Actor) -> dict[str, Any]:
    """Record consent or refusal; the newest per purpose applies."""
    row = Consent(
        site=site, purpose=purpose, given=given, who=who.name, time=datetime.now(UTC), words=WORDS[purpose]
    )
    with service.database.write() as session:
        session.add(row)
    return _row(row)


def consents(service: Service, site: str) -> list[dict[str, Any]]:
    """Newest first."""
    with service.database.read() as session:
        return [
            _row(r)
            for r in session.scalars(select(Consent).where(Consent.site == site).order_by(Consent.id.desc()))
        ]


def refused_sites(service: Service, purpose: str) -> frozenset[str]:
    """Sites that refused a purpose, by the newest answer."""
    with service.database.read() as session:
        rows = session.execute(
            select(Consent.site, Consent.given).where(Consent.purpose == purpose).order_by(Consent.id)
        )
        return frozenset(site for site, given in dict(rows.all()).items() if not given)


def export_home(service: Service, record: SiteRecord) -> Path:
    """All data of a home as an archive of TOML, CSV and JSON. The caller deletes the file."""
    site = record.site.id
    handle = tempfile.NamedTemporaryFile(prefix="home-", suffix=".zip", delete=False)  # noqa: SIM115
    with handle, zipfile.ZipFile(handle, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("site.toml", record.file)
        _readings(service, record, archive)
        _facts(service, record, archive)
        _json(archive, "alerts.json", _alerts(service, site))
        handled = Handlings(service.database).of_site(site)
        _json(archive, "handling.json", [asdict(h) for h in handled.values()])
        _json(archive, "works.json", [asdict(w) for w in MaintenanceLog(service).page(site, 0, _ALL)[0]])
        _json(archive, "visits.json", [asdict(v) for v in Bookings(service.database).of_site(site)])
        _checks(service, record, archive)
        _json(archive, "consents.json", consents(service, site))
        _json(archive, "accesses.json", [asdict(a) for a in Audit(service.database).page(0, _ALL, site)[0]])
        _json(archive, "papers.json", _papers(service, site))
        _json(archive, "retention.json", [asdict(kept) for kept in KEPT])
    return Path(handle.name)


def _readings(service: Service, record: SiteRecord, archive: zipfile.ZipFile) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        if service.store.span(record.site.id) is not None:
            export_site(service, record.site.id, path, None, None)
            archive.write(path, "readings.csv")


def _facts(service: Service, record: SiteRecord, archive: zipfile.ZipFile) -> None:
    try:
        first, last = service.results.span(record)
    except NoReadings:
        return
    facts = service.facts_cache.facts(record.site, first, last)
    for kind in KINDS:
        columns, rows = plain_rows(getattr(facts, kind), record)
        text = io.StringIO()
        writer = csv.writer(text)
        writer.writerow(columns)
        writer.writerows([harmless(c) if isinstance(c, str) and c else c for c in row] for row in rows)
        archive.writestr(f"facts/{kind}.csv", text.getvalue())
    archive.writestr("result.json", service.results.document(record, first, last))


def _alerts(service: Service, site: str) -> list[dict[str, Any]]:
    alerts = Alerts(service.database)
    rows = alerts.page(0, _ALL, site=site)[0]
    return [{**asdict(r), "events": [asdict(e) for e in alerts.events(r.id)]} for r in rows]


def _checks(service: Service, record: SiteRecord, archive: zipfile.ZipFile) -> None:
    """Every check with its entries, and every photo, including those of jobs."""
    photos = Photos(service.database, service.settings.data)
    _json(archive, "checks.json", Sheets(service, photos).all_of(record))
    rows = photos.of_site(record.site.id)
    _json(archive, "photos.json", [asdict(row) for row in rows])
    for row in rows:
        if photos.path(row).exists():
            archive.write(photos.path(row), f"photos/{row.id}.jpg", zipfile.ZIP_STORED)


def _papers(service: Service, site: str) -> list[dict[str, Any]]:
    with service.database.read() as session:
        rows = session.scalars(
            select(StoredPaper).where(StoredPaper.site == site).order_by(StoredPaper.kind, StoredPaper.period)
        )
        return [{"kind": r.kind, "period": r.period, "made": r.made, "contents": r.contents} for r in rows]


def _json(archive: zipfile.ZipFile, name: str, document: Any) -> None:
    archive.writestr(name, orjson.dumps(document, option=orjson.OPT_INDENT_2))


def _row(r: Consent) -> dict[str, Any]:
    return {"purpose": r.purpose, "given": r.given, "who": r.who, "time": r.time, "words": r.words}
