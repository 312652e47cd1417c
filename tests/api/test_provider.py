"""Sign-in with the firm's provider: only invited people, only with a token signed for this sign-in."""

from __future__ import annotations

import html
import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from joserfc.jwk import RSAKey

from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX, create_app
from fieldfare.api.people.provider import _challenge
from tests.api.oidc_provider import CLIENT, SECRET, LocalProvider, local_provider, way_back
from tests.api.test_second_factor import age
from tests.api.web import Web, make_web

ENGINEER = "engineer@heating.example"


@pytest.fixture
def provider() -> Iterator[LocalProvider]:
    with local_provider() as made:
        yield made


@pytest.fixture
def web(service: Service, provider: LocalProvider) -> Web:
    return make_web(
        service,
        provider_url=provider.issuer,
        provider_client=CLIENT,
        provider_secret=SECRET,
        internal_hosts="127.0.0.0/8",
        second_factor="required",
        public_url="http://localhost",
    )


def begin(client: TestClient, **form: str) -> str:
    page = client.post("/sign-in/provider", data=form)
    assert page.status_code == 200, page.text
    found = re.search(r'<a href="(http[^"]+authorize[^"]+)"', page.text)
    assert found is not None
    return html.unescape(found[1])


def fresh(web: Web) -> TestClient:
    return TestClient(create_app(web.parts), base_url="http://localhost", raise_server_exceptions=False)


def role(client: TestClient) -> str:
    return str(client.get(f"{PREFIX}/session").json()["role"])


def test_the_challenge_is_that_of_rfc_7636() -> None:
    """RFC 7636, appendix B."""
    made = _challenge("dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk")
    assert made == "E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM"


def test_an_invited_person_comes_in(web: Web, provider: LocalProvider) -> None:
    client = fresh(web)
    answer = provider.authorize(begin(client), "Engineer@Heating.example")
    done = client.get(way_back(answer), follow_redirects=False)
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert role(client) == "engineer"
    assert client.get(f"{PREFIX}/sites").status_code == 200  # the second factor is the provider's matter
    again = client.get(way_back(answer), follow_redirects=False)
    assert again.status_code == 401  # the answer is good once


@pytest.mark.parametrize(
    "claims",
    [
        {"email": "stranger@heating.example"},
        {"email_verified": False},
        {"email_verified": "true"},
        {"email": ""},
        {"nonce": "another"},
        {"aud": "another service"},
        {"aud": [CLIENT, "another"], "azp": "another"},
        {"iss": "http://evil.example"},
        {"exp": int(time.time()) - 3600},
    ],
)
def test_what_the_provider_must_say(web: Web, provider: LocalProvider, claims: dict[str, Any]) -> None:
    client = fresh(web)
    answer = provider.authorize(begin(client), ENGINEER, claims)
    assert client.get(way_back(answer)).status_code == 401
    assert role(client) == "nobody"


def test_a_token_of_another_key_is_refused(web: Web, provider: LocalProvider) -> None:
    client = fresh(web)
    provider.signs_with = RSAKey.generate_key(2048, {"kid": "one"})
    assert client.get(way_back(provider.authorize(begin(client), ENGINEER))).status_code == 401


@pytest.mark.parametrize("change", [{"state": "another"}, {"iss": "http://evil.example"}, {"code": ""}])
def test_an_answer_that_is_not_of_this_sign_in_is_refused(
    web: Web, provider: LocalProvider, change: dict[str, str]
) -> None:
    client = fresh(web)
    answer = provider.authorize(begin(client), ENGINEER) | change
    assert client.get(way_back(answer)).status_code == 401


def test_another_browser_s_answer_is_refused(web: Web, provider: LocalProvider) -> None:
    """Nobody can be made to sign in as somebody else."""
    answer = provider.authorize(begin(fresh(web)), ENGINEER)
    victim = fresh(web)
    assert victim.get(way_back(answer)).status_code == 401
    begin(victim)
    assert victim.get(way_back(answer)).status_code == 401


def test_a_stopped_person_stays_out(web: Web, provider: LocalProvider) -> None:
    web.parts.accounts.change(web.parts.accounts.find(ENGINEER).id, active=False)
    client = fresh(web)
    assert client.get(way_back(provider.authorize(begin(client), ENGINEER))).status_code == 401


def test_one_confirms_with_the_provider_where_it_asked_again(web: Web, provider: LocalProvider) -> None:
    client = fresh(web)
    client.get(way_back(provider.authorize(begin(client), "installer@heating.example")))
    csrf = client.get(f"{PREFIX}/session").json()["csrf"]
    headers, body = {"X-CSRF-Token": csrf}, {"email": "a@b.example", "name": "A", "role": "engineer"}
    age(web)
    assert client.post(f"{PREFIX}/people", json=body, headers=headers).status_code == 403
    for claims, wanted in (
        ({}, 401),
        ({"auth_time": int(time.time()) - 7200}, 401),
        ({"auth_time": int(time.time())}, 303),
    ):
        address = begin(client, csrf=csrf)
        assert "prompt=login" in address
        answer = provider.authorize(address, "installer@heating.example", claims)
        assert client.get(way_back(answer), follow_redirects=False).status_code == wanted
    assert client.post(f"{PREFIX}/people", json=body, headers=headers).status_code == 201


def test_a_private_provider_must_be_allowed_by_the_operator(
    service: Service, provider: LocalProvider
) -> None:
    web = make_web(service, provider_url=provider.issuer, provider_client=CLIENT)
    page = fresh(web).post("/sign-in/provider")
    assert page.status_code == 503
    assert "FIELDFARE_INTERNAL_HOSTS" in page.text
    assert provider.asked == []


def test_redirects_and_endless_answers_of_a_provider_are_refused(web: Web, provider: LocalProvider) -> None:
    provider.redirects_to = f"{provider.issuer}/elsewhere"
    assert "it answered 302" in fresh(web).post("/sign-in/provider").text
    assert "/elsewhere" not in provider.asked
    provider.redirects_to, provider.padding = "", 3_000_000
    assert "too large" in fresh(web).post("/sign-in/provider").text


def test_a_provider_that_names_another_issuer_is_refused(service: Service, provider: LocalProvider) -> None:
    """OpenID Connect Discovery 1.0, 4.3."""
    issuer, provider.issuer = provider.issuer, "http://evil.example"
    web = make_web(service, provider_url=issuer, provider_client=CLIENT, internal_hosts="127.0.0.0/8")
    page = fresh(web).post("/sign-in/provider")
    assert page.status_code == 503
    assert "another issuer" in page.text


def test_without_a_provider_there_is_no_button(service: Service) -> None:
    web = make_web(service)
    client = fresh(web)
    assert "/sign-in/provider" not in client.get("/sign-in").text
    assert client.post("/sign-in/provider").status_code == 404
    assert client.get("/sign-in/provider/done").status_code == 404
