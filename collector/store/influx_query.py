"""InfluxQL over `/query`: the read path that InfluxDB 1.x, 2.x and 3.x share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any
from urllib.parse import urlencode

import numpy as np
import orjson
import urllib3

from fieldfare.analysis.errors import FieldfareError
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.store.merge import as_text, concatenated, overlay
from fieldfare.collector.store.protocol import PointSpan

READINGS, REVISIONS = "reading", "revision"
NUMBER, TEXT = "v", "text"
_CHUNK = 20_000


class ServerAway(FieldfareError):
    """The time-series server is unreachable or does not answer; accepted readings wait on disk."""


class ServerRefused(FieldfareError):
    """The time-series server refused the request."""


class InfluxQuery:
    """Queries to one database.

    token : str; `user:password` for a 1.x server
    """

    def __init__(self, url: str, database: str, token: str, timeout: float) -> None:
        self._url, self._database = url.rstrip("/"), database
        self._http = urllib3.PoolManager(
            timeout=urllib3.Timeout(connect=min(3.0, timeout), read=timeout), retries=False, maxsize=4
        )
        self._headers = {"Accept": "application/json", "Accept-Encoding": "gzip"}
        if ":" in token:
            self._headers |= urllib3.make_headers(basic_auth=token)
        elif token:
            self._headers["Authorization"] = f"Token {token}"

    def ask(self, statement: str, *, change: bool = False) -> Iterator[dict[str, Any]]:
        """Yield the result series of a statement, in pieces. Raises ServerAway, ServerRefused."""
        fields = {
            "db": self._database,
            "q": statement,
            "epoch": "ms",
            "chunked": "true",
            "chunk_size": str(_CHUNK),
        }
        try:
            answer = self._http.request(
                "POST" if change else "GET",
                f"{self._url}/query?{urlencode(fields)}",
                headers=self._headers,
                preload_content=False,
            )
            try:
                if answer.status >= 400:
                    text = answer.data.decode(errors="replace").strip()[:300]
                    kind = ServerAway if answer.status >= 500 or answer.status == 429 else ServerRefused
                    raise kind(f"time-series server: {answer.status} {text}")
                for document in _documents(answer):
                    yield from _series(document)
            finally:
                answer.release_conn()
        except urllib3.exceptions.HTTPError as error:
            raise ServerAway(f"time-series server {self._url}: {error}") from error

    def readings(
        self, site: str, points: Iterable[str] | None, start: int | None, end: int | None
    ) -> Readings:
        """Readings with start <= time < end [ms]."""
        where = _where(site, points, start, end)
        out: Readings = {}
        for field in (NUMBER, TEXT):
            parts: dict[str, list[Samples]] = {}
            statement = f'SELECT "{field}" FROM "{READINGS}" WHERE {where} GROUP BY "point"'  # noqa: S608
            for series in self.ask(statement):
                samples = _samples(series["values"], field)
                if len(samples.time):
                    parts.setdefault(series["tags"]["point"], []).append(samples)
            out = overlay(concatenated(parts), out)
        return out

    def spans(self, site: str) -> dict[str, PointSpan]:
        """All points with readings, and their spans."""
        out: dict[str, PointSpan] = {}
        for field in (NUMBER, TEXT):
            counts = self._by_point(f'count("{field}")', site)
            firsts, lasts = (
                self._by_point(f'first("{field}")', site),
                self._by_point(f'last("{field}")', site),
            )
            for point, (_, count) in counts.items():
                if point not in firsts or point not in lasts:
                    continue
                first, last = firsts[point][0], lasts[point][0]
                if point in out:  # a point that changed from numbers to text
                    both = self.readings(site, [point], None, None)[point]
                    out[point] = PointSpan(len(both.time), int(both.time[0]), int(both.time[-1]))
                else:
                    out[point] = PointSpan(int(count), first, last)
        return out

    def count(self, site: str, point: str, start: int | None, end: int | None) -> int:
        """Number of readings of a point with start <= time < end [ms]."""
        where = _where(site, [point], start, end)
        total = 0
        for field in (NUMBER, TEXT):
            for series in self.ask(f'SELECT count("{field}") FROM "{READINGS}" WHERE {where}'):  # noqa: S608
                total += int(series["values"][0][1] or 0)
        return total

    def lasts(self, site: str) -> dict[str, int]:
        """Point -> time of its last reading [ms]."""
        out: dict[str, int] = {}
        for field in (NUMBER, TEXT):
            for point, (time, _) in self._by_point(f'last("{field}")', site).items():
                out[point] = max(time, out.get(point, time))
        return out

    def _by_point(self, selector: str, site: str) -> dict[str, tuple[int, Any]]:
        where = _where(site, None, None, None)
        out = {}
        statement = f'SELECT {selector} FROM "{READINGS}" WHERE {where} GROUP BY "point"'  # noqa: S608
        for series in self.ask(statement):
            time, value = series["values"][0][:2]
            if value is not None:
                out[series["tags"]["point"]] = (int(time), value)
        return out

    def revisions(self, site: str) -> dict[str, dict[int, int]]:
        """Writer -> UTC day -> revision."""
        out: dict[str, dict[int, int]] = {}
        where = _where(site, None, None, None)
        statement = f'SELECT "n" FROM "{REVISIONS}" WHERE {where} GROUP BY "writer"'  # noqa: S608
        for series in self.ask(statement):
            days = out.setdefault(series["tags"]["writer"], {})
            for time, value in series["values"]:
                if value is not None:
                    days[int(time) // MS_PER_DAY] = int(value)
        return out

    def forget(self, site: str) -> None:
        """Delete a site. Raises ServerRefused where the server can't.

        1.x drops the series; 2.x has no DROP SERIES and deletes their points; 3.x can do neither for one
        site.
        """
        for measurement in (READINGS, REVISIONS):
            what = f'FROM "{measurement}" WHERE "site" = {_quoted(site)}'
            try:
                list(self.ask(f"DROP SERIES {what}", change=True))
            except ServerRefused as first:
                try:
                    list(self.ask(f"DELETE {what}", change=True))
                except ServerRefused:
                    raise ServerRefused(
                        f"this server can't remove one site's readings ({first}); "
                        "drop and refill its database, or let its retention period pass"
                    ) from first

    def delete(self, site: str, point: str, start: int, end: int) -> None:
        """Delete a point's readings with start <= time < end [ms]. Raises ServerRefused where the server
        can't (3.x)."""
        where = f'{_where(site, None, start, end)} AND "point" = {_quoted(point)}'
        try:
            list(self.ask(f'DELETE FROM "{READINGS}" WHERE {where}', change=True))  # noqa: S608
        except ServerRefused as error:
            raise ServerRefused(f"this server can't remove single readings ({error})") from error

    def close(self) -> None:
        self._http.clear()


def _documents(answer: Any) -> Iterator[dict[str, Any]]:
    """The JSON documents of an answer, one per line if it is chunked."""
    rest = b""
    for piece in answer.stream(1 << 16, decode_content=True):
        *lines, rest = (rest + piece).split(b"\n")
        for line in lines:
            if line.strip():
                yield orjson.loads(line)
    if rest.strip():
        yield orjson.loads(rest)


def _series(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    if "error" in document:
        raise ServerRefused(f"time-series server: {document['error']}")
    for result in document.get("results", ()):
        if "error" in result:
            raise ServerRefused(f"time-series server: {result['error']}")
        yield from result.get("series", ())


def _samples(rows: list[list[Any]], field: str) -> Samples:
    rows = [r for r in rows if r[1] is not None]
    time = np.array([r[0] for r in rows], dtype=np.int64)
    if field == TEXT:
        return Samples(time, as_text(np.array([r[1] for r in rows], dtype=object)))
    return Samples(time, np.array([r[1] for r in rows], dtype=np.float64))


def _where(site: str, points: Iterable[str] | None, start: int | None, end: int | None) -> str:
    parts = [f'"site" = {_quoted(site)}']
    if points is not None:
        parts.append("(" + " OR ".join(f'"point" = {_quoted(p)}' for p in sorted(points)) + ")")
    if start is not None:
        parts.append(f"time >= {int(start)}ms")
    if end is not None:
        parts.append(f"time < {int(end)}ms")
    return " AND ".join(parts)


def _quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
