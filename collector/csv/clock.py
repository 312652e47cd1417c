"""Convert local wall times to UTC, including both clock changes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

_FIRST, _LAST = datetime(1989, 12, 1, tzinfo=UTC), datetime(2101, 1, 1, tzinfo=UTC)


@dataclass
class Track:
    """Progress of one series of rows: last wall time, and whether it is in an hour's second pass."""

    last: int | None = None
    second: bool = False
    backwards: bool | None = None


class Clock:
    """The clock changes of a time zone as arrays.

    `utc` reads wall times in file order. In the hour that repeats when the clocks go back, the first pass is
    summer time and the second is standard time. A pass ends where the time steps back inside the hour.
    Entering the hour again from elsewhere (a day written twice) starts with the first pass. A row with the
    same time as the row before it (a file sorted by wall time) belongs to the second pass. Newest-first files
    are read the same way.
    """

    def __init__(self, zone: str) -> None:
        self.zone = zone
        self._walls, self._offsets, self._gaps, self._folds = _changes(zone)

    def utc(
        self, wall: NDArray[np.int64], track: Track
    ) -> tuple[NDArray[np.int64], NDArray[np.bool_] | None]:
        """Convert wall times [ms as if they were UTC] to UTC [ms].

        track : Track of this series; updated in place
        Returns the times and a mask of the times that do not exist, or None where all exist.
        """
        if not len(wall):
            return wall, None
        first, last = int(wall.min()), int(wall.max())
        a, b = np.searchsorted(self._walls, (first, last), side="right")
        offset = (
            self._offsets[a] if a == b else self._offsets[np.searchsorted(self._walls, wall, side="right")]
        )
        utc = wall - offset
        skipped = None
        for start, end in self._gaps:
            if start <= last and end > first:
                inside = (wall >= start) & (wall < end)
                if inside.any():
                    skipped = inside if skipped is None else skipped | inside
        if track.backwards is None and len(wall) > 3:
            steps = np.sign(np.diff(wall[:2000]))
            track.backwards = bool((steps < 0).sum() > 2 * (steps > 0).sum())
        for start, end, shift in self._folds:
            if start <= last and end > first:
                self._passes(wall, utc, start, end, shift, track)
        track.last = int(wall[-1])
        return utc, skipped

    @staticmethod
    def _passes(
        wall: NDArray[np.int64], utc: NDArray[np.int64], start: int, end: int, shift: int, track: Track
    ) -> None:
        """Separate the passes through one repeated hour; `utc` holds the first pass and is updated."""
        inside = np.flatnonzero((wall >= start) & (wall < end))
        back = bool(track.backwards)
        for i in inside.tolist():
            now = int(wall[i])
            before = int(wall[i - 1]) if i else track.last
            if before is None or not (start - shift * back <= before < end + shift * (not back)):
                track.second = False
            elif (now > before) if back else (now < before):
                left = not start <= before < end
                track.second = not track.second if left else True
            later = track.second or now == before
            if later != back:
                utc[i] += shift


@lru_cache(maxsize=32)
def _changes(
    zone: str,
) -> tuple[
    NDArray[np.int64], NDArray[np.int64], tuple[tuple[int, int], ...], tuple[tuple[int, int, int], ...]
]:
    """Return start times and offsets (wall time), skipped spans, and repeated spans with length [ms]."""
    tz = ZoneInfo(zone)

    def offset(t: datetime) -> int:
        return int(t.astimezone(tz).utcoffset() / timedelta(milliseconds=1))  # type: ignore[operator]

    walls, offsets, gaps, folds = [], [offset(_FIRST)], [], []
    step, t, before = timedelta(days=7), _FIRST, offsets[0]
    while t < _LAST:
        after = offset(t + step)
        if before != after:
            low, high = t, t + step
            while high - low > timedelta(seconds=1):
                middle = low + (high - low) / 2
                low, high = (middle, high) if offset(middle) == before else (low, middle)
            change = round(high.replace(microsecond=0).timestamp()) * 1000
            start, end = change + min(before, after), change + max(before, after)
            if after > before:
                gaps.append((start, end))
            else:
                folds.append((start, end, end - start))
            walls.append(end)
            offsets.append(after)
        t, before = t + step, after
    return np.array(walls, np.int64), np.array(offsets, np.int64), tuple(gaps), tuple(folds)
