"""Convert the columns of a CSV block to readings by point, with a reason for each refused row."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import Samples
from fieldfare.collector.arrow import array, numbers
from fieldfare.collector.csv.clock import Clock, Track
from fieldfare.collector.csv.layout import Layout
from fieldfare.collector.csv.rows import Rows, careful
from fieldfare.collector.csv.source import Block
from fieldfare.collector.csv.time_forms import time_format_of
from fieldfare.collector.csv.times import TimeColumn, Times
from fieldfare.collector.csv.values import Values, column_type, has_units, read_values
from fieldfare.collector.csv.written_otherwise import check_days
from fieldfare.collector.validation import (
    Refusal,
    RefusedValue,
    time_trouble,
    times_in_trouble,
    unknown_point,
)

Index = NDArray[np.int64]
_LOOKED_AT = 200
"""Times that show how a file writes them."""

Mask = NDArray[np.bool_]
Reasons = dict[int, list[tuple[str, Refusal]]]
"""Row of the block -> (point, or "" for the whole row, why)."""


class DecodedBlock(NamedTuple):
    """Result of one block: readings by point in file order, refusals, clock tracks, rows without offset."""

    readings: list[tuple[str, Samples]]
    refused: Reasons
    tracks: dict[str, Track]
    local_rows: int


class ColumnDecoder:
    """Decodes the blocks of one file. Stateless between calls, so a block may be decoded again."""

    def __init__(self, site: Site, layout: Layout, now: int) -> None:
        self._site, self._layout, self._now = site, layout, now
        self._times = TimeColumn(layout.csv)
        self._clock = Clock(layout.csv.timezone)

    def types(self, block: Block) -> dict[str, pa.DataType]:
        """Return the columns to read and the type to parse each as, judged by the first rows."""
        layout = self._layout
        end = block.data.find(b"\n", 4096) + 1
        head = block._replace(data=block.data[:end] if end else block.data)
        start = careful(head, layout, [layout.time])
        fields = [f for f in start.table.column(0).to_pylist() if f.strip()]
        types = {layout.time: self._times.arrow_type(fields[0] if fields else "")}
        if layout.date is not None:
            types |= {layout.time: pa.string(), layout.date: pa.string()}

        def says_units(name: str) -> bool:
            return has_units(careful(head, layout, [name]).table.column(0).to_pylist())

        for name, points in layout.points.items():
            kinds = {column_type(p, layout.csv) for p in points}
            types[name] = kinds.pop() if len(kinds) == 1 and not says_units(name) else pa.string()
        if layout.point and layout.value:
            types[layout.point] = pa.string()
            numeric = layout.text is None and all(p.form != "state" for p in layout.by_name.values())
            is_plain = numeric and not layout.csv.thousands and not says_units(layout.value)
            types[layout.value] = pa.float64() if is_plain else pa.string()
        types.update({name: pa.string() for name in (layout.unit, layout.text) if name})
        return types

    def decode(self, rows: Rows, tracks: dict[str, Track], *, first: bool) -> DecodedBlock:
        """Read a block's rows.

        tracks : clock tracks after the earlier blocks; not changed. first : whether this is the file's first
            block
        Returns Decoded. Raises InputError if `first` and no time of the rows can be read.
        """
        column = self._moments(rows.table)
        times = self._times.read(column)
        if first and times.unreadable is not None and times.unreadable.all():
            cells = [_as_written(cell) for cell in column.slice(0, _LOOKED_AT).to_pylist()]
            given, form = cells[0][:40], time_format_of([c for c in cells if c])
            likely = f' = "{form}"' if form not in ("iso", self._layout.csv.time_format) else ""
            raise InputError(
                f"its times can't be read; {given!r} is not {self._format}; set time_format{likely} in the"
                " site's [csv]"
            )
        if first:
            check_days(self._layout.csv, column, times)
        local = int(np.broadcast_to(times.local, times.ms.shape).sum())
        out = DecodedBlock([], {}, {k: replace(t) for k, t in tracks.items()}, local)
        timed = self._timed(times, column, out.refused)
        (self._long if self._layout.is_long else self._wide)(rows.table, times, timed, out)
        return out

    def _moments(self, table: pa.Table) -> pa.ChunkedArray:
        """The times as they stand in the file, with the date before them where it has a column of its own."""
        time = table.column(self._layout.time)
        if self._layout.date is None:
            return time
        date = pc.utf8_trim_whitespace(table.column(self._layout.date))
        return pc.utf8_trim_whitespace(pc.binary_join_element_wise(date, pc.utf8_trim_whitespace(time), " "))

    @property
    def _format(self) -> str:
        form = self._layout.csv.time_format
        numbers = {
            "unix": "in seconds since 1970",
            "unix_ms": "in milliseconds since 1970",
            "spreadsheet": "in days since 1899-12-30, as spreadsheets count them",
        }
        return (
            "an ISO 8601 time (2025-01-31T23:59)"
            if form == "iso"
            else numbers.get(form, f"of the form {form!r}")
        )

    def _timed(self, times: Times, column: pa.ChunkedArray, refused: Reasons) -> Mask | None:
        """Return the indices of rows that have a time; None where all have one."""
        bad = None
        if times.missing is not None:
            bad = times.missing
            for row in np.flatnonzero(bad).tolist():
                refused[row] = [("", Refusal("no time", f"no time in the column {self._layout.time!r}"))]
        if times.unreadable is not None:
            bad = times.unreadable if bad is None else bad | times.unreadable
            for row in np.flatnonzero(times.unreadable).tolist():
                said = f"the time {str(column[row].as_py())[:40]!r} is not {self._format}"
                refused[row] = [("", Refusal("unreadable time", said))]
        return None if bad is None else ~bad

    def _wide(self, table: pa.Table, times: Times, timed: Mask | None, out: DecodedBlock) -> None:
        at = None if timed is None else np.flatnonzero(timed)
        utc, good = self._utc(times, at, "", out)
        for name, points in self._layout.points.items():
            column = table.column(name) if at is None else table.column(name).take(array(at))
            for point in points:
                values = read_values(point, column, self._layout)
                _refuse(values.refused, point.id, at, good, out.refused)
                _keep(point, utc, good, values, out)

    def _long(self, table: pa.Table, times: Times, timed: Mask | None, out: DecodedBlock) -> None:
        layout = self._layout
        column = table.column(str(layout.value))
        if layout.text:
            text = table.column(layout.text)
            column = pc.if_else(pc.equal(text, ""), column, text)
        units = table.column(layout.unit) if layout.unit else None
        for name, at in _groups(table.column(str(layout.point)), timed):
            point = layout.by_name.get(name.strip())
            if point is None:
                refusal = unknown_point(self._site, name.strip())
                for row in at.tolist():
                    out.refused.setdefault(row, []).append(("", refusal))
                continue
            utc, good = self._utc(times, at, point.id, out)
            part = column.take(array(at))
            if units is None or point.form == "state":
                self._part(point, None, part, at, utc, good, out)
                continue
            for unit, some in _groups(units.take(array(at)), None):
                ok = None if good is None else good[some]
                self._part(point, unit.strip(), part.take(array(some)), at[some], utc[some], ok, out)

    def _part(
        self,
        point: Point,
        unit: str | None,
        column: pa.ChunkedArray,
        at: Index,
        utc: Index,
        good: Mask | None,
        out: DecodedBlock,
    ) -> None:
        """Decode the rows of a long file that belong to one point and unit."""
        try:
            values = read_values(point, column, self._layout, unit)
        except RefusedValue as error:
            _refuse(dict.fromkeys(range(len(at)), error.refusal), point.id, at, good, out.refused)
            return
        _refuse(values.refused, point.id, at, good, out.refused)
        _keep(point, utc, good, values, out)

    def _utc(
        self, times: Times, at: Index | None, series: str, out: DecodedBlock
    ) -> tuple[Index, Mask | None]:
        """Convert the times of some rows (default: all) to UTC [ms].

        Returns the times and a mask of the valid ones; None where all are valid.
        """
        ms = times.ms if at is None else times.ms[at]
        local = times.local if at is None or isinstance(times.local, bool) else times.local[at]
        track = out.tracks.setdefault(series, Track())
        skipped = None
        if local is True:
            ms, skipped = self._clock.utc(ms, track)
        elif local is not False:
            where = np.flatnonzero(local)
            ms = ms.copy()
            ms[where], gone = self._clock.utc(ms[where], track)
            if gone is not None:
                skipped = np.zeros(len(ms), dtype=bool)
                skipped[where] = gone
        good = None
        if skipped is not None:
            good = ~skipped
            said = f"the time does not exist in {self._clock.zone}: the clocks went forward over it"
            refusal = Refusal("hour skipped by the clock change", said)
            _refuse(dict.fromkeys(np.flatnonzero(skipped).tolist(), refusal), "", at, None, out.refused)
        bad = times_in_trouble(ms, self._now)
        if bad is not None:
            bad = bad if good is None else bad & good
            for i in np.flatnonzero(bad).tolist():
                refusal_of = time_trouble(int(ms[i]), self._now)
                if refusal_of:
                    out.refused.setdefault(i if at is None else int(at[i]), []).append(("", refusal_of))
            good = ~bad if good is None else good & ~bad
        return ms, good


def _as_written(cell: object) -> str:
    """A field's text, where a number was read from it too."""
    if isinstance(cell, float):
        return f"{cell:.0f}" if cell.is_integer() else repr(cell)
    return "" if cell is None else str(cell).strip()


def _groups(column: pa.ChunkedArray, among: Mask | None) -> Iterator[tuple[str, Index]]:
    """Yield each distinct word of a column with its row indices, in order."""
    encoded = pc.dictionary_encode(pa.concat_arrays(column.chunks))
    words, codes = encoded.dictionary.to_pylist(), numbers(encoded.indices)
    rows = np.arange(len(codes)) if among is None else np.flatnonzero(among)
    if not len(rows):
        return
    codes = codes[rows]
    if len(words) == 1:
        yield words[0], rows
        return
    order = np.argsort(codes.astype(np.int16) if len(words) < 32_000 else codes, kind="stable")
    codes = codes[order]
    starts = np.concatenate([[0], np.flatnonzero(np.diff(codes)) + 1, [len(codes)]])
    for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        yield words[int(codes[a])], rows[order[a:b]]


def _refuse(
    why: dict[int, Refusal], point: str, at: Index | None, good: Mask | None, refused: Reasons
) -> None:
    """Record why rows are refused; rows whose time is already refused are not listed again."""
    for i, refusal in why.items():
        if good is None or good[i]:
            refused.setdefault(i if at is None else int(at[i]), []).append((point, refusal))


def _keep(point: Point, utc: Index, good: Mask | None, values: Values, out: DecodedBlock) -> None:
    use = good if values.present is None else values.present if good is None else good & values.present
    if use is None:
        if len(utc):
            out.readings.append((point.id, Samples(utc, values.value)))
    elif use.any():
        out.readings.append((point.id, Samples(utc[use], values.value[use])))
