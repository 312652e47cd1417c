"""Delete a site and everything related to it."""

from __future__ import annotations

import re
import shutil

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from fieldfare.api.checks.photos import Photos
from fieldfare.api.core.forecast import forget_home
from fieldfare.api.core.service import Service
from fieldfare.api.core.weather import station_key
from fieldfare.api.people.audit import Audit
from fieldfare.api.records.file_imports import undo_folder
from fieldfare.api.state.people_tables import Person, PersonSite
from fieldfare.api.state.work_tables import JobRun, Notice


def erase_site(service: Service, site_id: str) -> None:
    """Delete a site's data, and the accounts of people without another home. Raises UnknownSite.

    Deletes file, readings, dead letters, uploads, facts, results, alerts, jobs, checks, photos, papers,
    notices, consents, links, tokens and audit lines; takes it out of the outlook of a forecast.
    """
    service.sites.file(site_id)
    service.store.forget(site_id)
    service.store.forget(station_key(site_id))
    _forget_messages(service, site_id)
    for folder in (service.settings.rejects_dir / site_id, service.settings.data / "uploads" / site_id):
        shutil.rmtree(folder, ignore_errors=True)
    shutil.rmtree(undo_folder(service, site_id), ignore_errors=True)
    Photos(service.database, service.settings.data).forget(site_id)
    Audit(service.database).forget(site_id)
    with service.database.write() as session:
        session.execute(delete(JobRun).where(JobRun.site == site_id))
        forget_home(session, site_id)
        session.execute(delete(Notice).where(Notice.id.in_(_notices_naming(session, site_id))))
        elsewhere = session.query(PersonSite.person).where(PersonSite.site != site_id)
        here = session.query(PersonSite.person).where(PersonSite.site == site_id)
        session.execute(
            delete(Person)
            .where(Person.role == "householder", Person.id.in_(here), Person.id.not_in(elsewhere))
            .execution_options(synchronize_session=False)
        )
    service.sites.remove(site_id)


def _notices_naming(session: Session, site_id: str) -> list[int]:
    """Notices whose text contains the address of this site, but not of one with a longer id."""
    address = f"/sites/{site_id}"
    named = re.compile(rf"{re.escape(address)}(?![a-z0-9-])")
    rows = session.execute(select(Notice.id, Notice.body).where(Notice.body.contains(address)))
    return [notice for notice, body in rows if named.search(body)]


def _forget_messages(service: Service, site_id: str) -> None:
    from fieldfare.collector.mqtt.dead_letters import forget
    from fieldfare.collector.mqtt.journal import FILE, Journal

    if not (service.settings.data / FILE).exists():
        return
    journal = Journal(service.settings.data)
    try:
        forget(journal, site_id)
    finally:
        journal.close()
