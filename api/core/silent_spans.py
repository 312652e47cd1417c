"""Extend stale days over gaps: a register reading after a gap covers all of its days."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fieldfare.analysis.readings import Readings
from fieldfare.api.core.local_days import EPOCH, day_of, days
from fieldfare.collector.store.protocol import Store

LONGEST_DAYS = 400
"""Longest silence that is bridged: covers a meter read once a year."""


def thin_readings(store: Store, site: str) -> Readings:
    """All readings of points with less than daily readings, which are few."""
    thin = store.thin(site)
    return store.read(site, thin) if thin else {}


def with_silences(
    stale: Iterable[date], revised: Iterable[int], thin: Readings, zone: ZoneInfo
) -> list[date]:
    """Stale days, and the days of the silences that their readings end.

    stale : local days whose readings changed. revised : UTC days (since 1970-01-01) with readings of the site
    thin : readings of points read less than daily. Returns local days in order
    """
    out = set(stale)
    for days_read in (np.array(sorted(revised)), *(_days_read(s.time, zone) for s in thin.values())):
        for first, last in _silences(days_read):
            if first in out or last in out:
                out.update(days(first, last))
    return sorted(out)


def _days_read(times: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    return np.array(sorted({(day_of(t, zone) - EPOCH).days for t in times.tolist()}))


def _silences(days_read: np.ndarray) -> Iterator[tuple[date, date]]:
    """Pairs of successive days with readings and none between."""
    if len(days_read) < 2:
        return
    gaps = np.diff(days_read)
    for i in np.flatnonzero((gaps > 1) & (gaps <= LONGEST_DAYS)).tolist():
        yield EPOCH + timedelta(int(days_read[i])), EPOCH + timedelta(int(days_read[i + 1]))
