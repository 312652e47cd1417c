"""Read a CSV file (plain or gzip, in UTF-8 or another encoding) as blocks of UTF-8 lines, in bounded
memory."""

from __future__ import annotations

import codecs
import gzip
import os
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, NamedTuple, Protocol

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Csv
from fieldfare.collector.csv.layout import is_header
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
_HEAD = 2_000_000
"""Bytes that show what an export's columns are: two weeks of minutes, in which most states occur."""
_GZIP = b"\x1f\x8b"
_PREAMBLE_LINES = 50
"""Above the header line an export may say what it is of, and when it was made."""
_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet or an archive",
    b"PAR1": "a Parquet file",
    b"%PDF": "a PDF",
}


class Block(NamedTuple):
    """Whole lines of a file, and the number of the first one."""

    data: bytes
    line: int


class _Readable(Protocol):
    def read(self, size: int, /) -> bytes: ...


class _Recoded:
    """A stream of text in another encoding as UTF-8. What is no text in it becomes U+FFFD, which no number
    has."""

    def __init__(self, stream: _Readable, encoding: str) -> None:
        self._stream = stream
        self._decoder = codecs.getincrementaldecoder(encoding)("replace")

    def read(self, size: int, /) -> bytes:
        while True:
            more = self._stream.read(size)
            text = self._decoder.decode(more, final=not more)
            if text or not more:
                return text.encode("utf-8", "replace")


class Source:
    """An open CSV file, from its header line on. Raises InputError if the file is not CSV."""

    def __init__(self, path: Path, csv: Csv) -> None:
        self.path, self._csv = path, csv
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

    @property
    def first_row(self) -> str:
        """The line below the header."""
        return self._rest[:LONGEST_LINE].partition(b"\n")[0].decode("utf-8", "replace")

    def _opened(self) -> _Readable:
        start = self._raw.read(4)
        self._raw.seek(0)
        for magic, kind in _NOT_TEXT.items():
            if start.startswith(magic):
                raise InputError(f"{self.path}: is {kind}, not a CSV file; export it as that")
        if not start.startswith(_GZIP):
            encoding = self._encoding(start)
            self._look_through(_utf8(self._raw, encoding), is_packed=False)
            self._raw.seek(0)
            return _utf8(self._raw, encoding)
        try:
            with gzip.open(self.path) as whole:
                encoding = self._encoding(whole.read(2))
                whole.seek(0)
                self._look_through(_utf8(whole, encoding), is_packed=True)
        except (EOFError, OSError, zlib.error):
            raise InputError(f"{self.path}: the gzip file is cut off or damaged; fetch it again") from None
        return _utf8(gzip.GzipFile(fileobj=self._raw), encoding)

    def _encoding(self, start: bytes) -> str:
        if start.startswith(_UTF16_MARKS):
            return "utf-16"
        # Programs that leave the byte order out write the low byte first (common practice).
        return {"utf-16": "utf-16-le"}.get(self._csv.encoding, self._csv.encoding)

    def _look_through(self, stream: _Readable, *, is_packed: bool) -> None:
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
            if is_packed and size > _RATIO_FROM and size > HIGHEST_RATIO * self.total:
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
        """The header line, the bytes after it and the number of the line after it."""
        data = self._stream.read(_BLOCK).removeprefix(codecs.BOM_UTF8)
        if not data.strip():
            raise InputError(f"{self.path}: is empty; a header line and rows are wanted")
        at, line = self._header_place(data)
        head, _, rest = data[at:].partition(b"\n")
        if len(head) > LONGEST_LINE or b"\0" in head:
            raise InputError(f"{self.path}: is not a CSV file: its first line is not text")
        try:
            header = head.decode("utf-8").rstrip("\r")
        except UnicodeDecodeError as error:
            raise InputError(
                f"{self.path}: line {line} is not UTF-8 text (byte 0x{head[error.start]:02x} at position "
                f"{error.start + 1}); save the file as UTF-8, or set encoding in the site's [csv]"
            ) from None
        if "\r" in header:
            raise InputError(f"{self.path}: its lines end in CR alone; save it with LF or CRLF")
        return header, rest, line + 1

    def _header_place(self, data: bytes) -> tuple[int, int]:
        """Where the header line begins, and its number: the first that names the time column, else the
        first with text."""
        first = None
        at = 0
        for number in range(1, _PREAMBLE_LINES + 1):
            end = data.find(b"\n", at)
            head = data[at : len(data) if end < 0 else end]
            if head.strip():
                first = first or (at, number)
                if len(head) <= LONGEST_LINE and is_header(
                    self._csv, head.decode("utf-8", "replace").rstrip("\r")
                ):
                    return at, number
            if end < 0:
                break
            at = end + 1
        return first or _first_with_text(data)

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


def head_of(path: Path) -> tuple[str, str]:
    """The first lines of an export, gzipped or not, and its encoding. Raises InputError, which leaves the
    path out: an upload's is the service's own."""
    try:
        with path.open("rb") as plain:
            raw = plain.read(_HEAD)
        if raw.startswith(_GZIP):
            with gzip.open(path) as packed:
                raw = packed.read(_HEAD)
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise InputError("is a gzip file that is cut off or damaged; fetch it again") from None
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})") from None
    return head_text(raw)


def head_text(raw: bytes) -> tuple[str, str]:
    """An export's first bytes as text, and its encoding as the site file names it.

    What is not UTF-8 and has no null bytes is taken for windows-1252, which older programs write. Raises
    InputError for what is no text.
    """
    encoding = "utf-16" if raw.startswith(_UTF16_MARKS) else "utf-8"
    try:
        # The last character may be cut off.
        text = codecs.getincrementaldecoder(encoding)("strict").decode(raw)
    except UnicodeDecodeError:
        encoding, text = "windows-1252", raw.decode("windows-1252", "replace")
    if "\0" in text or raw.startswith(tuple(_NOT_TEXT)):
        raise InputError("is not CSV text; a table of text with a header line is wanted")
    return text.removeprefix("\ufeff"), encoding


def _utf8(stream: _Readable, encoding: str) -> _Readable:
    return stream if encoding == "utf-8" else _Recoded(stream, encoding)


def _first_with_text(data: bytes) -> tuple[int, int]:
    """Where the first line with text begins, and its number."""
    at = data.rfind(b"\n", 0, len(data) - len(data.lstrip())) + 1
    return at, data.count(b"\n", 0, at) + 1


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
