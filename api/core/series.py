"""Readings and facts in the form of the API."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import MS_PER_DAY, Samples
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.collector.store.protocol import Store


def series(
    store: Store, site: Site, points: list[str], first: datetime | None, last: datetime | None, most: int
) -> dict[str, Any]:
    """Readings of points over time, downsampled to at most `most` per point; keeps peaks.

    points : ids, all where empty. first, last : default the last day with readings. Raises InputError
    """
    if unknown := [p for p in points if site.find_point(p) is None]:
        raise InputError(f"{site.id} has no point {unknown[0]!r}")
    span = store.span(site.id)
    newest = span[1] if span else round(datetime.now(UTC).timestamp() * 1000)
    end = round(last.timestamp() * 1000) if last else newest + 1
    start = round(first.timestamp() * 1000) if first else end - MS_PER_DAY
    if start >= end:
        raise InputError("`from` must lie before `to`")
    chosen = [p for p in site.point if not points or p.id in points]
    found = store.read(site.id, [p.id for p in chosen], start, end)
    none = Samples(np.empty(0, np.int64), np.empty(0))
    return {
        "site": site.id,
        "first": _moment(start),
        "last": _moment(end),
        "points": [_thin(p, found.get(p.id, none), most) for p in chosen],
    }


def _thin(point: Point, samples: Samples, most: int) -> dict[str, Any]:
    thinned = _changes(samples) if point.form == "state" else samples
    if len(thinned.time) > most:
        thinned = (
            _peaks(thinned, most)
            if thinned.value.dtype != object
            else Samples(thinned.time[-most:], thinned.value[-most:])
        )
    return {
        "id": point.id,
        "quantity": point.quantity,
        "unit": point.unit,
        "time": thinned.time.tolist(),
        "value": _listed(thinned.value),
        "readings": len(samples.time),
    }


def _changes(samples: Samples) -> Samples:
    """Keep the changes and the last reading of a state."""
    if len(samples.time) < 3:
        return samples
    new = np.ones(len(samples.time), bool)
    new[1:-1] = samples.value[1:-1] != samples.value[:-2]
    return Samples(samples.time[new], samples.value[new])


def _peaks(samples: Samples, most: int) -> Samples:
    from tsdownsample import MinMaxLTTBDownsampler

    known = np.isfinite(samples.value.astype(float))
    time, value = samples.time[known], np.ascontiguousarray(samples.value[known], dtype=np.float64)
    if len(time) <= most:
        return Samples(time, value)
    at = MinMaxLTTBDownsampler().downsample(np.ascontiguousarray(time), value, n_out=most)
    return Samples(time[at], value[at])


def facts_table(
    service: Service, record: SiteRecord, kind: str, first: date, last: date, offset: int, limit: int
) -> dict[str, Any]:
    """Rows of one facts table, with days and starts as ISO 8601 text."""
    table: Table = getattr(service.facts_cache.recent(record.site, first, last), kind)
    columns, rows = plain_rows(table.where(slice(offset, offset + limit)), record)
    return {
        "kind": kind,
        "columns": columns,
        "rows": rows,
        "total": len(table),
        "offset": offset,
        "limit": limit,
    }


def plain_rows(table: Table, record: SiteRecord) -> tuple[list[str], list[list[Any]]]:
    """Names and rows of a facts table as plain values: ISO days, local time with offset, None for gaps."""
    columns = [_plain(name, table[name], record) for name in table.names]
    return table.names, [list(row) for row in zip(*columns, strict=True)]


def _plain(name: str, values: NDArray[Any], record: SiteRecord) -> list[Any]:
    if values.dtype.kind == "M":
        return list(np.datetime_as_string(values, unit="D").tolist())
    if name == "start":
        return [_moment(ms).astimezone(record.site.zone).isoformat() for ms in values.tolist()]
    return _listed(values)


def _listed(values: NDArray[Any]) -> list[Any]:
    """Convert to plain Python values; NaN becomes None."""
    plain: list[Any] = values.tolist()
    if values.dtype.kind == "f":
        for at in np.flatnonzero(~np.isfinite(values)).tolist():
            plain[at] = None
    return plain


def _moment(ms: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=ms)
