"""Checksums inside a Parquet file: one per row group, one for the footer.

They stand between the last row group and the footer, which Parquet readers skip, so other tools read the file
unchanged. Layout: one record per row group (`_GROUP`), their number, a CRC-32 (ISO 3309, as zlib) of
everything after the row groups, and `_MARK`. Parquet's own page checksums would leave page headers and the
footer unprotected.
"""

from __future__ import annotations

import struct
import zlib
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import pyarrow.parquet as pq

_MARK = b"ffcheck1"
_TAIL = struct.Struct("<II8s")  # groups, CRC-32 of the rest, mark
_GROUP = struct.Struct("<QI")  # end, CRC-32
_FOOTER = struct.Struct("<I4s")  # length of the footer, PAR1
_MAGIC = b"PAR1"


class Checksums(NamedTuple):
    """For each row group: the end of its bytes in the file, and their CRC-32."""

    ends: tuple[int, ...]
    crcs: tuple[int, ...]

    def is_whole(self, data: memoryview, group: int) -> bool:
        """Whether a row group's bytes match their checksum."""
        start = self.ends[group - 1] if group else len(_MAGIC)
        return zlib.crc32(data[start : self.ends[group]]) == self.crcs[group]


class ChecksumMismatch(ValueError):
    """The file differs from what was written; the message says where."""


def with_checksums(file: bytes) -> bytes:
    """Return a Parquet file with its checksums added."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    footer = footer_start(memoryview(file))
    meta = pq.read_metadata(pa.BufferReader(file))
    starts = [_start(meta.row_group(n)) for n in range(meta.num_row_groups)]
    edges = [len(_MAGIC), *starts[1:], footer] if starts else []  # of a month without readings: no group
    records = b"".join(_GROUP.pack(b, zlib.crc32(file[a:b])) for a, b in pairwise(edges))
    rest = zlib.crc32(file[footer:], zlib.crc32(records))
    return b"".join((file[:footer], records, _TAIL.pack(len(starts), rest, _MARK), file[footer:]))


def read_checksums(data: memoryview) -> Checksums | None:
    """Read a file's checksums and verify its footer; None for files of earlier releases, which have none.

    data : the whole file. Raises ChecksumMismatch
    """
    footer = footer_start(data)
    tail = footer - _TAIL.size
    if tail < len(_MAGIC):
        return None
    count, rest, mark = _TAIL.unpack(data[tail:footer])
    if mark != _MARK:
        return None
    first = tail - count * _GROUP.size
    if first < len(_MAGIC) or zlib.crc32(data[footer:], zlib.crc32(data[first:tail])) != rest:
        raise ChecksumMismatch("its index does not match its checksum")
    groups = list(_GROUP.iter_unpack(data[first:tail]))
    return Checksums(tuple(end for end, _ in groups), tuple(crc for _, crc in groups))


def footer_start(data: memoryview) -> int:
    """Offset of the footer of a whole Parquet file. Raises ChecksumMismatch"""
    if len(data) < 2 * len(_MAGIC) + _FOOTER.size or data[: len(_MAGIC)] != _MAGIC:
        raise ChecksumMismatch("it does not begin as a Parquet file" if len(data) else "it is empty")
    length, magic = _FOOTER.unpack(data[-_FOOTER.size :])
    start = len(data) - _FOOTER.size - length
    if magic != _MAGIC or start < len(_MAGIC):
        raise ChecksumMismatch("it does not end as a Parquet file; it was cut off")
    return start


def _start(group: pq.RowGroupMetaData) -> int:
    columns = (group.column(n) for n in range(group.num_columns))
    return min(c.dictionary_page_offset or c.data_page_offset for c in columns)
