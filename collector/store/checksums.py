"""Checksums inside a Parquet file: one per row group, one for the footer.

They stand between the last row group and the footer, which Parquet readers skip, so other tools read the file
unchanged. Layout: one record per row group (`_GROUP`), their number, a CRC-32 (ISO 3309, as zlib) of
everything after the row groups, and `_MARK`. Parquet's own page checksums would leave page headers and the
footer unprotected.
"""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any, BinaryIO, NamedTuple

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


class ChecksumWriter(io.RawIOBase):
    """Binary file for a Parquet writer that adds the checksums to what is written.

    Call `begin` when the writer has written its mark, `end_group` after each row group, `finish` when the
    writer is closed.
    """

    def __init__(self, file: BinaryIO) -> None:
        super().__init__()
        self._file = file
        self._size = self._crc = 0
        self._records: list[bytes] = []
        self._footer: list[bytes] | None = None

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._size

    def write(self, data: Any) -> int:
        size = memoryview(data).nbytes
        if self._footer is None:
            self._file.write(data)
            self._crc = zlib.crc32(data, self._crc)
        else:
            self._footer.append(bytes(data))
        self._size += size
        return size

    def begin(self) -> None:
        """Start the first row group."""
        self._crc = 0

    def end_group(self) -> None:
        """A row group is written."""
        self._records.append(_GROUP.pack(self._size, self._crc))
        self._crc = 0

    def end_groups(self) -> None:
        """All row groups are written; what follows is the footer."""
        self._footer = []

    def finish(self) -> None:
        """Write the checksums and the footer."""
        records, footer = b"".join(self._records), b"".join(self._footer or ())
        rest = zlib.crc32(footer, zlib.crc32(records))
        self._file.write(records + _TAIL.pack(len(self._records), rest, _MARK) + footer)


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
