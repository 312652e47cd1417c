"""Facts table in memory: plain arrays by name, fast for many column reads."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any, Literal, SupportsIndex

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.columns import absent_value
from fieldfare.analysis.statistics.quantiles import median

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]


class _Chosen(Mapping[str, NDArray[Any]]):
    """Lazy row selection: a column is indexed on first access."""

    __slots__ = ("_rows", "_taken", "_whole")

    def __init__(self, whole: Mapping[str, NDArray[Any]], rows: NDArray[Any] | slice) -> None:
        self._whole, self._rows = whole, rows
        self._taken: dict[str, NDArray[Any]] = {}

    def __getitem__(self, name: str) -> NDArray[Any]:
        taken = self._taken.get(name)
        if taken is None:
            taken = self._taken[name] = self._whole[name][self._rows]
        return taken

    def __contains__(self, name: object) -> bool:
        return name in self._whole

    def __iter__(self) -> Iterator[str]:
        return iter(self._whole)

    def __len__(self) -> int:
        return len(self._whole)


class Table:
    """Read-only columns of equal length (n,) by name.

    Numbers are float64 with nan for unknown, or integers; times datetime64; words objects. A column of the
    days table that the site doesn't carry reads as its `absent` value (see `columns/`).
    """

    __slots__ = ("_columns", "_length")

    def __init__(self, columns: Mapping[str, Any]) -> None:
        """columns : arrays (n,) by name, or convertible; a scalar applies to every row."""
        arrays = {name: np.asarray(values) for name, values in columns.items()}
        self._length = max((len(a) for a in arrays.values() if a.ndim), default=0)
        self._columns: Mapping[str, NDArray[Any]] = {
            name: a if a.ndim else np.broadcast_to(a, self._length) for name, a in arrays.items()
        }
        if odd := [name for name, a in self._columns.items() if len(a) != self._length]:
            raise ValueError(f"column {odd[0]!r} has {len(self._columns[odd[0]])} rows, not {self._length}")

    @classmethod
    def _of(cls, columns: Mapping[str, NDArray[Any]], length: int) -> Table:
        made = cls.__new__(cls)
        made._columns, made._length = columns, length
        return made

    def __len__(self) -> int:
        return self._length

    def __contains__(self, name: object) -> bool:
        return name in self._columns

    def __getitem__(self, name: str) -> NDArray[Any]:
        """A column unchanged. Raises KeyError if there is none with that name."""
        found = self._columns.get(name)
        return self._absent(name) if found is None else found

    def _absent(self, name: str) -> NDArray[Any]:
        """A column that the table doesn't carry. Raises KeyError for one that nothing stands for."""
        value = absent_value(name)
        if value is None:
            raise KeyError(name)
        return np.full(self._length, value)

    @property
    def names(self) -> list[str]:
        return list(self._columns)

    def floats(self, name: str) -> Floats:
        """A column as float64 (n,), all nan where it is absent."""
        values = self._columns.get(name)
        if values is None:
            absent = absent_value(name)
            return np.full(self._length, np.nan if absent is None else absent)
        return values if values.dtype == np.float64 else values.astype(np.float64)

    def total(self, name: str) -> float:
        """Sum of the known values of a column, 0 if none. Raises KeyError without the column."""
        values = self[name]
        return float(np.nansum(values) if values.dtype.kind == "f" else values.sum())

    def mean(self, name: str) -> float:
        """Mean of the known values of a column, nan if none. Raises KeyError without the column."""
        values = known(self[name])
        return float(values.mean()) if len(values) else float("nan")

    def median(self, name: str) -> float:
        """Median of the known values of a column, nan if none. Raises KeyError without the column."""
        values = known(self[name])
        return median(values) if len(values) else float("nan")

    def knows(self, name: str) -> bool:
        """Whether a column has any known value; False for a name that nothing stands for."""
        values = self._columns.get(name)
        if values is None:
            return self._length > 0 and absent_value(name) == 0.0
        return len(known(values)) > 0

    def where(self, rows: NDArray[Any] | slice) -> Table:
        """Selected rows: by mask, indices, or a slice (a view)."""
        chosen = np.flatnonzero(rows) if isinstance(rows, np.ndarray) and rows.dtype == np.bool_ else rows
        length = len(range(*chosen.indices(self._length))) if isinstance(chosen, slice) else len(chosen)
        return Table._of(_Chosen(self._columns, chosen), length)

    def between(self, first: date, last: date) -> Table:
        """Rows of the local days first..last, inclusive, of a table ordered by day: a view."""
        rows = rows_between(self._columns["day"], first, last)
        return self if rows.stop - rows.start == self._length else self.where(rows)

    def with_columns(self, **columns: Any) -> Table:
        """The table with columns added or replaced; a scalar applies to every row. Raises ValueError."""
        made = dict(self._columns)
        for name, values in columns.items():
            array = np.asarray(values)
            made[name] = array if array.ndim else np.broadcast_to(array, self._length)
            if len(made[name]) != self._length:
                raise ValueError(f"column {name!r} has {len(array)} rows, not {self._length}")
        return Table._of(made, self._length)

    def day(self, row: SupportsIndex) -> date:
        """Local date of a row."""
        day: date = self._columns["day"][row].astype("datetime64[D]").item()
        return day

    def frame(self) -> pd.DataFrame:
        """Return the table as a pandas DataFrame."""
        import pandas as pd

        return pd.DataFrame(dict(self._columns))


def rows_between(day: NDArray[Any], first: date, last: date) -> slice:
    """Rows of the local days first..last, inclusive. day : datetime64 (n,), ascending"""
    a = int(np.searchsorted(day, np.datetime64(first, "us"), side="left"))
    return slice(a, int(np.searchsorted(day, np.datetime64(last, "us"), side="right")))


def joined(tables: Iterable[Table]) -> Table:
    """Concatenate one or more tables; a column missing from one of them is unknown or absent there."""
    given = list(tables)
    filled = [t for t in given if len(t)] or given[:1]
    if len(filled) == 1:
        return filled[0]
    names = dict.fromkeys(name for t in filled for name in t.names)
    columns = {
        name: np.concatenate([t[name] if name in t else t.floats(name) for t in filled]) for name in names
    }
    return Table._of(columns, sum(len(t) for t in filled))


def known(values: NDArray[Any]) -> NDArray[Any]:
    """Values without nan."""
    return values[~np.isnan(values)] if values.dtype.kind == "f" else values


def group_by_day(
    day: NDArray[Any],
    of_event: NDArray[Any],
    values: NDArray[Any],
    take: Literal["sum", "greatest", "median"],
) -> Floats:
    """Aggregate each day's events: float64 (n,), nan for a day without a known value.

    day : datetime64 (n,), ascending. of_event : datetime64 (k,), the day of each event, ascending. values :
        (k,), nan for unknown
    """
    out = np.full(len(day), np.nan)
    if not len(day):
        return out
    row = np.searchsorted(day, of_event)
    sure = ~np.isnan(values) & (day[np.minimum(row, len(day) - 1)] == of_event)
    row, mine = row[sure], values[sure].astype(np.float64)
    if not len(row):
        return out
    start = np.flatnonzero(np.diff(row, prepend=-1))
    if take == "median":
        ordered = mine[np.lexsort((mine, row))]
        count = np.diff(start, append=len(row))
        made = (ordered[start + (count - 1) // 2] + ordered[start + count // 2]) / 2.0
    else:
        made = (np.add if take == "sum" else np.maximum).reduceat(mine, start)
    out[row[start]] = made
    return out


def fill_nan(values: Floats, otherwise: Floats | float) -> Floats:
    """Values with NaN replaced by `otherwise`; three times as fast as nan_to_num."""
    return np.where(np.isnan(values), otherwise, values)


def day_of_year(day: NDArray[Any]) -> Floats:
    """Day of the year of local dates, datetime64 (n,), from 1."""
    date = day.astype("datetime64[D]")
    return np.asarray((date - date.astype("datetime64[Y]").astype(date.dtype)).astype(np.float64) + 1.0)
