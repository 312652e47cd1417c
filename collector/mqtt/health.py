"""Gateway health: online status, last reading per point, and silence compared with the usual interval."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import (
    MS_PER_DAY,
    MS_PER_MINUTE,
    Readings,
    Samples,
)
from fieldfare.collector.mqtt.decode import StatusSeen
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.store.protocol import PointSpan, Store

LATE_MS = 15 * MS_PER_MINUTE
"""A reading that arrives this long after its time was held back or backfilled; its day is to be worked out
again."""
SILENT_TIMES = 5.0
"""A point is silent after this many usual intervals ..."""
SILENT_USUAL_GAPS = 2.0
"""... and after this many times the 99 % quantile of its gaps ..."""
SILENT_AT_LEAST_MS = 10 * MS_PER_MINUTE
"""... but not before this."""
_RHYTHM_SAMPLES = 500


class PointArrivals(NamedTuple):
    """Arrivals of one point since the last write. Times [ms]."""

    arrived: int
    time: int
    lag: int
    readings: int
    late: int


@dataclass
class Arrivals:
    """Arrivals not yet written to the journal: last reading per point, late readings per day."""

    points: dict[tuple[str, str], PointArrivals] = field(default_factory=dict)
    late_days: dict[tuple[str, int], int] = field(default_factory=dict)

    def record(self, site: str, readings: Readings, arrived: int) -> None:
        """Record the readings of one site in a batch."""
        for point, samples in readings.items():
            newest = int(samples.time[-1])
            late = 0
            if samples.time[0] < arrived - LATE_MS:
                days = samples.time[samples.time < arrived - LATE_MS] // MS_PER_DAY
                late = len(days)
                for day, count in zip(*np.unique(days, return_counts=True), strict=True):
                    key = site, int(day)
                    self.late_days[key] = self.late_days.get(key, 0) + int(count)
            before = self.points.get((site, point))
            self.points[site, point] = PointArrivals(
                arrived,
                max(newest, before.time) if before else newest,
                arrived - newest,
                len(samples.time) + (before.readings if before else 0),
                late + (before.late if before else 0),
            )

    def write(self, db: sqlite3.Connection, arrived: int) -> None:
        """Write the arrivals to the journal inside a transaction, then clear them."""
        db.executemany(
            "INSERT INTO seen VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (site, point) DO UPDATE SET"
            " arrived = excluded.arrived, time = max(time, excluded.time), lag = excluded.lag,"
            " readings = readings + excluded.readings, late = late + excluded.late",
            [(*key, *heard) for key, heard in self.points.items()],
        )
        db.executemany(
            "INSERT INTO late_days VALUES (?, ?, ?, ?) ON CONFLICT (site, day) DO UPDATE SET"
            " readings = readings + excluded.readings, arrived = excluded.arrived",
            [(site, day, count, arrived) for (site, day), count in self.late_days.items()],
        )
        self.points, self.late_days = {}, {}


def write_statuses(db: sqlite3.Connection, statuses: Iterable[StatusSeen]) -> None:
    """Write gateway statuses to the journal; `since` changes only when the status changes."""
    db.executemany(
        "INSERT INTO status VALUES (?, ?, ?, ?) ON CONFLICT (site) DO UPDATE SET"
        " since = CASE WHEN online = excluded.online THEN since ELSE excluded.since END,"
        " online = excluded.online, heard = excluded.heard",
        [(s.site, s.online, s.arrived, s.arrived) for s in statuses],
    )


class PointHealth(NamedTuple):
    """Health of one point. Times and durations [ms].

    last : time of its newest reading. arrived : last arrival by MQTT, if any.
    rhythm : usual interval, None with fewer than three readings. silent_after : unusually long silence.
    lag : delay of the newest reading; negative where the gateway's clock is ahead.
    """

    point: str
    last: int | None
    arrived: int | None
    reporting_interval: int | None
    silent_after: int | None
    silent_for: int | None
    lag: int | None
    late: int

    @property
    def silent(self) -> bool:
        return (
            self.silent_for is not None
            and self.silent_after is not None
            and self.silent_for > self.silent_after
        )


class SiteHealth(NamedTuple):
    """A site's gateway and its points.

    online : by the last birth or will; None if none came. since : start of that status [ms].
    late_days : UTC day -> number of late readings.
    """

    site: str
    online: bool | None
    since: int | None
    last: int | None
    points: tuple[PointHealth, ...]
    late_days: dict[int, int]

    @property
    def silent(self) -> tuple[str, ...]:
        """Points that have been silent for longer than usual."""
        return tuple(p.point for p in self.points if p.silent)


def site_health(journal: Journal, store: Store, site: Site, now: int) -> SiteHealth:
    """Health of a site at `now` [ms]. Points without readings are listed without times."""
    spans = store.points(site.id)
    by_point = {
        point: PointArrivals(arrived, time, lag, readings, late)
        for point, arrived, time, lag, readings, late in journal.db.execute(
            "SELECT point, arrived, time, lag, readings, late FROM seen WHERE site = ?", (site.id,)
        )
    }
    status = journal.db.execute("SELECT online, since FROM status WHERE site = ?", (site.id,)).fetchone()
    late = dict(journal.db.execute("SELECT day, readings FROM late_days WHERE site = ?", (site.id,)))
    points = tuple(_point(store, site.id, p.id, spans.get(p.id), by_point.get(p.id), now) for p in site.point)
    newest = [p.last for p in points if p.last is not None]
    return SiteHealth(
        site.id,
        bool(status[0]) if status else None,
        status[1] if status else None,
        max(newest, default=None),
        points,
        late,
    )


def _point(
    store: Store, site: str, point: str, span: PointSpan | None, heard: PointArrivals | None, now: int
) -> PointHealth:
    arrived, lag, late = (heard.arrived, heard.lag, heard.late) if heard else (None, None, 0)
    if span is None:
        return PointHealth(point, None, arrived, None, None, None, lag, late)
    usual, after = reporting_interval(_recent(store, site, point, span))
    return PointHealth(point, span.last, arrived, usual, after, max(0, now - span.last), lag, late)


def _recent(store: Store, site: str, point: str, span: PointSpan) -> Samples | None:
    """The last few hundred readings, without reading years."""
    if span.count < 3:
        return None
    reach = max(1, (span.last - span.first) * _RHYTHM_SAMPLES // span.count)
    for start in (span.last - min(reach, MS_PER_DAY), span.last - reach, span.first):
        found = store.read(site, [point], start, span.last + 1).get(point)
        if found is not None and len(found.time) >= min(span.count, _RHYTHM_SAMPLES // 10):
            return Samples(found.time[-_RHYTHM_SAMPLES:], found.value[-_RHYTHM_SAMPLES:])
    return found


def reporting_interval(samples: Samples | None) -> tuple[int | None, int | None]:
    """Usual interval of a point and the unusual silence [ms]; None with fewer than three readings.

    The usual interval is the median. Points that report on change have a few long gaps, which are normal.
    """
    if samples is None or len(samples.time) < 3:
        return None, None
    gaps = np.diff(samples.time)
    usual = int(np.median(gaps))
    rare = float(np.percentile(gaps, 99))
    return usual, int(max(SILENT_TIMES * usual, SILENT_USUAL_GAPS * rare, SILENT_AT_LEAST_MS))


def forget(journal: Journal, site: str) -> None:
    """Delete everything the journal holds of a site, including dead letters."""
    from fieldfare.collector.mqtt.dead_letters import clear

    clear(journal, site)
    with journal.writing() as db:
        for table in ("seen", "late_days", "status"):
            db.execute(f"DELETE FROM {table} WHERE site = ?", (site,))  # noqa: S608
    journal.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
