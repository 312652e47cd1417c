"""Manual checks, and photos of checks and jobs."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from fastapi import Depends, Path, Query, Request, Response
from pydantic import BaseModel, Field

from fieldfare.api.checks.photos import PhotoRow, Subject
from fieldfare.api.checks.sheets import (
    MOST_NOTE,
    FieldChange,
    Outcome,
    SheetKey,
)
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, need
from fieldfare.api.http.photo_actions import remove_photo
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import Moment, RowId, Shape
from fieldfare.api.people.access import Actor

router = rest_router("checks")
Check = Annotated[Literal["winter", "service", "commissioning"], Path(alias="kind")]
Period = Annotated[str, Path(pattern=r"^(\d{4}|first)$", examples=["2026"])]
PhotoId = Annotated[str, Path(pattern=r"^[0-9a-f]{32}$", description="Made by the sender, at random.")]
ItemId = Annotated[str, Path(pattern=r"^[a-z][a-z0-9_]{0,30}$", examples=["strainer"])]
Taken = Annotated[Moment | None, Query(description="When it was taken; now where it is left out.")]
MOST_AT_ONCE = 100
PICTURE: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}},
    }
}


class ChangeIn(Shape):
    """A changed field."""

    id: Annotated[str, Field(pattern=r"^[0-9a-f-]{8,36}$", description="Made by the sender, at random.")]
    item: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,30}$", examples=["strainer"])]
    field: Annotated[
        str,
        Field(
            max_length=40, description="`state`, `note` or `found.` and the value's id.", examples=["state"]
        ),
    ]
    value: Annotated[str, Field(max_length=2 * MOST_NOTE, examples=["done"])]
    was: Annotated[str, Field(max_length=2 * MOST_NOTE, description="The value that the sender knew of.")] = (
        ""
    )
    typed: Moment = Field(description="When it was entered.")


class ChangesIn(Shape):
    changes: Annotated[list[ChangeIn], Field(max_length=MOST_AT_ONCE)]


class ChangesOut(BaseModel):
    outcomes: list[Outcome]
    sheet: dict[str, Any] = Field(description="The sheet as it now is.")


async def sent_bytes(request: Request) -> bytes:
    """The raw body; its size is limited by middleware."""
    return await request.body()


Sent = Annotated[bytes, Depends(sent_bytes)]


@router.get("/sites/{site_id}/checks/{kind}/{period}")
def read_check(
    kind: Check,
    period: Period,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("works.read"),
) -> dict[str, Any]:
    """A manual check: items, entries, and the entries of the last check."""
    return parts.sheets.read(record, SheetKey(kind, period))


@router.post("/sites/{site_id}/checks/{kind}/{period}/changes")
def change_check(
    body: ChangesIn,
    kind: Check,
    period: Period,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("works.write"),
) -> ChangesOut:
    """Enter fields, each once: a repeated id is answered as stored. A change whose `was` differs from the
    stored value is a conflict and is not stored; to store it, send it again with the stored value as
    `was`."""
    key = SheetKey(kind, period)
    changes = [FieldChange(c.id, c.item, c.field, c.value, c.was, c.typed) for c in body.changes]
    outcomes = parts.sheets.apply(record, key, changes, actor)
    return ChangesOut(outcomes=outcomes, sheet=parts.sheets.read(record, key))


@router.put(
    "/sites/{site_id}/checks/{kind}/{period}/items/{item}/photos/{photo}",
    status_code=201,
    openapi_extra=PICTURE,
)
def add_check_photo(
    kind: Check,
    period: Period,
    item: ItemId,
    photo: PhotoId,
    record: SiteRecordHere,
    parts: AppStateHere,
    sent: Sent,
    taken: Taken = None,
    actor: Actor = need("works.write"),
) -> PhotoRow:
    """Add a photo to an item, once: JPEG, PNG or WebP of up to 8 MB. It is scaled down and stored without
    metadata."""
    return parts.sheets.add_photo(
        record, SheetKey(kind, period), item, photo, sent, taken or datetime.now(UTC), actor
    )


@router.put("/sites/{site_id}/works/{work}/photos/{photo}", status_code=201, openapi_extra=PICTURE)
def add_job_photo(
    work: RowId,
    photo: PhotoId,
    record: SiteRecordHere,
    parts: AppStateHere,
    sent: Sent,
    taken: Taken = None,
    actor: Actor = need("works.write"),
) -> PhotoRow:
    """Add a photo to a job, once; see photos of items."""
    parts.works.get(record.site.id, work)
    return parts.photos.add(
        record.site.id, photo, Subject(work=work), sent, taken or datetime.now(UTC), actor.name
    )


@router.get(
    "/sites/{site_id}/photos/{photo}",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}}}},
)
def read_photo(
    photo: PhotoId,
    record: SiteRecordHere,
    parts: AppStateHere,
    small: Annotated[bool, Query()] = False,
    actor: Actor = need("works.read"),
) -> Response:
    """A photo, up to 1600 pixels on its longer side; small: up to 320."""
    row = parts.photos.get(record.site.id, photo)
    data = parts.photos.read(row, small=small)
    return Response(
        data, media_type="image/jpeg", headers={"Content-Disposition": f'inline; filename="{photo}.jpg"'}
    )


@router.delete("/sites/{site_id}/photos/{photo}", status_code=204, response_class=Response)
def delete_photo(
    photo: PhotoId, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.write")
) -> None:
    """Remove a photo of a job, or of a check that is not signed."""
    remove_photo(parts, record.site.id, photo, actor)
