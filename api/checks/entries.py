"""Read a sheet: the last change of each field, and the last signed check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import Item, as_read
from fieldfare.api.checks.photos import PhotoRow
from fieldfare.api.state.check_tables import CheckChange, CheckSheet
from fieldfare.api.state.people_tables import Person
from fieldfare.dashboards.checks.lists import filled

if TYPE_CHECKING:
    from fieldfare.api.checks.sheets import SheetKey


@dataclass(frozen=True)
class FieldEntry:
    """Current value of a field."""

    value: str
    who: str
    at: datetime
    change: str


def row_of(session: Session, site: str, key: SheetKey) -> CheckSheet | None:
    chosen = select(CheckSheet).where(CheckSheet.site == site, CheckSheet.kind == key.kind)
    return session.scalars(chosen.where(CheckSheet.period == key.period)).first()


def signed_at(row: CheckSheet | None) -> datetime | None:
    """When a sheet was signed; deleting the job of the signature opens it again."""
    return row.signed if row is not None and row.work is not None else None


def entries_of(session: Session, sheet: int) -> dict[str, dict[str, FieldEntry]]:
    """Item -> field -> its last change."""
    out: dict[str, dict[str, FieldEntry]] = {}
    for c in session.scalars(select(CheckChange).where(CheckChange.sheet == sheet).order_by(CheckChange.seq)):
        out.setdefault(c.item, {})[c.field] = FieldEntry(c.value, c.who, c.typed, c.id)
    return out


def seq_of(session: Session, sheet: int, *, count: bool = False) -> int:
    column = func.count(CheckChange.seq) if count else func.max(CheckChange.seq)
    return session.scalar(select(column).where(CheckChange.sheet == sheet)) or 0


def names_by_email(session: Session) -> dict[str, str]:
    return dict(session.execute(select(Person.email, Person.name)).all())


def item_of(
    item: Item,
    site: Site,
    fields: Mapping[str, FieldEntry],
    photos: Iterable[PhotoRow],
    names: Mapping[str, str],
    last: Mapping[str, dict[str, Any]],
) -> dict[str, Any]:
    newest = max(fields.values(), key=lambda e: e.at, default=None)
    entry = {
        "state": fields["state"].value if "state" in fields else "",
        "note": fields["note"].value if "note" in fields else "",
        "values": {name[6:]: e.value for name, e in fields.items() if name.startswith("found.")},
        "who": names.get(newest.who, newest.who) if newest else None,
        "at": newest.at.isoformat() if newest else None,
        "photos": [
            {"id": p.id, "taken": p.taken.isoformat(), "who": names.get(p.who, p.who)}
            for p in photos
            if p.item == item.id
        ],
        "last": last.get(item.id),
    }
    return filled(item, site, entry)


def last_time(session: Session, site: str, row: CheckSheet | None) -> dict[str, dict[str, Any]]:
    """Item -> its result in the last signed check of any list."""
    chosen = select(CheckSheet).where(
        CheckSheet.site == site, CheckSheet.work.is_not(None), CheckSheet.signed.is_not(None)
    )
    if row is not None:
        chosen = chosen.where(CheckSheet.id != row.id)
        if row.signed is not None and row.work is not None:
            chosen = chosen.where(CheckSheet.signed < row.signed)
    out: dict[str, dict[str, Any]] = {}
    for sheet in session.scalars(chosen.order_by(CheckSheet.signed)):
        for item in sheet.items or ():
            if item["state"] in ("done", "not_done"):
                out[item["id"]] = {
                    "day": sheet.signed.date().isoformat() if sheet.signed else "",
                    "kind": sheet.kind,
                    "state": item["state"],
                    "note": item["note"],
                    "values": {
                        f["id"]: as_read(f["value"], f["unit"]) for f in item["found"] if f["value"].strip()
                    },
                }
    return out
