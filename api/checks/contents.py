"""Contents of a check for papers: items, signature and thumbnails."""

from __future__ import annotations

from base64 import b64encode
from typing import Any

from fieldfare.api.checks.photos import Photos, UnknownPhoto
from fieldfare.api.checks.sheets import SheetKey, Sheets
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.state.people_tables import Person
from fieldfare.api.state.work_tables import Work


def check_contents(service: Service, record: SiteRecord, key: SheetKey, *, pictures: bool) -> dict[str, Any]:
    """A sheet as read by `Sheets.read`, with `signature`: who, day and what; None without a signature.

    pictures : give each photo that is still kept as `picture`, a JPEG in base64
    """
    photos = Photos(service.database, service.settings.data)
    sheet = Sheets(service, photos).read(record, key)
    sheet["signature"] = _signature(service, sheet["work"])
    if pictures:
        for item in sheet["items"]:
            item["photos"] = [
                {**p, "picture": _picture(photos, record.site.id, p["id"])} for p in item["photos"]
            ]
    return sheet


def _signature(service: Service, work: int | None) -> dict[str, str] | None:
    if work is None:
        return None
    with service.database.read() as session:
        row = session.get(Work, work)
        if row is None:
            return None
        person = session.query(Person.name).where(Person.email == row.who).scalar()
        return {"who": person or row.who, "day": row.day.isoformat(), "what": row.what}


def _picture(photos: Photos, site: str, photo: str) -> str | None:
    """The thumbnail; None if the photo's retention period is over."""
    try:
        return b64encode(photos.path(photos.get(site, photo), small=True).read_bytes()).decode()
    except (UnknownPhoto, OSError):
        return None
