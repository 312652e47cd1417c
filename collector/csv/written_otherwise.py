"""Refuse a file that is written otherwise than the site file says, where its readings would be wrong: grouped
thousands or another decimal sign, day and month the other way round."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Csv
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.collector.csv.times import TimeColumn, Times
from fieldfare.collector.validation import Refusal

_FEWEST, _SHARE = 3, 0.01
"""Cells that are written otherwise, and their share of the rows; fewer are slips, which are rejected one by
one."""
_JUMP_DAYS = 20
"""Days [d]. A day and month the other way round go on in another month."""
_FEWEST_GROUPED, _FEWEST_PLAIN, _PLAIN_SHARE, _FULL_SHARE = 20, 5, 0.05, 0.8
"""Numbers with and without a group, the share of those without, and the share of groups that do not end in a
zero. Numbers of three decimals are whole once in a thousand times."""


class WrittenOtherwise(InputError):
    """The file's numbers or days are not written as the site file says; nothing of it was stored."""


@dataclass
class OtherNumbers:
    """Counts the cells that would be numbers if a key of [csv] had another value."""

    count: dict[str, int] = field(default_factory=dict)
    first: dict[str, tuple[int, str]] = field(default_factory=dict)

    def add(self, line: int, refusals: Iterable[tuple[str, Refusal]]) -> None:
        """Note a refused row. refusals : (point or "", why)"""
        for point, refusal in refusals:
            if refusal.setting:
                self.first.setdefault(refusal.setting, (line, f"{point}: {refusal.reason}"))
                self.count[refusal.setting] = self.count.get(refusal.setting, 0) + 1

    def check(self, rows: int) -> None:
        """Raise WrittenOtherwise where too many cells are so. rows : read so far"""
        for setting, count in self.count.items():
            if count >= max(_FEWEST, _SHARE * rows):
                line, said = self.first[setting]
                raise WrittenOtherwise(
                    f"line {line}: {said}; {count} fields of {rows} rows are written so: nothing was stored"
                )


def grouped_number(values: NDArray[np.float64]) -> float | None:
    """Return one of the numbers whose sign of thousands was read as the decimal sign, or None.

    `950` and `1.234` side by side are 950 and 1,234: numbers up to 999 have no decimals, and all others have
    three and at least 1 before them. values : float64 (n,), of one column
    """
    size = np.abs(values[np.isfinite(values) & (values != 0.0)])
    if not len(size) or float(size.max()) >= 1000.0:
        return None
    is_whole = size == np.round(size)
    whole, parted = size[is_whole], size[~is_whole]
    if len(parted) < _FEWEST_GROUPED or len(whole) < _PLAIN_SHARE * len(size):
        return None
    thousandths = np.round(parted * 1000.0)
    are_groups = (
        float(parted.min()) >= 1.0
        and bool((np.abs(parted * 1000.0 - thousandths) < 1e-6).all())
        and float((thousandths % 10 != 0).mean()) >= _FULL_SHARE
        and len(np.unique(whole)) >= _FEWEST_PLAIN
        and float(whole.max()) >= 100.0
    )
    return float(parted[0]) if are_groups else None


def check_days(csv: Csv, column: pa.ChunkedArray, times: Times) -> None:
    """Raise WrittenOtherwise where day and month are the other way round.

    Read so, the times leap from month to month or name no day; read the other way, they follow each other.
    column : the times as text. times : Times, as read by the site's format
    """
    form = csv.time_format
    if "%d" not in form or "%m" not in form:
        return
    bad, way, at = _course(times)
    if not bad and at is None:
        return
    other = form.replace("%d", "%\0").replace("%m", "%d").replace("%\0", "%m")
    swapped = TimeColumn(csv.model_copy(update={"time_format": other})).read(column)
    bad_then, way_then, leap_then = _course(swapped)
    ms = _known(swapped)
    if len(ms) < _FEWEST_GROUPED or float(np.median(np.abs(np.diff(ms)))) >= MS_PER_DAY:
        return  # rows a day or a month apart may be either
    if bad_then > bad or (bad_then == bad and (leap_then is not None or way_then > 0.5 * way)):
        return
    if leap_then is not None and way_then > way:
        return
    found = ""
    if at is not None:
        known = _known(times)
        found = f" its times leap from {_day(known[at])} to {_day(known[at + 1])}"
    else:
        found = f" {bad} of its times are no day"
    raise WrittenOtherwise(
        f"day and month are the other way round: read as {form!r}{found}; "
        f'set time_format = "{other}" in the site\'s [csv]'
    )


def _known(times: Times) -> NDArray[np.int64]:
    known = np.ones(len(times.ms), dtype=bool)
    for mask in (times.missing, times.unreadable):
        if mask is not None:
            known &= ~mask
    return times.ms[known]


def _course(times: Times) -> tuple[int, int, int | None]:
    """Unreadable times, the sum of all steps [ms], and where the first leap is, if any."""
    ms = _known(times)
    steps = np.abs(np.diff(ms))
    leaps = np.flatnonzero(steps >= _JUMP_DAYS * MS_PER_DAY)
    bad = 0 if times.unreadable is None else int(times.unreadable.sum())
    return bad, int(steps.sum()), int(leaps[0]) if len(leaps) else None


def _day(ms: int) -> str:
    return f"{datetime.fromtimestamp(int(ms) / 1000, UTC):%Y-%m-%d}"
