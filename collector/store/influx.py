"""Store on a time-series server, with a spool on disk, for fleets that outgrow one machine.

Uses only calls common to InfluxDB 1.8+, 2.x and 3.x: line protocol to `/api/v2/write` by `influxdb-client`,
and InfluxQL by `/query`. `append` returns when the readings are in the spool; a thread sends them in order.
The server keys by (site, point, time), so data sent twice after a kill are stored once. Reads overlay spooled
readings on the server's.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from fieldfare.analysis.readings import (
    MS_PER_DAY,
    Readings,
    Samples,
    is_thin,
)
from fieldfare.collector.back_off import back_off
from fieldfare.collector.store.influx_query import (
    NUMBER,
    READINGS,
    REVISIONS,
    TEXT,
    InfluxQuery,
    ServerAway,
    ServerRefused,
)
from fieldfare.collector.store.merge import changes, cleaned_readings, overlay, reversal
from fieldfare.collector.store.protocol import Appended, PointSpan, Reverted, Trouble, check_site_id
from fieldfare.collector.store.spool import Chunk, Spool

log = logging.getLogger("fieldfare.store")

_SEND = 20_000
"""Readings in one request: about 1 MB before gzip, below every server's limit."""
_POLL_S = 0.3
_AWAY_S = 5.0
_CLOSE_S = 10.0
_TEXT_ESCAPES = str.maketrans({"\\": "\\\\", '"': '\\"'})


class InfluxStore:
    """Readings on a server; the database (bucket) must exist.

    url : str. database : str, the database of a 1.x server or the bucket's name
    folder : Path of the spool. Collectors on different machines each have their own
    token : str, default none; `user:password` for a 1.x server. org : str, for 2.x
    send : bool, default True. False: leave sending to another process with this spool
    """

    def __init__(
        self,
        url: str,
        database: str,
        folder: Path,
        *,
        token: str = "",
        org: str = "-",
        timeout: float = 30.0,
        back_off: tuple[float, float] = (0.5, 60.0),
        send: bool = True,
    ) -> None:
        from influxdb_client.client.influxdb_client import (
            InfluxDBClient,  # half a second: only where a server is used
        )
        from influxdb_client.client.write_api import SYNCHRONOUS

        self._made_of = (url, database, Path(folder), token, org, timeout, back_off)
        self._database, self._org, self._back_off = database, org, back_off
        self._spool = Spool(Path(folder))
        self._query = InfluxQuery(url, database, token, timeout)
        self._client = InfluxDBClient(
            url=url, token=token or "-", org=org, timeout=int(timeout * 1000), enable_gzip=True, retries=False
        )
        self._writer = self._client.write_api(write_options=SYNCHRONOUS)
        self._lasts: dict[str, dict[str, int]] = {}
        self._away_until = 0.0
        self._failing = False
        self._wake, self._stop = threading.Event(), threading.Event()
        self._sender = threading.Thread(target=self._send_on, name="spool", daemon=True)
        if send:
            self._sender.start()

    def __reduce__(self) -> tuple[Any, ...]:
        return _reader, self._made_of

    def append(self, site: str, readings: Readings) -> Appended:
        """Store readings. They are on disk when it returns; appending them again changes nothing.

        Counts compare with the server's readings; while it is unreachable, all count as stored.
        """
        check_site_id(site)
        new, given = cleaned_readings(readings)
        if not new:
            return Appended(0, 0, 0)
        for point, samples in new.items():
            if samples.value.dtype != object and not np.isfinite(samples.value).all():
                raise ValueError(f"{point}: an infinite value can't be stored")
        changed, stored, replaced = changes(new, self._held(site, new))
        if changed:
            self._spool.put(site, changed)
            if site in self._lasts:
                _advance(self._lasts[site], changed)
            self._wake.set()
        return Appended(stored, replaced, given - stored - replaced)

    def revert(self, site: str, written: Readings, before: Readings) -> Reverted:
        """Undo earlier appends; see `Store.revert`.

        Raises ServerRefused where the server can't delete (3.x).
        """
        check_site_id(site)
        written, given = cleaned_readings(written)
        before, _ = cleaned_readings(before)
        if not given:
            return Reverted(0, 0, 0)
        self.flush()
        start = min(int(s.time[0]) for s in written.values())
        end = max(int(s.time[-1]) for s in written.values()) + 1
        held = self._query.readings(site, written, start, end)
        back = reversal(held, written, before)
        if back.restored:
            self._spool.put(site, back.restored)
        for point, times in back.removed.items():
            gone = np.isin(held[point].time, times)
            for first, last in _runs(held[point].time, gone):
                self._query.delete(site, point, first, last + 1)
        if back.removed:
            self._spool.raise_revisions(site, np.concatenate(list(back.removed.values())))
        self._lasts.pop(site, None)
        self._wake.set()
        return Reverted(
            sum(len(time) for time in back.removed.values()),
            sum(len(s.time) for s in back.restored.values()),
            back.kept,
        )

    def _held(self, site: str, new: Readings) -> Readings:
        """Stored readings at the times of new samples that are not later than their point's last."""
        waiting = self._spool.waiting(site, new)
        if time.monotonic() < self._away_until:
            return waiting
        try:
            lasts = self._lasts.get(site)
            if lasts is None:
                lasts = self._lasts[site] = self._query.lasts(site)
                _advance(lasts, self._spool.waiting(site))
            old = {p: s for p, s in new.items() if p in lasts and int(s.time[0]) <= lasts[p]}
            if not old:
                return waiting
            start = min(int(s.time[0]) for s in old.values())
            end = max(min(int(s.time[-1]), lasts[p]) for p, s in old.items()) + 1
            waiting = self._spool.waiting(
                site, new
            )  # read before the server: a chunk is then in at least one of the two
            held = self._query.readings(site, old, start, end)
        except (ServerAway, ServerRefused):  # reads will raise; appended readings wait in the spool
            self._away_until = time.monotonic() + _AWAY_S
            return waiting
        return overlay(waiting, held)

    def read(
        self, site: str, points: Iterable[str] | None = None, start: int | None = None, end: int | None = None
    ) -> Readings:
        """Readings with start <= time < end [ms] of the named points (default all).

        Points without readings are absent. Raises ServerAway while the server is unreachable.
        """
        check_site_id(site)
        chosen = None if points is None else set(points)
        if chosen is not None and not chosen:
            return {}
        waiting = self._spool.waiting(site, chosen, start, end)
        return overlay(waiting, self._query.readings(site, chosen, start, end))

    def span(self, site: str) -> tuple[int, int] | None:
        """First and last time [ms] of a site; None without readings."""
        held = self.points(site)
        if not held:
            return None
        return min(p.first for p in held.values()), max(p.last for p in held.values())

    def thin(self, site: str) -> list[str]:
        """Points with less than daily readings."""
        return [point for point, span in self.points(site).items() if is_thin(*span)]

    def points(self, site: str) -> dict[str, PointSpan]:
        """All points with readings."""
        check_site_id(site)
        waiting = self._spool.waiting(site)
        out = self._query.spans(site)
        for point, samples in waiting.items():
            first, last, held = int(samples.time[0]), int(samples.time[-1]), out.get(point)
            if held is None:
                out[point] = PointSpan(len(samples.time), first, last)
                continue
            # During a write the server holds part of the request: within the span of the spooled readings
            # count the keys of both together; outside it the server's count is right.
            there = self._query.readings(site, [point], first, last + 1)
            both = overlay({point: samples}, there)[point]
            outside = self._query.count(site, point, None, first) + self._query.count(
                site, point, last + 1, None
            )
            out[point] = PointSpan(len(both.time) + outside, min(first, held.first), max(last, held.last))
        return out

    def revisions(self, site: str) -> dict[int, int]:
        """UTC day (days since 1970-01-01) -> revision, which grows whenever a reading of that day changes.

        The sum over all writers, so that it grows with each write of any of them.
        """
        check_site_id(site)
        by_writer = self._query.revisions(site)
        mine = by_writer.setdefault(self._spool.writer, {})
        for day, revision in self._spool.revisions(site).items():
            mine[day] = max(revision, mine.get(day, 0))
        out: dict[int, int] = {}
        for days in by_writer.values():
            for day, revision in days.items():
                out[day] = out.get(day, 0) + revision
        return out

    def forget(self, site: str) -> None:
        """Delete a site from the spool and the server; another machine's spool may resend its readings."""
        check_site_id(site)
        with self._spool.sending(wait=True):
            self._query.forget(site)
            self._spool.forget(site)
            self._lasts.pop(site, None)

    def waiting(self) -> int:
        """Number of readings not yet on the server."""
        return self._spool.depth()

    def refused(self) -> list[tuple[str, str, int, str]]:
        """Site, point, readings and reason of refused chunks; they stay in the spool."""
        return self._spool.refused()

    def _unsent(self) -> bool:
        return bool(self._spool.depth() or self._spool.unsent_revisions())

    def troubles(self, site: str) -> list[Trouble]:
        """None: the server checks its own files."""
        return []

    def check(self, site: str) -> list[Trouble]:
        """None; see `troubles`."""
        return []

    def seal(self, now: int) -> int:
        """Does nothing: the server compacts its own data."""
        return 0

    def flush(self, seconds: float = 60.0) -> None:
        """Wait until the server has everything. Raises ServerAway on timeout."""
        until = time.monotonic() + seconds
        while self._unsent():
            if time.monotonic() > until:
                raise ServerAway(f"{self._spool.depth()} readings still wait for the time-series server")
            self._wake.set()
            time.sleep(0.02)

    def close(self) -> None:
        """Try briefly to send pending readings; the rest follows when the store is opened again."""
        until = time.monotonic() + _CLOSE_S
        while self._sender.is_alive() and not self._failing and time.monotonic() < until and self._unsent():
            self._wake.set()
            time.sleep(0.02)
        self._stop.set()
        self._wake.set()
        if self._sender.is_alive():
            self._sender.join(60)
        self._client.close()
        self._query.close()
        self._spool.close()

    def _send_on(self) -> None:
        failures = 0
        while not self._stop.is_set():
            try:
                with self._spool.sending() as mine:
                    more = mine and self._send_some()
                failures, self._failing = 0, False
            except Exception as error:
                failures, self._failing = failures + 1, True
                level = logging.WARNING if failures == 1 else logging.DEBUG
                log.log(level, "readings wait on disk for the time-series server: %s", error)
                self._stop.wait(back_off(failures, self._back_off))
                continue
            if not more:
                self._wake.wait(_POLL_S)
                self._wake.clear()

    def _send_some(self) -> bool:
        """Send the oldest chunks, then the revisions of their days; return whether there were any."""
        chunks = self._spool.next_chunks(_SEND)
        if chunks:
            self._send_chunks(chunks)
            return True
        rows = self._spool.unsent_revisions()
        if rows:
            self._write([_revision_line(self._spool.writer, *row) for row in rows])
            self._spool.revisions_sent(rows)
        return bool(rows)

    def _send_chunks(self, chunks: list[Chunk]) -> None:
        """Send chunks; if the server refuses their content, find the refused chunk and keep it aside."""
        try:
            self._write(_lines(chunks))
        except ServerRefused as error:
            if len(chunks) == 1:
                log.error("the time-series server refuses readings of %s: %s", chunks[0].site, error)
                self._spool.refuse(chunks[0], str(error))
                return
            half = len(chunks) // 2
            self._send_chunks(chunks[:half])
            self._send_chunks(chunks[half:])
            return
        self._spool.done(chunks)

    def _write(self, lines: list[str]) -> None:
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException

        for start in range(0, len(lines), 2 * _SEND):
            try:
                text = "\n".join(lines[start : start + 2 * _SEND])
                self._writer.write(
                    self._database,
                    self._org,
                    text,
                    write_precision=WritePrecision.MS,  # type: ignore[arg-type]
                )
            except ApiException as error:
                # 400 and 422: the content is at fault. Other errors, such as a missing database or a wrong
                # token, can be fixed while the readings wait.
                if error.status in (400, 422):
                    raise ServerRefused(f"{error.status}: {str(error.body or error.reason)[:300]}") from error
                raise ServerAway(f"time-series server: {error.status} {error.reason}") from error


def _lines(chunks: list[Chunk]) -> list[str]:
    """Line protocol, one line per key: of two values for a key in one request, send the later one."""
    parts: dict[tuple[str, str], list[Samples]] = {}
    for _, site, point, samples in chunks:
        parts.setdefault((site, point), []).append(samples)
    out: list[str] = []
    for (site, point), pieces in parts.items():
        merged: Readings = {}
        for samples in _joined(pieces):
            merged = overlay({point: samples}, merged)
        times, values = merged[point]
        head = f"{READINGS},site={site},point={point} "
        if values.dtype == object:
            out += [
                f'{head}{TEXT}="{v.translate(_TEXT_ESCAPES)}" {t}'
                for t, v in zip(times.tolist(), values.tolist(), strict=True)
            ]
        else:
            out += [f"{head}{NUMBER}={v!r} {t}" for t, v in zip(times.tolist(), values.tolist(), strict=True)]
    return out


def _joined(pieces: list[Samples]) -> list[Samples]:
    """Concatenate pieces that follow one another in time; otherwise return them unchanged."""
    ascending = all(a.time[-1] < b.time[0] for a, b in pairwise(pieces))
    if len({p.value.dtype for p in pieces}) == 1 and ascending:
        return [Samples(*(np.concatenate(a) for a in zip(*pieces, strict=True)))]
    return pieces


def _runs(time: np.ndarray, chosen: np.ndarray) -> list[tuple[int, int]]:
    """First and last time of each run of chosen samples that follow one another."""
    edges = np.flatnonzero(np.diff(chosen.astype(np.int8), prepend=0, append=0))
    return [(int(time[a]), int(time[b - 1])) for a, b in edges.reshape(-1, 2)]


def _advance(lasts: dict[str, int], readings: Readings) -> None:
    """Update each point's last time with these readings."""
    for point, samples in readings.items():
        lasts[point] = max(int(samples.time[-1]), lasts.get(point, int(samples.time[-1])))


def _revision_line(writer: str, site: str, day: int, revision: int) -> str:
    return f"{REVISIONS},site={site},writer={writer} n={float(revision)!r} {day * MS_PER_DAY}"


def _reader(
    url: str, database: str, folder: Path, token: str, org: str, timeout: float, back_off: tuple[float, float]
) -> InfluxStore:
    return InfluxStore(
        url, database, folder, token=token, org=org, timeout=timeout, back_off=back_off, send=False
    )
