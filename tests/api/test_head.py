"""HEAD on every route with a GET (RFC 9110, 9.3.2), and the end of streams without a reader."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from fastapi.routing import iter_route_contexts

from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app import PREFIX
from fieldfare.dashboards import assets
from tests.api.web import OWN, Web, make_web

FILL = {
    "site_id": OWN,
    "kind": "month",
    "period": "2026-01",
    "key": "short_cycling",
    "name": "heat",
    "question": "cold",
    "day": "2026-01-05",
    "path": "pages.css",
}


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    with opened(Settings(data=tmp_path_factory.mktemp("web"), workers=1)) as service:
        yield make_web(service)


def addresses(web: Web) -> list[str]:
    """An address for each route that answers GET."""
    found = {
        c.path for c in iter_route_contexts(web["nobody"].app.routes) if "GET" in (c.methods or ()) and c.path
    }
    return sorted(re.sub(r"\{(\w+)(?::\w+)?\}", lambda m: FILL.get(m[1], "1"), path) for path in found)


def test_each_get_answers_head_with_the_same_headers_and_no_content(web: Web) -> None:
    tried = [at for at in addresses(web) if not at.endswith("/live") or at == "/live"]
    assert len(tried) > 90
    assert {"/", f"/sites/{OWN}", f"{PREFIX}/sites", "/sw.js", "/static/plotly.js"} <= set(tried)
    wrong = []
    for at in [*tried, assets.address("pages.css"), "/nowhere"]:
        got = web["installer"].get(at, follow_redirects=False)
        head = web["installer"].head(at, follow_redirects=False)
        same = [(r.status_code, r.headers.get("content-type")) for r in (got, head)]
        if same[0] != same[1] or head.content or got.status_code == 405:
            wrong.append((at, same))
    assert wrong == []


def test_a_page_s_head_has_its_length_and_tag(web: Web) -> None:
    got, head = (web["installer"].request(m, "/handbook") for m in ("GET", "HEAD"))
    assert got.headers["etag"] == head.headers["etag"]
    assert head.headers.get("content-length") == got.headers.get("content-length")
    again = web["installer"].head("/handbook", headers={"If-None-Match": head.headers["etag"]})
    assert again.status_code == 304


def test_a_stream_ends_after_its_head(web: Web) -> None:
    head = web["installer"].head(f"{PREFIX}/sites/{OWN}/live?seconds=600")
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["content-type"].startswith("text/event-stream")


def test_a_head_is_not_let_in_where_a_get_is_not(web: Web) -> None:
    assert web["nobody"].head(f"{PREFIX}/sites").status_code == 401
    assert web["householder"].head("/people").status_code == web["householder"].get("/people").status_code
