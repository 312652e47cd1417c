"""The application with accounts, and a client for each."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from fastapi.testclient import TestClient

from fieldfare.api.core.service import Service
from fieldfare.api.http.app import create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.passwords import hash_password
from fieldfare.api.state.people_tables import Person
from tests.api.conftest import add_site
from tests.api.sites import readings

PASSWORD = "four odd words together"
OWN, OTHER = "alder-row", "beech-end"
"""The householder's home, and one that is none of theirs."""
ROLES = ("installer", "engineer", "householder", "link", "device", "nobody")


@dataclass
class Web:
    """`clients` by role; each sends its session's second secret by itself."""

    parts: AppState
    clients: dict[str, TestClient] = field(default_factory=dict)

    def __getitem__(self, role: str) -> TestClient:
        return self.clients[role]


def make_web(service: Service, **settings: Any) -> Web:
    """Two homes with readings; an installer, an engineer, a householder of one home, its link, and its
    gateway."""
    service.settings = replace(service.settings, **settings)
    for site in (OWN, OTHER):
        add_site(service, site)
        service.store.append(site, readings(3))
    parts = AppState(service)
    app = create_app(parts)
    web = Web(parts)

    def client(**headers: str) -> TestClient:
        return TestClient(app, base_url="http://localhost", headers=headers, raise_server_exceptions=False)

    for role, sites in (("installer", []), ("engineer", []), ("householder", [OWN])):
        person = parts.accounts.add(f"{role}@heating.example", role.title(), role, sites)
        with service.database.write() as session:
            session.get_one(Person, person.id).password = hashed(PASSWORD)
        web.clients[role] = with_session(client(), parts, parts.sign_in.open_for_person(person.id))
    _, text = parts.links.make(OWN, 30, "installer@heating.example")
    link = parts.links.open(text)
    web.clients["link"] = with_session(client(), parts, parts.sign_in.open_for_link(link.id))
    _, secret = parts.tokens.make("gateway", "readings", OWN, 30)
    web.clients["device"] = client(Authorization=f"Bearer {secret}")
    web.clients["nobody"] = client()
    return web


@lru_cache
def hashed(password: str) -> str:
    """Hashing is slow by intent: once for all tests."""
    return hash_password(password)


def with_session(client: TestClient, parts: AppState, secret: str) -> TestClient:
    visit = parts.sign_in.live_session(secret)
    assert visit is not None
    client.cookies["fieldfare"] = secret
    client.headers["X-CSRF-Token"] = visit.csrf
    return client


def signed_in(client: TestClient, email: str, password: str = PASSWORD) -> TestClient:
    answer = client.post("/api/v1/session", json={"email": email, "password": password})
    assert answer.status_code == 200, answer.text
    client.headers["X-CSRF-Token"] = answer.json()["csrf"]
    return client
