"""Handbook pages over HTTP: who may read them, and an entry that does not exist."""

from __future__ import annotations

import pytest

from fieldfare.api.core.service import Service
from tests.api.web import OWN, Web, make_web


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


@pytest.mark.parametrize("path", ["/handbook", "/handbook/short_cycling", "/handbook/no_such_entry"])
def test_whoever_may_see_a_home_may_read_the_handbook(web: Web, path: str) -> None:
    found = 404 if path.endswith("no_such_entry") else 200
    statuses = {r: web[r].get(path, follow_redirects=False).status_code for r in web.clients}
    assert statuses == {
        "installer": found,
        "engineer": found,
        "householder": found,
        "link": found,
        "device": 403,
        "nobody": 303,
    }


def test_an_unknown_entry_is_a_sentence_on_a_page(web: Web) -> None:
    answer = web["installer"].get("/handbook/no_such_entry", headers={"Accept": "text/html"})
    assert "The handbook has no entry" in answer.text.replace("&#39;", "'")


def test_pages_link_to_the_handbook(web: Web) -> None:
    page = web["installer"].get(f"/sites/{OWN}").text
    assert 'href="/handbook/heat"' in page
    assert 'href="/handbook"' in page
