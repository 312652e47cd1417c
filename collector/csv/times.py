"""Parse the time column: text or numbers to milliseconds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fieldfare.analysis.plant.site import Csv
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.collector.arrow import array, numbers, texts
from fieldfare.collector.csv.layout import NO_READING
from fieldfare.collector.csv.time_words import has_words, plain_form, plain_time

_OFFSET = r"[T ].*(Z|z|[+-]\d\d(:?\d\d)?)$"
_ISO_DATE = r"^\d{4}-?\d\d-?\d\d"
_MIDNIGHT = r"^(.*[T ])24:00(:00(\.0+)?)?"
_WIDTHS = {"Y": 4, "m": 2, "d": 2, "H": 2, "M": 2, "S": 2}
_COUNTED = {
    "unix": (1000.0, 0, 1),
    "unix_ms": (1.0, 0, 1),
    "spreadsheet": (float(MS_PER_DAY), -25_569 * MS_PER_DAY, 1000),
}
"""Form -> milliseconds of one, 1970 less its origin [ms], and what it is rounded to [ms]: days with a few
decimals mean whole seconds. Spreadsheets count from 1899-12-30 (ECMA-376 Part 1, 18.17.4.1)."""


class Times(NamedTuple):
    """Times of a block of rows.

    ms : int64 (n,). local : bool (n,) or one bool for all: wall time, not yet converted to UTC
    missing, unreadable : bool (n,), or None where there are none
    """

    ms: NDArray[np.int64]
    local: NDArray[np.bool_] | bool
    missing: NDArray[np.bool_] | None
    unreadable: NDArray[np.bool_] | None


def carry_zone(times: Sequence[str], time_format: str) -> bool:
    """Whether times say themselves what moment they are: by an offset, or counted from 1970 in UTC."""
    if time_format == "iso":
        return all(re.search(_OFFSET, t.strip()) for t in times)
    return time_format in ("unix", "unix_ms") or _pattern_has_zone(time_format)


def _pattern_has_zone(pattern: str) -> bool:
    return "%z" in pattern or "%Z" in pattern or pattern.rstrip().endswith("Z")


class TimeColumn:
    """How a site's exports write their times."""

    def __init__(self, csv: Csv) -> None:
        self.format: str = csv.time_format
        self._decimal = csv.decimal
        self._has_zone = _pattern_has_zone(self.format)
        self._offsets: dict[str, int] = _offsets(csv.timezone)

    def arrow_type(self, sample: str) -> pa.DataType:
        """The Arrow type to parse the column as, judged by one field."""
        if self.format == "iso":
            return pa.timestamp("ms", "UTC" if re.search(_OFFSET, sample.strip()) else None)
        return pa.float64() if self.format in _COUNTED else pa.string()

    def read(self, column: pa.ChunkedArray) -> Times:
        """Read a column, parsed or plain text."""
        if pa.types.is_timestamp(column.type):
            local = column.type.tz is None
            missing = _mask(column)
            ms = column.cast(pa.int64()).fill_null(0) if missing is not None else column.cast(pa.int64())
            return Times(numbers(ms), local, missing, None)
        if pa.types.is_floating(column.type):
            return self._counted(column)
        text = pc.utf8_trim_whitespace(column)
        empty = pc.is_in(text, texts(NO_READING)).to_numpy()
        missing = empty if empty.any() else None
        if self.format in _COUNTED:
            return self._counted_text(text, missing)
        times = self._iso(text) if self.format == "iso" else self._patterned(text)
        if missing is None:
            return times
        unreadable = None if times.unreadable is None else times.unreadable & ~missing
        return times._replace(missing=missing, unreadable=unreadable)

    def _counted(self, column: pa.ChunkedArray) -> Times:
        count = numbers(column)
        missing = np.isnan(count)
        scale, origin, step = _COUNTED[self.format]
        scaled = np.where(missing, 0.0, count * scale)
        odd = ~(np.abs(scaled) < 1e15)
        ms = np.rint(np.where(odd, 0.0, scaled) / step).astype(np.int64) * step + origin
        return Times(ms, self.format == "spreadsheet", _some(missing), _some(odd))

    def _counted_text(self, text: pa.ChunkedArray, missing: NDArray[np.bool_] | None) -> Times:
        import pandas as pd  # 0.3 s to load, for files that Arrow does not read

        if self._decimal == ",":
            text = pc.replace_substring(text, ",", ".")
        parsed = pd.to_numeric(pd.Series(text.to_pylist(), dtype=object), errors="coerce").to_numpy(
            np.float64
        )
        times = self._counted(pa.chunked_array([array(parsed)]))
        bad = np.isnan(parsed) if missing is None else np.isnan(parsed) & ~missing
        odd = bad if times.unreadable is None else bad | times.unreadable
        return times._replace(missing=missing, unreadable=_some(odd))

    def _iso(self, text: pa.ChunkedArray) -> Times:
        late = pc.match_substring_regex(text, _MIDNIGHT).to_numpy()
        if late.any():
            text = pc.replace_substring_regex(text, _MIDNIGHT, r"\100:00")
        zoned = pc.match_substring_regex(text, _OFFSET).to_numpy()
        dated = pc.match_substring_regex(text, _ISO_DATE).to_numpy()
        ms, bad = _parsed(text, "ISO8601")
        ms = ms + late * MS_PER_DAY
        local: NDArray[np.bool_] | bool = bool(not zoned.any()) if zoned.all() or not zoned.any() else ~zoned
        return Times(ms, local, None, _some(bad | ~dated))

    def _patterned(self, text: pa.ChunkedArray) -> Times:
        if self.format.endswith("%Z"):
            return self._abbreviated(text)
        ms, bad = _by_pattern(text, self.format)
        return Times(ms, not self._has_zone, None, None if bad is None else _some(bad))

    def _abbreviated(self, text: pa.ChunkedArray) -> Times:
        """Read times that end in an abbreviation of their zone: one of the site's own, UTC or GMT."""
        bare = pc.utf8_rtrim_whitespace(pc.replace_substring_regex(text, r"[^\s\d]+$", ""))
        ms, bad = _by_pattern(bare, self.format.removesuffix("%Z").rstrip())
        words = np.asarray(pc.replace_substring_regex(text, r"^.*[\s\d]", "").to_pylist(), dtype=object)
        unread = np.zeros(len(ms), dtype=bool) if bad is None else bad
        for word in set(words.tolist()):
            offset = self._offsets.get(word)
            if offset is None:
                unread = unread | (words == word)
            else:
                ms = np.where(words == word, ms - offset, ms)
        return Times(ms, False, None, _some(unread))


def _offsets(zone: str) -> dict[str, int]:
    """Abbreviation -> offset [ms] of a zone's winter and summer, and of UTC."""
    own = [datetime(2025, month, 1, tzinfo=ZoneInfo(zone)) for month in (1, 7)]
    named = {str(t.tzname()): int((t.utcoffset() or timedelta()).total_seconds() * 1000) for t in own}
    return {"UTC": 0, "GMT": 0, "Z": 0} | named


def _by_pattern(text: pa.ChunkedArray, form: str) -> tuple[NDArray[np.int64], NDArray[np.bool_] | None]:
    """Times of a pattern [ms], and which can't be read, None where all can."""
    if has_words(form):
        weekday = re.match(r"%[aA]", form) is not None
        text = pa.chunked_array([texts([plain_time(t, weekday=weekday) for t in text.to_pylist()])])
        form = plain_form(form)
    ms = _fixed(text, form)
    return (ms, None) if ms is not None else _parsed(text, form)


def _parsed(text: pa.ChunkedArray, form: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Parse text, reading wall times as UTC; NaT becomes 0 and is marked."""
    import pandas as pd  # 0.3 s to load, for files that Arrow does not read

    series = pd.Series(text.to_pylist(), dtype="str")
    found = pd.to_datetime(series, format=form, errors="coerce", utc=True)
    bad = found.isna().to_numpy()
    ms = found.dt.tz_localize(None).to_numpy().astype("M8[ms]").astype(np.int64)
    return np.where(bad, 0, ms), bad


def _fixed(text: pa.ChunkedArray, pattern: str) -> NDArray[np.int64] | None:
    """Read times with fixed-width parts; None if the pattern or a row is not fixed-width."""
    places: dict[str, int] = {}
    literals: list[tuple[int, int]] = []
    at = i = 0
    while i < len(pattern):
        if pattern[i] == "%":
            part = pattern[i + 1 : i + 2]
            if part not in _WIDTHS or part in places:
                return None
            places[part], at, i = at, at + _WIDTHS[part], i + 2
        else:
            literals.append((at, ord(pattern[i])))
            at, i = at + 1, i + 1
    if not {"Y", "m", "d"} <= places.keys():
        return None
    array = pa.concat_arrays(text.chunks) if text.num_chunks else pa.array([], pa.string())
    if array.null_count or not len(array):
        return None
    edges = np.frombuffer(array.buffers()[1], np.int32)[array.offset : array.offset + len(array) + 1]
    if not (np.diff(edges) == at).all():
        return None
    chars = np.frombuffer(array.buffers()[2], np.uint8)[edges[0] : edges[-1]].reshape(-1, at)
    if any((chars[:, place] != char).any() for place, char in literals):
        return None
    numbers: dict[str, NDArray[np.int64]] = {}
    for part, place in places.items():
        number = np.zeros(len(array), np.int64)
        for k in range(place, place + _WIDTHS[part]):
            digit = chars[:, k] - np.uint8(48)
            if (digit > 9).any():
                return None
            number = number * 10 + digit
        numbers[part] = number
    month, day = numbers["m"], numbers["d"]
    if ((month < 1) | (month > 12)).any():
        return None
    months = (numbers["Y"] - 1970) * 12 + month - 1
    start = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    length = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64) - start
    hour, minute, second = (numbers.get(p, np.zeros(1, np.int64)) for p in "HMS")
    late = (hour > 24) | ((hour == 24) & ((minute > 0) | (second > 0)))
    if ((day < 1) | (day > length)).any() or late.any() or (minute > 59).any() or (second > 59).any():
        return None
    return (((start + day - 1) * 24 + hour) * 60 + minute) * 60_000 + second * 1000


def _mask(column: pa.ChunkedArray) -> NDArray[np.bool_] | None:
    return column.is_null().to_numpy() if column.null_count else None


def _some(mask: NDArray[np.bool_]) -> NDArray[np.bool_] | None:
    return mask if bool(mask.any()) else None
