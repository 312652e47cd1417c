"""Read the index of a sealed month from the file footer without a Parquet library."""

from __future__ import annotations

import errno
import json
import mmap
import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from fieldfare.analysis.errors import FieldfareError
from fieldfare.collector.error_text import first_line
from fieldfare.collector.store.checksums import ChecksumMismatch, footer_start, read_checksums

INDEX_KEY = b"fieldfare.index"
_INDEXES = 8192
"""Cached indexes, of about 3 kB each."""
# Key and value of the file's metadata are two strings of a Thrift struct (compact protocol): a byte for field
# and type, the length, the bytes.
_TEXT_FIELD = b"\x18"
_BEFORE_INDEX = _TEXT_FIELD + bytes([len(INDEX_KEY)]) + INDEX_KEY + _TEXT_FIELD


class RowGroup(NamedTuple):
    """Number of a row group in its file, its readings, their first and last time [ms]."""

    number: int
    rows: int
    first: int
    last: int


class PointRows(NamedTuple):
    """One point in a sealed month: its first row group, readings, first and last time [ms], form.

    parts : all its row groups if there are several, one after the other in time
    """

    number: int
    rows: int
    first: int
    last: int
    is_text: bool
    parts: tuple[RowGroup, ...] = ()

    @property
    def groups(self) -> tuple[RowGroup, ...]:
        """All row groups of the point."""
        return self.parts or (RowGroup(self.number, self.rows, self.first, self.last),)


Index = dict[str, PointRows]
Signature = tuple[int, int, int]
_UNREADABLE = (KeyError, ValueError, TypeError, OverflowError, MemoryError)
"""What reading a damaged file can raise, besides an OSError without a number."""


class DamagedFile(FieldfareError):
    """A sealed month that is wholly unreadable."""

    def __init__(self, path: Path, what: str) -> None:
        self.path: Path = path
        self.what: str = what
        super().__init__(f"{path}: {what}")

    def __reduce__(self) -> tuple[type[DamagedFile], tuple[Path, str]]:
        return DamagedFile, (self.path, self.what)


def signature_of(path: Path) -> Signature:
    stat = path.stat()
    return stat.st_mtime_ns, stat.st_size, stat.st_ino


@lru_cache(maxsize=_INDEXES)
def index_of(path: Path, signature: Signature) -> Index:
    """Index of the file with this signature (a rewritten month is another file). Raises DamagedFile."""
    with as_damage(path), _mapped(path) as data:
        sums = read_checksums(data)
        index = None if sums is None else _index_in(data, len(sums.ends))
    if index is not None:
        return index
    from fieldfare.collector.store.sealed_file import (
        read_index,  # a file of an earlier release, without checksums
    )

    return read_index(path)


@contextmanager
def _mapped(path: Path) -> Iterator[memoryview]:
    """Memory-map a file."""
    with path.open("rb") as file:
        if not os.fstat(file.fileno()).st_size:  # can't be mapped
            yield memoryview(b"")
            return
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as mapped, memoryview(mapped) as data:
            yield data


def _index_in(data: memoryview, groups: int) -> Index | None:
    """Index in the footer of a file with a valid checksum; None where it is not found."""
    footer = bytes(data[footer_start(data) :])
    at = footer.rfind(_BEFORE_INDEX)
    if at < 0:
        return None
    length, start = _varint(footer, at + len(_BEFORE_INDEX))
    index = parsed_index(footer[start : start + length])
    return index if group_count(index) == groups else None


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """Decode an unsigned LEB128 number; return it and the next offset."""
    number = shift = 0
    while data[at] & 0x80:
        number |= (data[at] & 0x7F) << shift
        at, shift = at + 1, shift + 7
    return number | data[at] << shift, at + 1


def parsed_index(text: bytes) -> Index:
    """Parse the index from its JSON text: an entry for each row group, those of one point in sequence."""
    index: Index = {}
    for number, (point, rows, first, last, is_text) in enumerate(json.loads(text)):
        before = index.get(point)
        if before is None:
            index[point] = PointRows(number, rows, first, last, is_text)
            continue
        if before.number + len(before.groups) != number or first <= before.last:
            raise ValueError(f"the row groups of {point} are not in sequence")
        parts = (*before.groups, RowGroup(number, rows, first, last))
        index[point] = PointRows(before.number, before.rows + rows, before.first, last, before.is_text, parts)
    return index


def group_count(index: Index) -> int:
    """Number of row groups."""
    return sum(len(rows.groups) for rows in index.values())


@contextmanager
def as_damage(path: Path, *more: type[Exception]) -> Iterator[None]:
    """Context manager: convert errors of a damaged file or a failing disk into DamagedFile.

    A missing file is not damage. more : further exceptions that the file's reader raises
    """
    unreadable: tuple[type[Exception], ...] = (*_UNREADABLE, *more)
    try:
        yield
    except FileNotFoundError:
        raise
    except ChecksumMismatch as error:
        raise DamagedFile(path, f"damaged: {error}; its readings are left out") from None
    except unreadable as error:
        raise DamagedFile(path, f"damaged: {first_line(error)}; its readings are left out") from None
    except OSError as error:
        if error.errno not in (None, errno.EIO):
            raise
        raise DamagedFile(path, f"can't be read: {first_line(error)}; its readings are left out") from None
