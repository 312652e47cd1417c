"""Parse CSV lines to columns: fast where every field parses, otherwise row by row with line numbers."""

from __future__ import annotations

import csv
from typing import NamedTuple

import pyarrow as pa
import pyarrow.csv as pacsv

from fieldfare.collector.arrow import texts
from fieldfare.collector.csv.layout import NO_READING, Layout
from fieldfare.collector.csv.source import Block
from fieldfare.collector.validation import Refusal


class CsvLine(NamedTuple):
    """A row's line number in the file, and its original text."""

    number: int
    raw: str


class Rows(NamedTuple):
    """Columns of a block by name: typed, or text where `lines` is given.

    torn : rows that can't be split into the header's fields
    """

    table: pa.Table
    lines: list[CsvLine] | None
    torn: list[tuple[CsvLine, Refusal]]


def typed(block: Block, layout: Layout, types: dict[str, pa.DataType]) -> Rows | None:
    """Parse the named columns with Arrow.

    Returns None if a field does not parse, a row is torn, or a quote may span rows.
    """
    if not _is_plain_text(block.data):
        return None
    try:
        table = pacsv.read_csv(
            pa.BufferReader(block.data),
            read_options=pacsv.ReadOptions(column_names=list(layout.names), block_size=1 << 20),
            parse_options=pacsv.ParseOptions(
                delimiter=layout.csv.delimiter, newlines_in_values=b'"' in block.data
            ),
            convert_options=pacsv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=list(NO_READING),
                strings_can_be_null=False,
                quoted_strings_can_be_null=True,
                decimal_point=layout.csv.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None
    if b'"' in block.data and not _has_lines(block.data, table.num_rows):
        return None
    return Rows(table, None, [])


def _is_plain_text(data: bytes) -> bool:
    """Whether the data are UTF-8 without null bytes."""
    if b"\0" in data:
        return False
    try:
        return data.isascii() or bool(data.decode())
    except UnicodeDecodeError:
        return False


def _has_lines(data: bytes, rows: int) -> bool:
    """Whether the data have this many non-empty lines."""
    if data.count(b"\n") + (not data.endswith(b"\n")) == rows:
        return True
    return sum(1 for line in data.split(b"\n") if line and line != b"\r") == rows


def careful(block: Block, layout: Layout, names: list[str]) -> Rows:
    """Parse the named columns as text, row by row."""
    width, records = len(layout.names), layout.records
    places = [layout.names.index(n) for n in names]
    source = block.data.split(b"\n")
    rows: list[list[str]] = []
    lines: list[CsvLine] = []
    torn: list[tuple[CsvLine, Refusal]] = []
    number = -1
    while (number := number + 1) < len(source):
        first = number
        if not source[first].strip():
            continue
        fields: list[str] | Refusal
        try:
            text = source[first].decode().rstrip("\r")
            if records.is_open(text):
                if (joined := records.joined(source, first)) is None:
                    raise csv.Error(
                        'a quote opens a field and is not closed; write "" for a quote inside one'
                    )
                text, number = joined
            fields = _refused(text) or records.fields(text)
        except UnicodeDecodeError as error:
            fields = _not_utf8(error)
        except csv.Error as error:
            fields = Refusal("unreadable row", str(error))
        line = CsvLine(block.line + first, _shown(source[first : number + 1]))
        if isinstance(fields, Refusal):
            torn.append((line, fields))
            continue
        if not "".join(fields).strip():
            continue
        if len(fields) > width and not any(f.strip() for f in fields[width:]):
            fields = fields[:width]
        if len(fields) != width:
            torn.append((line, _wrong_width(len(fields), width)))
            continue
        rows.append([fields[i] for i in places])
        lines.append(line)
    columns = zip(*rows, strict=True) if rows else [[] for _ in names]
    table = pa.table({n: texts(c) for n, c in zip(names, columns, strict=True)})
    return Rows(table, lines, torn)


def _shown(lines: list[bytes]) -> str:
    return b"\n".join(lines).decode("utf-8", errors="backslashreplace").rstrip("\r\n").replace("\0", "\\x00")


def _refused(text: str) -> Refusal | None:
    if "\0" in text:
        return Refusal("null byte", "the row holds a null byte; was the file cut off or written over?")
    return None


def _not_utf8(error: UnicodeDecodeError) -> Refusal:
    byte = error.object[error.start]
    return Refusal(
        "not UTF-8",
        f"byte 0x{byte:02x} is not UTF-8 text; save the file as UTF-8, or set encoding in the site's [csv]",
    )


def _wrong_width(found: int, width: int) -> Refusal:
    return Refusal("wrong number of fields", f"{found} fields where the header has {width}")
