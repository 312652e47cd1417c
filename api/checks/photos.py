"""Photos of checks and jobs: limited in size and number, re-encoded, stored as files in the data folder."""

from __future__ import annotations

import hashlib
import io
import os
import secrets
import shutil
import threading
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.state.check_tables import Photo
from fieldfare.api.state.database import Database
from fieldfare.collector.store.files import make_folder, sync_folder

if TYPE_CHECKING:
    from PIL import Image

LARGEST_BYTES = 8_000_000
"""Of one photo as it is sent; a phone's is 2 to 6 MB, one scaled down on the device some 300 kB."""
MOST_PIXELS = 60_000_000
"""Width times height that is decoded: 180 MB of memory. Phones take 12 to 50 million."""
LONG_SIDE, SMALL_SIDE = 1600, 320
"""Pixels of the longer side as kept, and as shown on sheets and papers."""
QUALITY, SMALL_QUALITY = 82, 72
MOST_OF_A_SUBJECT = 8
"""Photos of one item of a check, or of one job."""
FORMATS = ("JPEG", "PNG", "WEBP")
_DECODING = threading.BoundedSemaphore(2)
"""Pictures that are decoded at a time, so that memory stays bounded."""
STRAY_FOR = timedelta(days=1)
"""Files without a row are removed after this: their row may still be on its way."""


class UnknownPhoto(InputError):
    """The home has no photo with that id."""


@dataclass(frozen=True)
class PhotoRow:
    """A photo. sheet, item or work : its subject"""

    id: str
    site: str
    sheet: int | None
    item: str
    work: int | None
    width: int
    height: int
    size: int
    who: str
    taken: datetime
    added: datetime


@dataclass(frozen=True)
class Subject:
    """Subject of a photo: an item of a sheet, or a job."""

    sheet: int | None = None
    item: str = ""
    work: int | None = None


class Photos:
    """Photo files under `<data>/photos/<site>`, and their rows in the state database."""

    def __init__(self, database: Database, data: Path) -> None:
        self._database, self._folder = database, data / "photos"

    def add(
        self, site: str, photo: str, subject: Subject, sent: bytes, taken: datetime, who: str
    ) -> PhotoRow:
        """Store a photo; does nothing if its id exists.

        photo : 32 hexadecimal digits, made by the sender. sent : JPEG, PNG or WebP
        Raises InputError where it is no such picture, is too large, or the subject has too many.
        """
        if (stored := self._find(photo)) is not None:
            return _same(stored, site, subject)
        with _DECODING:
            whole, small, size = reencoded(sent)
        folder = self._folder / site
        make_folder(self._folder)
        make_folder(folder)
        now = datetime.now(UTC)
        row = Photo(
            id=photo,
            site=site,
            sheet=subject.sheet,
            item=subject.item,
            work=subject.work,
            width=size[0],
            height=size[1],
            size=len(whole),
            digest=_digest(whole),
            small_digest=_digest(small),
            who=who,
            taken=min(taken, now),
            added=now,
        )
        with (
            _beside(folder, f"{photo}.jpg", whole) as one,
            _beside(folder, f"{photo}-small.jpg", small) as two,
        ):
            try:
                with self._database.write() as session:
                    if (found := session.get(Photo, photo)) is not None:  # stored by another request
                        return _same(_row(found), site, subject)
                    _check_room(session, site, subject)
                    session.add(row)
                    session.flush()
                    for path in (one, two):  # after the row, so that no file is overwritten
                        path.replace(path.with_name(path.name.partition("~")[2]))
                    sync_folder(folder)
                    return _row(row)
            except IntegrityError:
                return _same(self.get(site, photo), site, subject)

    def get(self, site: str, photo: str) -> PhotoRow:
        """Raises UnknownPhoto."""
        stored = self._find(photo)
        if stored is None or stored.site != site:
            raise UnknownPhoto(f"{site} has no photo {photo[:32]!r}")
        return stored

    def of_sheet(self, sheet: int) -> list[PhotoRow]:
        """Oldest first."""
        return self._rows(Photo.sheet == sheet)

    def of_works(self, site: str) -> dict[int, list[PhotoRow]]:
        """Job -> its photos, oldest first."""
        out: dict[int, list[PhotoRow]] = {}
        for row in self._rows((Photo.site == site) & Photo.work.is_not(None)):
            out.setdefault(row.work or 0, []).append(row)
        return out

    def of_site(self, site: str) -> list[PhotoRow]:
        return self._rows(Photo.site == site)

    def path(self, row: PhotoRow, *, small: bool = False) -> Path:
        return self._folder / row.site / f"{row.id}{'-small' if small else ''}.jpg"

    def read(self, row: PhotoRow, *, small: bool = False) -> bytes:
        """The JPEG. Raises UnknownPhoto if its file is missing; `fieldfare check` reports such files."""
        try:
            return self.path(row, small=small).read_bytes()
        except OSError:
            raise UnknownPhoto(f"the file of photo {row.id} is missing; restore it from a backup") from None

    def remove(self, rows: Iterable[PhotoRow]) -> None:
        """Remove photos, rows first: a file left without a row is deleted by `sweep`."""
        rows = list(rows)
        with self._database.write() as session:
            session.execute(delete(Photo).where(Photo.id.in_([row.id for row in rows])))
        for row in rows:
            self._unlink(row.site, row.id)

    def forget(self, site: str) -> None:
        """Remove all photo files of an erased site; the rows are deleted with the site."""
        shutil.rmtree(self._folder / site, ignore_errors=True)

    def remove_before(self, moment: datetime) -> int:
        """Remove expired photos, and files without a row. Returns the number of photos removed."""
        old = self._rows(Photo.added < moment)
        self.remove(old)
        known = {row.id for row in self._rows(None)}
        for path in self._folder.glob("*/*"):
            is_old = datetime.fromtimestamp(path.stat().st_mtime, UTC) < datetime.now(UTC) - STRAY_FOR
            if is_old and path.name.removesuffix(".jpg").removesuffix("-small") not in known:
                path.unlink(missing_ok=True)
        return len(old)

    def damage(self, site: str) -> list[str]:
        """Missing or changed photo files, one line each."""
        out = []
        with self._database.read() as session:
            for row in session.scalars(select(Photo).where(Photo.site == site).order_by(Photo.added)):
                for name, digest in (
                    (f"{row.id}.jpg", row.digest),
                    (f"{row.id}-small.jpg", row.small_digest),
                ):
                    try:
                        found = _digest((self._folder / site / name).read_bytes())
                    except OSError as error:
                        out.append(f"photo {name} can't be read: {error.strerror or error}")
                        continue
                    if found != digest:
                        out.append(f"photo {name} does not match its checksum")
        return out

    def _find(self, photo: str) -> PhotoRow | None:
        with self._database.read() as session:
            row = session.get(Photo, photo)
            return _row(row) if row is not None else None

    def _rows(self, condition: object) -> list[PhotoRow]:
        chosen = select(Photo).order_by(Photo.taken, Photo.id)
        if condition is not None:
            chosen = chosen.where(condition)  # type: ignore[arg-type]
        with self._database.read() as session:
            return [_row(row) for row in session.scalars(chosen)]

    def _unlink(self, site: str, photo: str) -> None:
        for name in (f"{photo}.jpg", f"{photo}-small.jpg"):
            (self._folder / site / name).unlink(missing_ok=True)


def reencoded(sent: bytes) -> tuple[bytes, bytes, tuple[int, int]]:
    """Re-encode a picture as JPEG, full size and thumbnail, upright and without metadata. Returns both and
    the full size in pixels.

    Raises InputError where it is no JPEG, PNG or WebP picture, or too large.
    """
    from PIL import Image, ImageFile, ImageOps

    # WeasyPrint's import allows truncated images in the whole process; a truncated photo must be sent again.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    if len(sent) > LARGEST_BYTES:
        raise InputError(
            f"a photo may have {LARGEST_BYTES // 1_000_000} MB; this one has {len(sent) / 1e6:.1f}"
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore", Image.DecompressionBombWarning
            )  # size is checked below, before decoding
            picture = Image.open(io.BytesIO(sent), formats=FORMATS)
        if (pixels := picture.width * picture.height) > MOST_PIXELS:
            raise InputError(
                f"a photo may have {MOST_PIXELS // 1_000_000} million pixels; this one has {pixels / 1e6:.0f}"
            )
        picture.draft("RGB", (LONG_SIDE, LONG_SIDE))
        upright = ImageOps.exif_transpose(picture)
        plain = _on_white(upright)
    except InputError:
        raise
    except Image.DecompressionBombError:
        raise InputError(
            f"a photo may have {MOST_PIXELS // 1_000_000} million pixels; this one has far more"
        ) from None
    except Exception:  # a decoder can raise anything on damaged bytes
        raise InputError("this is no picture that can be read; send a JPEG, PNG or WebP photo") from None
    whole = _jpeg(plain, LONG_SIDE, QUALITY)
    return whole[0], _jpeg(plain, SMALL_SIDE, SMALL_QUALITY)[0], whole[1]


def _on_white(picture: Image.Image) -> Image.Image:
    """Convert to RGB; transparent pixels become white."""
    from PIL import Image

    if "A" not in picture.getbands() and "transparency" not in picture.info:
        return picture.convert("RGB")
    rgba = picture.convert("RGBA")
    ground = Image.new("RGB", rgba.size, "white")
    ground.paste(rgba, mask=rgba.getchannel("A"))
    return ground


def _jpeg(picture: Image.Image, side: int, quality: int) -> tuple[bytes, tuple[int, int]]:
    scaled = picture.copy()
    scaled.thumbnail((side, side))
    scaled.info.clear()  # else Pillow writes comments and colour profiles back
    out = io.BytesIO()
    scaled.save(out, "JPEG", quality=quality, optimize=True, progressive=True)
    return out.getvalue(), scaled.size


@contextmanager
def _beside(folder: Path, name: str, data: bytes) -> Iterator[Path]:
    """A temporary file whose name ends in ~ and `name`; removed at the end unless renamed."""
    path = folder / f".{secrets.token_hex(6)}~{name}"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        yield path
    finally:
        path.unlink(missing_ok=True)


def _check_room(session: Session, site: str, subject: Subject) -> None:
    """Raises InputError if a subject already has the maximum number of photos."""
    of = select(func.count()).select_from(Photo).where(Photo.site == site, Photo.item == subject.item)
    of = of.where(Photo.sheet == subject.sheet, Photo.work == subject.work)
    if (session.scalar(of) or 0) >= MOST_OF_A_SUBJECT:
        raise InputError(f"there are {MOST_OF_A_SUBJECT} photos already; remove one first")


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _same(stored: PhotoRow, site: str, subject: Subject) -> PhotoRow:
    if (stored.site, stored.sheet, stored.item, stored.work) != (
        site,
        subject.sheet,
        subject.item,
        subject.work,
    ):
        raise InputError("another photo has this id; make a new one")
    return stored


def _row(r: Photo) -> PhotoRow:
    return PhotoRow(r.id, r.site, r.sheet, r.item, r.work, r.width, r.height, r.size, r.who, r.taken, r.added)
