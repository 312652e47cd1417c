"""A block of CSV lines as columns: fast where every field parses, else row by row, with the number of each line."""

from __future__ import annotations

import csv
from typing import NamedTuple

import pyarrow as pa
import pyarrow.csv as pacsv

from collector.check import Refusal
from collector.csv.layout import NO_READING, Layout
from collector.csv.source import Block


class Line(NamedTuple):
    """Where a row stands in the file, and how it is written there."""

    number: int
    raw: str


class Rows(NamedTuple):
    """Columns of a block by name: typed, or text where `lines` is given.

    torn : rows that can't be split into the header's fields
    """

    table: pa.Table
    lines: list[Line] | None
    torn: list[tuple[Line, Refusal]]


def typed(block: Block, layout: Layout, types: dict[str, pa.DataType]) -> Rows | None:
    """The named columns parsed by Arrow; None where any field does not parse or any row is torn."""
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
    return Rows(table, None, [])


def careful(block: Block, layout: Layout, names: list[str]) -> Rows:
    """The named columns as text."""
    width = len(layout.names)
    places = [layout.names.index(n) for n in names]
    text = block.data.decode("utf-8", errors="replace").replace("\0", "")
    source = [line + "\n" for line in text.split("\n")]
    kept: list[list[str]] = []
    lines: list[Line] = []
    torn: list[tuple[Line, Refusal]] = []
    reader = csv.reader(source, delimiter=layout.csv.delimiter)
    before = 0
    while True:
        try:
            fields = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            torn.append(
                (_line(block, source, before, reader.line_num), Refusal("unreadable row", str(error)))
            )
            before = reader.line_num
            continue
        at, before = before, reader.line_num
        if not fields or (not fields[0].strip() and not "".join(fields).strip()):
            continue
        if len(fields) > width and not any(f.strip() for f in fields[width:]):
            fields = fields[:width]
        line = _line(block, source, at, before)
        if len(fields) != width:
            torn.append((line, _wrong_width(len(fields), width)))
            continue
        kept.append([fields[i] for i in places])
        lines.append(line)
    columns = zip(*kept, strict=True) if kept else [[] for _ in names]
    table = pa.table({n: pa.array(c, pa.string()) for n, c in zip(names, columns, strict=True)})
    return Rows(table, lines, torn)


def _line(block: Block, source: list[str], first: int, end: int) -> Line:
    return Line(block.line + first, "".join(source[first:end]).rstrip("\r\n"))


def _wrong_width(found: int, width: int) -> Refusal:
    return Refusal("wrong number of fields", f"{found} fields where the header has {width}")
