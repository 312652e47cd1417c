"""Sheets of manual checks: idempotent entries per field, conflicts, signature."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, cast

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import (
    KINDS,
    Item,
    Kind,
    items_for,
)
from fieldfare.api.checks.entries import (
    FieldEntry,
    entries_of,
    item_of,
    last_time,
    names_by_email,
    row_of,
    seq_of,
    signed_at,
)
from fieldfare.api.checks.lists import own_items
from fieldfare.api.checks.photos import PhotoRow, Photos, Subject
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.people.access import Actor
from fieldfare.api.state.check_tables import CheckChange, CheckSheet
from fieldfare.dashboards.checks.lists import STATES, built_in, lacks_reason

MOST_NOTE, MOST_VALUE = 2000, 60
"""Characters."""
MOST_CHANGES = 20_000
"""Changes of one sheet; a page of typing makes some hundred."""
LONGEST_KEPT = timedelta(days=60)
"""A device sends within days; a clock that says more is wrong (common practice)."""
OutcomeState = Literal["kept", "conflict", "signed", "refused"]


class Signed(InputError):
    """The sheet is signed and can't be changed."""


@dataclass(frozen=True)
class SheetKey:
    """Key of a sheet: kind of check, and the winter, the year or `first`."""

    kind: Kind
    period: str

    def __post_init__(self) -> None:
        """Raises InputError."""
        good = "first" if self.kind == "commissioning" else r"(19[9]\d|2[01]\d\d)"
        if self.kind not in KINDS or not re.fullmatch(good, self.period):
            expected = "first" if self.kind == "commissioning" else "a year such as 2026"
            raise InputError(f"the period of this check is {expected}, not {self.period[:20]!r}")


@dataclass(frozen=True)
class FieldChange:
    """A changed field of a sheet. id : chosen by the client. was : value the client had before"""

    id: str
    item: str
    field: str
    value: str
    was: str
    typed: datetime


@dataclass(frozen=True)
class Outcome:
    """Outcome of a change. On a conflict, `value`, `who` and `at` describe the stored entry."""

    id: str
    told: OutcomeState
    value: str = ""
    who: str = ""
    at: datetime | None = None
    why: str = ""


class Sheets:
    """Sheets in the state database; the row is created with the first entry."""

    def __init__(self, service: Service, photos: Photos) -> None:
        self._service, self._database, self._photos = service, service.database, photos

    def read(self, record: SiteRecord, key: SheetKey) -> dict[str, Any]:
        """A sheet for pages, papers and the API: `items` with entries and photos; `seq`; `signed`."""
        site = record.site
        with self._database.read() as session:
            row = row_of(session, site.id, key)
            entries = entries_of(session, row.id) if row else {}
            seq = seq_of(session, row.id) if row else 0
            names = names_by_email(session)
            last = last_time(session, site.id, row)
        photos = self._photos.of_sheet(row.id) if row else []
        signed = signed_at(row)
        if row is not None and signed and row.items is not None:
            items = row.items
        else:
            items = [
                item_of(i, site, entries.get(i.id, {}), photos, names, last) for i in self._items(key, site)
            ]
        return {
            "site": site.id,
            "kind": key.kind,
            "period": key.period,
            "sheet": row.id if row else None,
            "seq": seq,
            "signed": signed.isoformat() if signed else None,
            "work": row.work if row and signed else None,
            "items": items,
        }

    def apply(
        self, record: SiteRecord, key: SheetKey, changes: Iterable[FieldChange], who: Actor
    ) -> list[Outcome]:
        """Store changes in order, each once. A change whose `was` differs from the stored value is a conflict
        and is not stored."""
        items = {item.id: item for item in self._items(key, record.site)}
        changes = list(changes)
        self._make(record.site.id, key)
        with self._database.write() as session:
            row = session.get_one(CheckSheet, _id(session, record.site.id, key), with_for_update=True)
            entries, names = entries_of(session, row.id), names_by_email(session)
            return [_keep(session, row, items, entries, names, change, who.name) for change in changes]

    def add_photo(
        self,
        record: SiteRecord,
        key: SheetKey,
        item: str,
        photo: str,
        sent: bytes,
        taken: datetime,
        who: Actor,
    ) -> PhotoRow:
        """Raises InputError, Signed."""
        if item not in {i.id for i in self._items(key, record.site)}:
            raise InputError(f"this check has no item {item[:40]!r}")
        self._make(record.site.id, key)
        with self._database.read() as session:
            row = session.get_one(CheckSheet, _id(session, record.site.id, key))
        if signed_at(row):
            raise Signed(SIGNED)
        return self._photos.add(record.site.id, photo, Subject(row.id, item), sent, taken, who.name)

    def signing(self, record: SiteRecord, key: SheetKey) -> tuple[dict[str, Any], list[str]]:
        """The sheet, and the problems that prevent signing, one line each."""
        sheet = self.read(record, key)
        return sheet, [text for _, text in unfinished(sheet["items"])]

    def sign(self, record: SiteRecord, key: SheetKey, work: int) -> None:
        """Sign the sheet, which freezes its items. work : id of its maintenance log entry. Raises
        InputError."""
        self._make(record.site.id, key)
        sheet, problems = self.signing(record, key)
        if problems:
            raise InputError(problems[0])
        with self._database.write() as session:
            row = session.get_one(CheckSheet, _id(session, record.site.id, key), with_for_update=True)
            row.items, row.work, row.signed = sheet["items"], work, datetime.now(UTC)

    def is_signed(self, site: str, key: SheetKey) -> bool:
        with self._database.read() as session:
            return signed_at(row_of(session, site, key)) is not None

    def key_of(self, sheet: int | None) -> tuple[str, str]:
        """Kind and period of a sheet. Raises InputError if it does not exist."""
        with self._database.read() as session:
            row = session.get(CheckSheet, sheet) if sheet is not None else None
        if row is None:
            raise InputError("this check no longer exists")
        return row.kind, row.period

    def of_photo(self, row: PhotoRow) -> bool:
        """Whether a photo belongs to a signed sheet."""
        with self._database.read() as session:
            return row.sheet is not None and signed_at(session.get(CheckSheet, row.sheet)) is not None

    def all_of(self, record: SiteRecord) -> list[dict[str, Any]]:
        """Every sheet of a home with its history, for the household's export."""
        with self._database.read() as session:
            rows = list(
                session.scalars(
                    select(CheckSheet).where(CheckSheet.site == record.site.id).order_by(CheckSheet.id)
                )
            )
            changes = {
                row.id: [
                    {
                        "item": c.item,
                        "field": c.field,
                        "value": c.value,
                        "who": c.who,
                        "typed": c.typed,
                        "received": c.received,
                    }
                    for c in session.scalars(
                        select(CheckChange).where(CheckChange.sheet == row.id).order_by(CheckChange.seq)
                    )
                ]
                for row in rows
            }
        return [
            self.read(record, SheetKey(cast(Kind, row.kind), row.period)) | {"changes": changes[row.id]}
            for row in rows
        ]

    def progress(self) -> dict[tuple[str, str, str], tuple[int, bool]]:
        """(site, kind, period) -> items that have an answer, and whether the sheet is signed."""
        newest = (
            select(func.max(CheckChange.seq))
            .where(CheckChange.field == "state")
            .group_by(CheckChange.sheet, CheckChange.item)
        )
        answered = select(CheckChange.sheet, func.count()).where(
            CheckChange.seq.in_(newest), CheckChange.value != ""
        )
        with self._database.read() as session:
            count: dict[int, int] = dict(session.execute(answered.group_by(CheckChange.sheet)).all())
            return {
                (r.site, r.kind, r.period): (count.get(r.id, 0), signed_at(r) is not None)
                for r in session.scalars(select(CheckSheet))
            }

    def _items(self, key: SheetKey, site: Site) -> list[Item]:
        return items_for((*built_in(), *own_items(self._service.settings)), key.kind, site)

    def _make(self, site: str, key: SheetKey) -> None:
        with self._database.read() as session:
            if row_of(session, site, key) is not None:
                return
        try:
            with self._database.write() as session:
                session.add(
                    CheckSheet(site=site, kind=key.kind, period=key.period, created=datetime.now(UTC))
                )
        except IntegrityError:  # another device created it at the same time
            return


def unfinished(items: Iterable[Mapping[str, Any]]) -> list[tuple[str, str]]:
    """Problems that prevent signing: item id and one line each."""
    items = list(items)
    out = [(i["id"], f"{i['title']}: say done, not done or not applicable.") for i in items if not i["state"]]
    out += [
        (i["id"], f"{i['title']}: say in the note why it was not done.") for i in items if lacks_reason(i)
    ]
    out += [
        (i["id"], f"{i['title']}, {f['name']}: {f['trouble']}.")
        for i in items
        for f in i["found"]
        if f["trouble"]
    ]
    return out


SIGNED = "the sheet is signed; open it again to enter more"


def _keep(
    session: Session,
    row: CheckSheet,
    items: Mapping[str, Item],
    entries: dict[str, dict[str, FieldEntry]],
    names: Mapping[str, str],
    change: FieldChange,
    who: str,
) -> Outcome:
    before = session.scalars(select(CheckChange).where(CheckChange.id == change.id)).first()
    if before is not None:
        same = before.sheet == row.id and (before.item, before.field) == (change.item, change.field)
        return Outcome(change.id, "kept") if same else Outcome(change.id, "refused", why="its id is in use")
    trouble = _trouble(items.get(change.item), change)
    if trouble:
        return Outcome(change.id, "refused", why=trouble)
    there = entries.get(change.item, {}).get(change.field)
    value = there.value if there else ""
    if value == change.value:
        return Outcome(change.id, "kept")
    fields = {
        "value": value,
        "who": names.get(there.who, there.who) if there else "",
        "at": there.at if there else None,
    }
    if signed_at(row):
        return Outcome(change.id, "signed", why=SIGNED, **fields)  # type: ignore[arg-type]
    if value != change.was:
        return Outcome(change.id, "conflict", **fields)  # type: ignore[arg-type]
    if (seq_of(session, row.id, count=True)) >= MOST_CHANGES:
        return Outcome(change.id, "refused", why=f"a sheet holds {MOST_CHANGES} changes")
    now = datetime.now(UTC)
    entry = CheckChange(
        id=change.id,
        sheet=row.id,
        item=change.item,
        field=change.field,
        value=change.value,
        who=who,
        typed=_plausible(change.typed, now),
        received=now,
    )
    session.add(entry)
    session.flush()
    entries.setdefault(change.item, {})[change.field] = FieldEntry(change.value, who, entry.typed, change.id)
    return Outcome(change.id, "kept")


def _plausible(typed: datetime, now: datetime) -> datetime:
    """Time of an entry by the device's clock; the time of receipt if that clock is implausible."""
    return typed if now - LONGEST_KEPT <= typed <= now else now


def _trouble(item: Item | None, change: FieldChange) -> str:
    """Reason why a change can't be stored, if any; incomplete or unlikely numbers are allowed."""
    if item is None:
        return f"this check has no item {change.item[:40]!r}"
    if change.field == "state":
        allowed = {"", *STATES}
        return "" if change.value in allowed else f"{change.value[:40]!r} is none of {', '.join(STATES)}"
    most = MOST_NOTE if change.field == "note" else MOST_VALUE
    if change.field != "note" and change.field not in {f"found.{f.id}" for f in item.found}:
        return f"{item.id} has no field {change.field[:40]!r}"
    if len(change.value) > most:
        return f"at most {most} characters, please"
    return "" if _is_printable(change.value) else "control characters can't be kept"


def _is_printable(text: str) -> bool:
    return all(c.isprintable() or c == "\n" for c in text)


def _id(session: Session, site: str, key: SheetKey) -> int:
    row = row_of(session, site, key)
    if row is None:
        raise InputError(f"there is no site {site!r} here")
    return row.id
