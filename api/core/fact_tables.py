"""Facts tables in the state database: compressed bytes per kind and month, ordered by day.

Format: four bytes of length and the CRC-32 of what follows (0 in tables of an earlier release), then one
compressed block: `_SIZES`, the columns and words as JSON padded to eight bytes, and the numbers,
little-endian, grouped by type and column. A table has up to 260 columns and
about 30 rows, so in a columnar format most of the size and the reading time would be column metadata.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from datetime import date, timedelta
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import orjson
import pyarrow as pa
from numpy.typing import NDArray

from fieldfare.analysis.errors import UnreadableFacts
from fieldfare.analysis.facts.table import Table, joined, rows_between

_HEAD = struct.Struct("<II")
_SIZES = np.dtype([("rows", "<i8"), ("columns", "<i8"), ("words", "<i8")])
"""Rows of the table, and sizes [bytes] of the two JSON parts."""
_ARROW = b"\xff\xff\xff\xff"
"""Start of an Arrow stream: the format of earlier releases."""
_WORDS = "|O"
_LARGEST = 1 << 30
"""Bytes of a table; a month has some 100 kB."""
_DAY = timedelta(days=1)
_EARLIEST, _LATEST = date(1, 1, 1), date(9999, 12, 31)


class _Layout(NamedTuple):
    """Column layout. source : the columns as JSON. columns : name and numpy dtype of each, in order.

    types : dtypes of numbers with their columns, in storage order: widest first, so that each block is
        aligned
    """

    source: bytes
    columns: list[tuple[str, str]]
    types: dict[str, list[str]]


class _StoredTable(NamedTuple):
    """A stored table. blocks : by dtype (columns, rows). words : text columns by name."""

    layout: _Layout
    blocks: dict[str, NDArray[Any]]
    words: dict[str, list[str | None]]

    def rows(self, first: int, end: int | None) -> _StoredTable:
        blocks = {kind: block[:, first:end] for kind, block in self.blocks.items()}
        return _StoredTable(
            self.layout, blocks, {name: words[first:end] for name, words in self.words.items()}
        )

    @property
    def days(self) -> NDArray[np.datetime64]:
        kind, at = next((k, names.index("day")) for k, names in self.layout.types.items() if "day" in names)
        return self.blocks[kind][at]


def replaced(payload: bytes, fresh: Table, first: date, last: date) -> bytes:
    """Replace rows first..last of a packed table; both and the result are ordered by day."""
    raw = _decompressed(payload)
    if not raw.startswith(_ARROW):
        older, newer = _part(raw), _part_of(fresh)
        if older.layout is newer.layout:
            gone = rows_between(older.days, first, last)
            return _packed([older.rows(0, gone.start), newer, older.rows(gone.stop, None)])
    table = unpacked([payload])
    return packed(
        joined([table.between(_EARLIEST, first - _DAY), fresh, table.between(last + _DAY, _LATEST)])
    )


def packed(table: Table) -> bytes:
    return _packed([_part_of(table)])


def _packed(parts: Sequence[_StoredTable]) -> bytes:
    """Pack parts of one layout into one table."""
    layout = parts[0].layout
    said = orjson.dumps({name: [w for p in parts for w in p.words[name]] for name in parts[0].words})
    blocks = [np.concatenate([p.blocks[kind] for p in parts], axis=1) for kind in layout.types]
    rows = blocks[0].shape[1]
    sizes = np.array((rows, len(layout.source), len(said)), _SIZES).tobytes()
    filling = b" " * (-(len(layout.source) + len(said)) % 8)
    raw = b"".join([sizes, layout.source, said, filling, *(block.tobytes() for block in blocks)])
    squeezed: bytes = pa.compress(raw, codec="zstd", asbytes=True)
    return _HEAD.pack(len(raw), zlib.crc32(squeezed)) + squeezed


def _part_of(table: Table) -> _StoredTable:
    layout = _layout(orjson.dumps([(name, table[name].dtype.str) for name in table.names]))
    blocks = {kind: np.stack([table[name] for name in names]) for kind, names in layout.types.items()}
    words = {name: table[name].tolist() for name, kind in layout.columns if kind == _WORDS}
    return _StoredTable(layout, blocks, words)


def unpacked(payloads: Sequence[bytes]) -> Table:
    """Unpack one or more tables and concatenate them."""
    tables: list[Table] = []
    alike: list[_StoredTable] = []
    for payload in payloads:
        raw = _decompressed(payload)
        if not raw.startswith(_ARROW):
            part = _part(raw)
            if alike and alike[0].layout is not part.layout:
                tables.append(_whole(alike))
                alike = []
            alike.append(part)
            continue
        older = pa.ipc.open_stream(raw).read_all()
        if alike:
            tables.append(_whole(alike))
            alike = []
        tables.append(
            Table({n: c.to_numpy() for n, c in zip(older.column_names, older.columns, strict=True)})
        )
    return joined([*tables, *([_whole(alike)] if alike else [])])


def _decompressed(payload: bytes) -> bytes:
    size, mark = _HEAD.unpack_from(payload) if len(payload) >= _HEAD.size else (0, 0)
    squeezed = memoryview(payload)[_HEAD.size :]
    if not _SIZES.itemsize <= size <= _LARGEST:
        raise UnreadableFacts("a kept table of facts is of a form that is no longer read")
    if mark not in (0, zlib.crc32(squeezed)):
        raise UnreadableFacts("a kept table of facts is damaged: its checksum differs")
    try:
        raw: bytes = pa.decompress(squeezed, decompressed_size=size, codec="zstd", asbytes=True)
    except (OSError, pa.ArrowException) as error:
        raise UnreadableFacts(f"a kept table of facts is damaged: {error}") from None
    return raw


def _part(raw: bytes) -> _StoredTable:
    rows, columns, words = np.frombuffer(raw, _SIZES, 1)[0].tolist()
    middle = _SIZES.itemsize + columns
    layout = _layout(raw[_SIZES.itemsize : middle])
    at = middle + words + (-(columns + words) % 8)
    blocks = {}
    for kind, names in layout.types.items():
        blocks[kind] = np.frombuffer(raw, kind, len(names) * rows, at).reshape(len(names), rows)
        at += blocks[kind].nbytes
    return _StoredTable(layout, blocks, orjson.loads(raw[middle : middle + words]))


def _whole(parts: Sequence[_StoredTable]) -> Table:
    """Concatenate parts of one layout, block by block."""
    layout = parts[0].layout
    blocks = {kind: iter(np.concatenate([p.blocks[kind] for p in parts], axis=1)) for kind in layout.types}
    return Table(
        {
            name: (
                np.array([w for p in parts for w in p.words[name]], object)
                if kind == _WORDS
                else next(blocks[kind])
            )
            for name, kind in layout.columns
        }
    )


@lru_cache(maxsize=256)
def _layout(source: bytes) -> _Layout:
    """Layout for columns given as JSON; cached, so that equal tables share one object."""
    columns = [(name, kind) for name, kind in orjson.loads(source)]
    types: dict[str, list[str]] = {}
    for name, kind in columns:
        if kind != _WORDS:
            types.setdefault(kind, []).append(name)
    widest = sorted(types, key=lambda kind: -np.dtype(kind).itemsize)
    return _Layout(source, columns, {kind: types[kind] for kind in widest})
