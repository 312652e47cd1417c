"""Facts tables as the state database holds them: compressed bytes for each kind and month, in order of days.

Eight bytes of length, and then, compressed as a whole: eight bytes of the head's length, the head as JSON (`_Head`), padded
to eight bytes, and the numbers: the columns of each type one after the other, little-endian. Words stand in the head. A
table has up to 260 columns and some 30 rows: in a format made of columns, most of it and of its reading would be columns.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, TypedDict

import numpy as np
import orjson
import pyarrow as pa

from analysis.facts.table import Table, joined

_ARROW = b"\xff\xff\xff\xff"
"""How a stream of Arrow's begins: tables of earlier releases, a column each."""
_WORDS = "|O"
_DAY = timedelta(days=1)
_EARLIEST, _LATEST = date(1, 1, 1), date(9999, 12, 31)


class _Head(TypedDict):
    """rows : of the table. columns : name and numpy's type of each, in their order. words : columns of words by name."""

    rows: int
    columns: list[tuple[str, str]]
    words: dict[str, list[str | None]]


def replaced(older: Table, fresh: Table, first: date, last: date) -> Table:
    """A table with its rows of first..last replaced; both are in order of days, and so is what is returned."""
    return joined([older.between(_EARLIEST, first - _DAY), fresh, older.between(last + _DAY, _LATEST)])


def packed(table: Table) -> bytes:
    columns = [(name, table[name].dtype.str) for name in table.names]
    of_type: dict[str, list[bytes]] = {kind: [] for kind in _types(columns)}
    head: _Head = {"rows": len(table), "columns": columns, "words": {}}
    for name, kind in columns:
        if kind == _WORDS:
            head["words"][name] = table[name].tolist()
        else:
            of_type[kind].append(table[name].tobytes())
    told = orjson.dumps(head)
    told += b" " * (-len(told) % 8)
    raw = b"".join(
        [len(told).to_bytes(8, "little"), told, *(part for kind in of_type.values() for part in kind)]
    )
    return len(raw).to_bytes(8, "little") + pa.compress(raw, codec="zstd", asbytes=True)


def unpacked(payload: bytes) -> Table:
    size = int.from_bytes(payload[:8], "little")
    raw = pa.decompress(memoryview(payload)[8:], decompressed_size=size, codec="zstd", asbytes=True)
    if raw.startswith(_ARROW):
        whole = pa.ipc.open_stream(raw).read_all()
        return Table({n: c.to_numpy() for n, c in zip(whole.column_names, whole.columns, strict=True)})
    at = 8 + int.from_bytes(raw[:8], "little")
    head: _Head = orjson.loads(raw[8:at])
    counted = _types(head["columns"])
    of_type: dict[str, Any] = {}
    for kind, count in counted.items():
        values = np.frombuffer(raw, kind, count * head["rows"], at)
        at += values.nbytes
        of_type[kind] = iter(values.reshape(count, head["rows"]))
    return Table({
        name: np.array(head["words"][name], object) if kind == _WORDS else next(of_type[kind])
        for name, kind in head["columns"]
    })  # fmt: skip


def _types(columns: list[tuple[str, str]]) -> dict[str, int]:
    """How many columns there are of each type of number, in the order in which they are kept: the widest first, so that each
    begins where its type may, and those as wide as they come in the table."""
    kinds = [kind for _, kind in columns if kind != _WORDS]
    return {kind: kinds.count(kind) for kind in sorted(dict.fromkeys(kinds), key=lambda k: -np.dtype(k).itemsize)}
