"""A CSV file as blocks of whole lines: plain or gzip, with or without byte order mark, in bounded memory."""

from __future__ import annotations

import gzip
import os
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, NamedTuple

from analysis.errors import InputError

_BLOCK = 8 << 20
_LONGEST_HEADER = 1 << 20
_NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet or an archive",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
    b"PAR1": "a Parquet file",
    b"%PDF": "a PDF",
}


class Block(NamedTuple):
    """Whole lines of a file, and the number of the first."""

    data: bytes
    line: int


class Source:
    """An open CSV file. Raises InputError where it can't be one."""

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
            self.total = os.fstat(self._raw.fileno()).st_size
            self._stream = self._opened()
            self.header, self._rest, self._line = self._find_header()
        except BaseException:
            self._raw.close()
            raise

    def close(self) -> None:
        self._raw.close()

    @property
    def done(self) -> int:
        """Bytes of the file taken so far."""
        return self._raw.tell()

    def _opened(self) -> IO[bytes] | gzip.GzipFile:
        start = self._raw.read(4)
        self._raw.seek(0)
        for magic, kind in _NOT_TEXT.items():
            if start.startswith(magic):
                raise InputError(f"{self.path}: is {kind}, not a CSV file in UTF-8; export it as that")
        if start[:2] != b"\x1f\x8b":
            return self._raw
        try:  # all of it, before anything is kept
            with gzip.open(self.path) as whole:
                while whole.read(_BLOCK):
                    pass
        except (EOFError, OSError, zlib.error):
            raise InputError(f"{self.path}: the gzip file is cut off or damaged; fetch it again") from None
        return gzip.GzipFile(fileobj=self._raw)

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
        if len(head) > _LONGEST_HEADER or b"\0" in head:
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

    def blocks(self) -> Iterator[Block]:
        """The lines after the header. Lines inside quotes stay together."""
        line, rest = self._line, self._rest
        while True:
            more = self._stream.read(_BLOCK)
            data = rest + more if rest else more
            cut = _last_line_end(data, last=not more)
            block, rest = data[:cut], data[cut:]
            if block and not block.isspace():
                yield Block(block, line)
            line += block.count(b"\n")
            if not more:
                return


def pieces(block: Block, size: int) -> list[Block]:
    """A block in parts of about `size` bytes, cut where lines end outside quotes."""
    out: list[Block] = []
    at, line = 0, block.line
    data = block.data
    quoted = b'"' in data
    end = 0
    while at < len(data):
        end = data.find(b"\n", max(end, at + size)) + 1 or len(data)
        if quoted and end < len(data) and data.count(b'"', at, end) % 2:
            continue
        out.append(Block(data[at:end], line))
        line += data.count(b"\n", at, end)
        at = end
    return out


def _last_line_end(data: bytes, last: bool) -> int:
    if last:
        return len(data)
    cut = data.rfind(b"\n") + 1
    if b'"' not in data or data.count(b'"', 0, cut) % 2 == 0:
        return cut
    line = cut
    for _ in range(100):  # a quoted field over several lines is open at the cut: go back to where it is not
        line = data.rfind(b"\n", 0, line - 1) + 1
        if line <= 0:
            break
        if data.count(b'"', 0, line) % 2 == 0:
            return line
    return cut
