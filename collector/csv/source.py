"""Read a CSV file (plain or gzip, with or without BOM) as blocks of lines, in bounded memory."""

from __future__ import annotations

import gzip
import os
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, NamedTuple

from fieldfare.analysis.errors import InputError
from fieldfare.collector.csv.records import Records

LARGEST = 20 * 10**9
"""Bytes of a file, unpacked: some centuries of minutes."""
HIGHEST_RATIO = 250
"""Exports pack to a tenth, those of one constant to a sixtieth. Only asked of files that unpack to
_RATIO_FROM bytes."""
LONGEST_LINE = 1_000_000
"""Bytes; a line of a thousand columns has some 10,000."""
_RATIO_FROM = 50_000_000
_BLOCK = 4 << 20
_SCAN = 1 << 20
_NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet or an archive",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
    b"PAR1": "a Parquet file",
    b"%PDF": "a PDF",
}


class Block(NamedTuple):
    """Whole lines of a file, and the number of the first one."""

    data: bytes
    line: int


class Source:
    """An open CSV file. Raises InputError if the file is not CSV."""

    def __init__(self, path: Path) -> None:
        self.path = path
        if path.is_dir():
            raise InputError(f"{path}: is a folder; name the CSV file in it")
        try:
            self._raw: IO[bytes] = path.open("rb")
        except FileNotFoundError:
            raise InputError(f"{path}: there is no such file") from None
        except OSError as error:
            raise InputError(f"{path}: can't be read ({error.strerror})") from None
        try:
            self.total: int = os.fstat(self._raw.fileno()).st_size
            self._stream = self._opened()
            self.header, self._rest, self._line = self._find_header()
        except BaseException:
            self._raw.close()
            raise

    def close(self) -> None:
        self._raw.close()

    @property
    def done(self) -> int:
        """Bytes of the file read so far."""
        return self._raw.tell()

    def _opened(self) -> IO[bytes] | gzip.GzipFile:
        start = self._raw.read(4)
        self._raw.seek(0)
        for magic, kind in _NOT_TEXT.items():
            if start.startswith(magic):
                raise InputError(f"{self.path}: is {kind}, not a CSV file in UTF-8; export it as that")
        if start[:2] != b"\x1f\x8b":
            self._look_through(self._raw)
            self._raw.seek(0)
            return self._raw
        try:
            with gzip.open(self.path) as whole:
                self._look_through(whole)
        except (EOFError, OSError, zlib.error):
            raise InputError(f"{self.path}: the gzip file is cut off or damaged; fetch it again") from None
        return gzip.GzipFile(fileobj=self._raw)

    def _look_through(self, stream: IO[bytes] | gzip.GzipFile) -> None:
        """Check the whole file before anything is stored.

        Raises InputError for content that would need unbounded memory or time.
        """
        size, tail = 0, b""
        while more := stream.read(_SCAN):
            size += len(more)
            if size > LARGEST:
                raise InputError(
                    f"{self.path}: holds more than {LARGEST // 10**9} GB; divide it into several files"
                )
            if stream is not self._raw and size > _RATIO_FROM and size > HIGHEST_RATIO * self.total:
                raise InputError(
                    f"{self.path}: unpacks to more than {HIGHEST_RATIO} times its size, which no export does;"
                    " unpack it and look at what it holds"
                )
            data = tail + more
            at = 0
            while len(data) - at > LONGEST_LINE:
                end = data.rfind(b"\n", at, at + LONGEST_LINE)
                if end < 0:
                    raise InputError(
                        f"{self.path}: has a line of more than {LONGEST_LINE:,} bytes; a CSV file with a line"
                        " for each time is wanted"
                    )
                at = end + 1
            tail = data[data.rfind(b"\n", at) + 1 :]

    def _find_header(self) -> tuple[str, bytes, int]:
        data, line = self._stream.read(_BLOCK), 1
        data = data.removeprefix(b"\xef\xbb\xbf")
        while data:
            head, _, rest = data.partition(b"\n")
            if head.strip():
                break
            data, line = rest, line + 1
        if not data.strip():
            raise InputError(f"{self.path}: is empty; a header line and rows are wanted")
        if len(head) > LONGEST_LINE or b"\0" in head:
            raise InputError(f"{self.path}: is not a CSV file: its first line is not text")
        try:
            header = head.decode("utf-8").rstrip("\r")
        except UnicodeDecodeError as error:
            raise InputError(
                f"{self.path}: line {line} is not UTF-8 text (byte 0x{head[error.start]:02x} at position "
                f"{error.start + 1}); save the file as UTF-8"
            ) from None
        if "\r" in header:
            raise InputError(f"{self.path}: its lines end in CR alone; save it with LF or CRLF")
        return header, rest, line + 1

    def blocks(self, records: Records) -> Iterator[Block]:
        """Yield the lines after the header. Rows over several lines stay together."""
        line, rest = self._line, self._rest
        while True:
            more = self._stream.read(_BLOCK)
            data = rest + more if rest else more
            cut = records.last_end(data) if more else len(data)
            block, rest = data[:cut], data[cut:]
            if block and not block.isspace():
                yield Block(block, line)
            line += block.count(b"\n")
            if not more:
                return


def pieces(block: Block, size: int, records: Records) -> list[Block]:
    """Split a block into pieces of about `size` bytes at row ends."""
    out: list[Block] = []
    at, line = 0, block.line
    data = block.data
    while at < len(data):
        end = records.next_end(data, at, at + size)
        out.append(Block(data[at:end], line))
        line += data.count(b"\n", at, end)
        at = end
    return out
