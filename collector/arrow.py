"""Arrow columns to numpy and back without pandas.

pyarrow loads pandas at the first conversion of its own, which takes 0.3 s of a processor.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

_TYPES: dict[np.dtype[Any], pa.DataType] = {
    np.dtype(np.float64): pa.float64(),
    np.dtype(np.int64): pa.int64(),
    np.dtype(np.int32): pa.int32(),
}
_KINDS: dict[pa.DataType, np.dtype[Any]] = {kind: dtype for dtype, kind in _TYPES.items()}


def numbers(column: pa.ChunkedArray | pa.Array) -> NDArray[Any]:
    """A column of float64, int64 or int32 as (n,); a null of float64 is nan. Raises TypeError for others."""
    chunks = column.chunks if isinstance(column, pa.ChunkedArray) else [column]
    if column.type not in _KINDS or (column.null_count and column.type != pa.float64()):
        raise TypeError(f"{column.type} with {column.null_count} nulls has no place in an array of numbers")
    parts = [_of_chunk(chunk) for chunk in chunks if len(chunk)]
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.empty(0, _KINDS[column.type])


def _of_chunk(chunk: pa.Array) -> NDArray[Any]:
    inside = slice(chunk.offset, chunk.offset + len(chunk))
    known, data = chunk.buffers()
    values: NDArray[Any] = np.frombuffer(data, _KINDS[chunk.type])[inside]
    if not chunk.null_count:
        return values
    bits = np.unpackbits(np.frombuffer(known, np.uint8), bitorder="little")[inside]
    return np.where(bits, values, np.nan)


def present(column: pa.ChunkedArray) -> NDArray[np.bool_] | None:
    """Where a column has a value, bool (n,); None where it has one everywhere."""
    if not column.null_count:
        return None
    flags = column.is_valid().cast(pa.uint8()).cast(pa.int32())
    return numbers(flags).astype(bool)


def array(values: NDArray[Any]) -> pa.Array:
    """An array of float64, int64 or int32 (n,) as it is, or of str objects."""
    if values.dtype == object:
        return texts(values.tolist())
    data = pa.py_buffer(np.ascontiguousarray(values))
    return pa.Array.from_buffers(_TYPES[values.dtype], len(values), [None, data])


def texts(words: Iterable[str]) -> pa.StringArray:
    """Texts as a column without nulls."""
    data = [word.encode() for word in words]
    ends = np.cumsum([0, *map(len, data)], dtype=np.int64)
    if ends[-1] >= 2**31:
        raise ValueError("texts of 2 GB and more do not fit into one column")
    offsets = pa.py_buffer(ends.astype(np.int32))
    return pa.StringArray.from_buffers(len(data), offsets, pa.py_buffer(b"".join(data)))
