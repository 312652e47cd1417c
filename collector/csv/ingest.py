"""Import a CSV file into the store."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.collector.csv.clock import Track
from fieldfare.collector.csv.decode import ColumnDecoder, Reasons
from fieldfare.collector.csv.layout import Layout, find_layout, of_one_point
from fieldfare.collector.csv.other_home import AnotherHomesFile, check_readings, check_serials, serials_of
from fieldfare.collector.csv.rejects import Rejects
from fieldfare.collector.csv.rows import Rows, careful, typed
from fieldfare.collector.csv.seen_times import SeenTimes
from fieldfare.collector.csv.source import Block, Source, pieces
from fieldfare.collector.csv.undo import Undo
from fieldfare.collector.csv.written_otherwise import OtherNumbers, WrittenOtherwise, grouped_number
from fieldfare.collector.store.merge import cleaned_readings
from fieldfare.collector.store.protocol import Store
from fieldfare.collector.store.sealed import by_month, ends

Progress = Callable[[int, int], None]
"""Callback with the bytes read and the size of the file."""

_SMALLEST = 20_000
"""Smallest piece size [bytes]."""
_SUMMER = datetime(2025, 7, 1)  # noqa: DTZ001
"""A day on which every zone with clock changes north of the tropics differs from its winter."""
_FLUSH = 1_000_000
"""Readings buffered before a store write: about 16 MB, and few rewrites of a month."""


@dataclass(frozen=True)
class Ingested:
    """Result of an import.

    rows : lines after the header. readings : stored, new or changed (`replaced` of them changed).
    duplicates : readings that were held already, or stand twice in the file. first, last : times of what was
        read [ms]
    rejected : rows listed in `rejects_file`. reasons : kind -> rows. form : wide or long
    """

    rows: int
    readings: int
    replaced: int
    duplicates: int
    rejected: int
    reasons: dict[str, int]
    rejects_file: Path | None
    first: int | None
    last: int | None
    form: str
    ignored_columns: tuple[str, ...] = ()
    missing_points: tuple[str, ...] = ()
    serials: dict[str, str] = field(default_factory=dict)
    """Column -> serial number, of columns that name a device and that no point reads."""
    examples: dict[str, str] = field(default_factory=dict)
    """Kind of `reasons` -> its first refusal: line, point, what is wrong."""
    rows_as_utc: int = 0
    """Rows without an offset that were read as UTC because the site file names no zone for them, though the
    site's own differs."""

    def as_dict(self) -> dict[str, Any]:
        """The contract's JSON."""
        return {
            "rows": self.rows,
            "readings": self.readings,
            "replaced": self.replaced,
            "duplicates": self.duplicates,
            "rejected": {
                "count": self.rejected,
                "reasons": self.reasons,
                "examples": self.examples,
                "file": str(self.rejects_file) if self.rejects_file else None,
            },
            "from": _iso(self.first),
            "to": _iso(self.last),
            "form": self.form,
            "ignored_columns": list(self.ignored_columns),
            "missing_points": list(self.missing_points),
            "rows_as_utc": self.rows_as_utc,
        }


def ingest_csv(
    site: Site,
    path: Path,
    store: Store,
    *,
    rejects_dir: Path,
    now: datetime,
    progress: Progress | None = None,
    point: str | None = None,
    undo: Undo | None = None,
    known_serials: Mapping[str, Collection[str]] | None = None,
) -> Ingested:
    """Import a CSV export into the store.

    path : Path, wide or long, plain or gzip. rejects_dir : Path, where the refused rows are listed
    now : datetime with zone, to detect times in the future. progress : called after each block
    point : id of the only point that the file has readings of, whatever its column is called
    undo : takes note of what is changed. known_serials : column -> serial numbers in earlier files of the
        site; None: a file that looks like another home's is taken too
    Returns Ingested. Raises InputError if the file as a whole can't be read, and OtherHome if it looks like
    another home's; nothing is stored then.
    """
    path = Path(path)
    source = Source(path, site.csv)
    rejects = Rejects(Path(rejects_dir), site.id, path, now.astimezone(UTC))
    try:
        if point is not None:
            site = of_one_point(site, point, path, source.header)
        layout = find_layout(site, path, source.header, source.first_row)
        work = _Work(
            site,
            path,
            store,
            layout,
            rejects,
            ColumnDecoder(site, layout, int(now.timestamp() * 1000)),
            undo,
            known_serials,
        )
        for block in source.blocks(layout.records):
            work.take(block)
            if progress:
                progress(source.done, source.total)
        return work.finish()
    except (AnotherHomesFile, WrittenOtherwise):
        rejects.discard()
        raise
    finally:
        rejects.close()
        source.close()


@dataclass
class _Work:
    """One import in progress."""

    site: Site
    path: Path
    store: Store
    layout: Layout
    rejects: Rejects
    decoder: ColumnDecoder
    undo: Undo | None = None
    known_serials: Mapping[str, Collection[str]] | None = None
    serials: dict[str, str] = field(default_factory=dict)
    rows: int = 0
    local_rows: int = 0
    stored: int = 0
    replaced: int = 0
    duplicates: int = 0
    first: int | None = None
    last: int | None = None
    _types: dict[str, pa.DataType] | None = None
    _tracks: dict[str, Track] = field(default_factory=dict)
    _waiting: dict[str, list[Samples]] = field(default_factory=dict)
    _gathered: int = 0
    _seen: SeenTimes = field(default_factory=SeenTimes)
    _is_compared: bool = False
    _is_flushed: bool = False
    _other_numbers: OtherNumbers = field(default_factory=OtherNumbers)

    def take(self, block: Block) -> None:
        """Decode a block: collect good readings, list refused rows."""
        if self._types is None:
            self._types = self.decoder.types(block)
            self.serials = serials_of(block, self.layout)
            if self.known_serials is not None:
                check_serials(self.path, self.serials, self.known_serials)
        try:
            self._read(block)
            if not self._is_flushed:
                self._other_numbers.check(self.rows)
        except InputError as error:
            raise type(error)(f"{self.path}: {error}") from None
        if self._gathered >= _FLUSH:
            self._flush(more=True)

    def _read(self, block: Block) -> None:
        """Parse a block at once; where anything is refused, parse smaller pieces, at last row by row."""
        types = self._types or {}
        rows = typed(block, self.layout, types)
        found = self.decoder.decode(rows, self._tracks, first=not self.rows) if rows else None
        if rows is None or found is None or found.refused:
            parts = (
                pieces(block, len(block.data) // 8, self.layout.records)
                if len(block.data) > _SMALLEST
                else []
            )
            if len(parts) > 1:
                for piece in parts:
                    self._read(piece)
                return
            rows = careful(block, self.layout, list(types))
            found = self.decoder.decode(rows, self._tracks, first=not self.rows)
        self._tracks = found.tracks
        self.rows += rows.table.num_rows + len(rows.torn)
        self.local_rows += found.local_rows
        self._list(rows, found.refused)
        for point, samples in found.readings:
            self._waiting.setdefault(point, []).append(samples)
            self._gathered += len(samples.time)

    def finish(self) -> Ingested:
        """Store what is pending and summarise."""
        if not self.rows:
            raise InputError(f"{self.path}: has a header but no rows")
        if self.rejects.reasons["unknown point"] == self.rows:
            self.rejects.discard()
            raise InputError(
                f"{self.path}: names no point of {self.site.id}; it looks like the file of another site: "
                f"wanted are {', '.join(p.id for p in self.site.point)}"
            )
        if self.rejects.reasons["before 1990"] == self.rows and self.layout.csv.time_format == "unix_ms":
            self.rejects.discard()
            raise InputError(
                f"{self.path}: read as milliseconds since 1970, all its times are before 1990; "
                'set time_format = "unix" in the site\'s [csv] if they are seconds'
            )
        self._flush(more=False)
        return Ingested(
            rows=self.rows,
            readings=self.stored + self.replaced,
            replaced=self.replaced,
            duplicates=self.duplicates,
            rejected=self.rejects.count,
            reasons=dict(self.rejects.reasons),
            rejects_file=self.rejects.path,
            first=self.first,
            last=self.last,
            form="long" if self.layout.is_long else "wide",
            ignored_columns=self.layout.ignored,
            missing_points=self.layout.missing,
            serials=self.serials,
            examples=dict(self.rejects.examples),
            rows_as_utc=self.local_rows if _assumes_utc(self.site) else 0,
        )

    def _list(self, rows: Rows, refused: Reasons) -> None:
        listed = [(line, [("", refusal)]) for line, refusal in rows.torn]
        if rows.lines:
            listed += [(rows.lines[row], why) for row, why in refused.items()]
        for line, why in sorted(listed, key=lambda item: item[0].number):
            self._other_numbers.add(line.number, why)
            self.rejects.add(line.number, why, line.raw)

    def _flush(self, more: bool) -> None:
        """Write pending readings to the store. The first value of a repeated time in the file wins."""
        readings: Readings = {}
        for point in list(self._waiting):
            samples = _joined(self._waiting.pop(point))
            fresh = self._seen.unseen(point, samples)
            self.duplicates += len(samples.time) - len(fresh.time)
            first, last = int(samples.time.min()), int(samples.time.max())
            self.first = first if self.first is None else min(first, self.first)
            self.last = last if self.last is None else max(last, self.last)
            if len(fresh.time):
                readings[point] = fresh
                if more:
                    self._seen.add(point, fresh.time)
        self._gathered = 0
        if not self._is_flushed:
            self._check_groups(readings)
            self._is_flushed = True
        self._compare(readings)
        stored, replaced, duplicates = self.store.append(self.site.id, readings)
        self.stored, self.replaced = self.stored + stored, self.replaced + replaced
        self.duplicates += duplicates

    def _check_groups(self, readings: Readings) -> None:
        """Raise WrittenOtherwise where a point's thousands were read as decimals."""
        for point in self.site.point:
            samples = readings.get(point.id)
            if samples is None or point.form == "state" or self.layout.is_export:
                continue
            if (found := grouped_number(samples.value)) is not None:
                decimal = self.layout.csv.decimal
                shown = f"{found:.3f}".replace(".", decimal)
                other = "," if decimal == "." else "."
                raise WrittenOtherwise(
                    f"{self.path}: {point.id}: {shown} stands beside whole numbers up to 999: its "
                    f"{decimal!r} seems to group thousands; set thousands = {decimal!r} and "
                    f"decimal = {other!r} in the site's [csv]; nothing was stored"
                )

    def _compare(self, readings: Readings) -> None:
        """Record upcoming changes for undo. The first readings also show whether the file is this home's."""
        if not readings or (self.undo is None and self.known_serials is None):
            return
        new, _ = cleaned_readings(readings)
        if not new:
            return
        if self.known_serials is not None and not self._is_compared:
            check_readings(self.site, self.path, new, self.store)
            self._is_compared = True
        if self.undo is not None:
            for part in by_month(new).values():  # the stored readings of all months would fill the memory
                first, last = ends(part)
                self.undo.note(part, self.store.read(self.site.id, part, first, last + 1))


def _joined(parts: list[Samples]) -> Samples:
    return Samples(np.concatenate([p.time for p in parts]), np.concatenate([p.value for p in parts]))


def _assumes_utc(site: Site) -> bool:
    """Whether times without an offset count as UTC only because nobody said their zone."""
    return not site.csv.says_zone and site.zone.utcoffset(_SUMMER) != timedelta(0)


def _iso(ms: int | None) -> str | None:
    if ms is None:
        return None
    return (
        datetime.fromtimestamp(ms / 1000, UTC)
        .isoformat(timespec="milliseconds" if ms % 1000 else "seconds")
        .replace("+00:00", "Z")
    )
