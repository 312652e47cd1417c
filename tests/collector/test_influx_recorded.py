"""The time-series store's two calls against responses as documented by the servers.

InfluxDB 1.8, 2.x and 3.x can't be installed here, so their answers are played back. Sources:
docs.influxdata.com, "Query data with the InfluxDB API" (v1.8), "/query 1.x compatibility API" (v2), "Query
data" (InfluxDB 3 Core), "Line protocol", "Write API".
"""

from __future__ import annotations

import base64
import gzip
import json
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from fieldfare.analysis.readings import Samples
from fieldfare.collector.store.influx import InfluxStore
from fieldfare.collector.store.influx_query import InfluxQuery, ServerAway, ServerRefused

T = 1_767_225_600_000
_ROWS = [[T, 2.0], [T + 60_000, 0.55], [T + 120_000, 0.64]]
# What the documentation shows for one statement; in chunks 1.8 sends a document a line, `partial` on all but
# the last.
FORMS: dict[str, list[dict[str, Any]]] = {
    "1.8": [
        {
            "results": [
                {
                    "statement_id": 0,
                    "series": [
                        {"name": "reading", "tags": {"point": "p"}, "columns": ["time", "v"], "values": _ROWS}
                    ],
                }
            ]
        }
    ],
    "1.8 in chunks": [
        {
            "results": [
                {
                    "statement_id": 0,
                    "series": [
                        {
                            "name": "reading",
                            "tags": {"point": "p"},
                            "columns": ["time", "v"],
                            "values": _ROWS[:2],
                            "partial": True,
                        }
                    ],
                    "partial": True,
                }
            ]
        },
        {
            "results": [
                {
                    "statement_id": 0,
                    "series": [
                        {
                            "name": "reading",
                            "tags": {"point": "p"},
                            "columns": ["time", "v"],
                            "values": _ROWS[2:],
                        }
                    ],
                }
            ]
        },
    ],
    "2.x": [
        {
            "results": [
                {
                    "statement_id": 0,
                    "series": [
                        {"name": "reading", "tags": {"point": "p"}, "columns": ["time", "v"], "values": _ROWS}
                    ],
                }
            ]
        }
    ],
    "3.x": [
        {
            "results": [
                {
                    "series": [
                        {"columns": ["time", "v"], "name": "reading", "tags": {"point": "p"}, "values": _ROWS}
                    ]
                }
            ]
        }
    ],
}
REFUSALS = {
    "1.8": (401, {"error": "authorization failed"}),
    "2.x": (401, {"code": "unauthorized", "message": "unauthorized access"}),
    "2.x without a mapping": (404, {"code": "not found", "message": "no dbrp mapping found"}),
    "3.x": (401, {"error": "the request was not authenticated"}),
}
LINE = re.compile(
    r'^(reading|revision)(,[a-z]+=(?:[^ ,=]|\\[ ,=])+)+ [a-z]+=(?:[-+0-9.eE]+|\d+i|"(?:[^"\\]|\\.)*") \d+$'
)
"""One line of line protocol: measurement, tags, one field, a timestamp."""


@dataclass
class Played:
    url: str = ""
    answers: list[dict[str, Any]] = field(default_factory=list)
    status: int = 200
    asked: list[dict[str, str]] = field(default_factory=list)
    written: list[str] = field(default_factory=list)
    writes: list[dict[str, str]] = field(default_factory=list)


@contextmanager
def played() -> Iterator[Played]:
    held = Played()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            address = urlsplit(self.path)
            query = {k: v[0] for k, v in parse_qs(address.query).items()}
            held.asked.append({"path": address.path, "auth": self.headers.get("Authorization", ""), **query})
            wanted = '"v"' in query["q"] or held.status >= 400
            found = held.answers if wanted else [{"results": [{"statement_id": 0}]}]
            self._send("\n".join(json.dumps(a) for a in found).encode(), held.status)

        def do_POST(self) -> None:
            address, body = urlsplit(self.path), self.rfile.read(int(self.headers["Content-Length"]))
            if self.headers.get("Content-Encoding") == "gzip":
                body = gzip.decompress(body)
            query = {k: v[0] for k, v in parse_qs(address.query).items()}
            held.writes.append({"path": address.path, "auth": self.headers.get("Authorization", ""), **query})
            held.written += body.decode().splitlines()
            self._send(b"", 204)

        def _send(self, body: bytes, status: int) -> None:
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    held.url = f"http://127.0.0.1:{server.server_port}"
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield held
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.parametrize("form", FORMS)
def test_documented_answers_are_read(form: str) -> None:
    with played() as server:
        server.answers = FORMS[form]
        found = InfluxQuery(server.url, "fleet", "a-token", 5.0).readings("alder-row", ["p"], T, T + 200_000)
        np.testing.assert_array_equal(found["p"].time, [row[0] for row in _ROWS])
        np.testing.assert_array_equal(found["p"].value, [row[1] for row in _ROWS])
        asked = server.asked[0]
    assert (asked["path"], asked["db"], asked["epoch"], asked["chunked"]) == ("/query", "fleet", "ms", "true")
    assert asked["q"].startswith('SELECT "v" FROM "reading" WHERE "site" = \'alder-row\'')


@pytest.mark.parametrize(
    ("token", "sent"),
    [("abc==", "Token abc=="), ("kim:secret", "Basic " + base64.b64encode(b"kim:secret").decode()), ("", "")],
)
def test_credentials_go_as_documented(token: str, sent: str) -> None:
    """2.x and 3.x: the scheme Token; 1.8: Basic."""
    with played() as server:
        list(InfluxQuery(server.url, "fleet", token, 5.0).ask('SELECT "v" FROM "reading"'))
        assert server.asked[0]["auth"] == sent


@pytest.mark.parametrize("kind", REFUSALS)
def test_documented_refusals_are_told(kind: str) -> None:
    with played() as server:
        server.status, answer = REFUSALS[kind]
        server.answers = [answer]
        with pytest.raises(ServerRefused, match=str(server.status)):
            list(InfluxQuery(server.url, "fleet", "t", 5.0).ask("SHOW DATABASES"))


@pytest.mark.parametrize("status", [429, 500, 503])
def test_a_busy_or_broken_server_is_away(status: int) -> None:
    with played() as server:
        server.status = status
        with pytest.raises(ServerAway):
            list(InfluxQuery(server.url, "fleet", "t", 5.0).ask("SHOW DATABASES"))


def test_an_error_inside_an_answer_is_told() -> None:
    """As 1.8 and 2.x document it: status 200, the error in its statement."""
    with played() as server:
        server.answers = [{"results": [{"statement_id": 0, "error": "database not found: fleet"}]}]
        with pytest.raises(ServerRefused, match="database not found"):
            list(InfluxQuery(server.url, "fleet", "t", 5.0).ask('SELECT "v" FROM "reading"'))


def test_what_is_written_is_line_protocol_at_the_documented_path(tmp_path: Path) -> None:
    with played() as server:
        store = InfluxStore(server.url, "fleet", tmp_path, token="a-token", org="firm", back_off=(0.05, 0.2))
        time_ms = np.array([T, T + 60_000])
        store.append("alder-row", {"p": Samples(time_ms, np.array([2.0, 0.5]))})
        words = np.array(['say "hi"\\', "a, b = c"], dtype=object)
        store.append("alder-row", {"fault": Samples(time_ms, words)})
        until = time.monotonic() + 30
        while time.monotonic() < until and sum("fault" in line for line in server.written) < 2:
            time.sleep(0.05)
        store.close()
        writes, lines = server.writes[0], server.written
    assert (writes["path"], writes["bucket"], writes["org"]) == ("/api/v2/write", "fleet", "firm")
    assert writes["auth"] == "Token a-token"
    assert writes["precision"] in ("ms", "ns")
    assert [line for line in lines if not LINE.match(line)] == []
    unit = 1 if writes["precision"] == "ms" else 1_000_000
    assert any(
        line.startswith("reading,") and "point=p" in line and line.endswith(f" {T * unit}") for line in lines
    )
