"""The application with people in it, and a client for each of them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from fastapi.testclient import TestClient

from api.http.app import create_app
from api.http.parts import Parts
from api.service import Service
from tests.api.conftest import add_site
from tests.api.plants import readings

PASSWORD = "four odd words together"
OWN, OTHER = "alder-row", "beech-end"
"""The householder's home, and one that is none of theirs."""
ROLES = ("installer", "engineer", "householder", "link", "device", "nobody")


@dataclass
class Web:
    """`clients` by role; each sends its session's second secret by itself."""

    parts: Parts
    clients: dict[str, TestClient] = field(default_factory=dict)

    def __getitem__(self, role: str) -> TestClient:
        return self.clients[role]


def make_web(service: Service, **settings: Any) -> Web:
    """Two homes with readings; an installer, an engineer, a householder of one home, its link, and its gateway."""
    service.settings = replace(service.settings, **settings)
    for site in (OWN, OTHER):
        add_site(service, site)
        service.store.append(site, readings(3))
    parts = Parts(service)
    app = create_app(parts)
    web = Web(parts)

    def client(**headers: str) -> TestClient:
        return TestClient(app, base_url="http://localhost", headers=headers, raise_server_exceptions=False)

    for role, sites in (("installer", []), ("engineer", []), ("householder", [OWN])):
        person = parts.accounts.add(f"{role}@heating.example", role.title(), role, sites)
        parts.accounts.set_password(person.id, PASSWORD)
        web.clients[role] = signed_in(client(), f"{role}@heating.example")
    _, text = parts.links.make(OWN, 30, "installer@heating.example")
    web.clients["link"] = client()
    web["link"].get(f"/home/{text}", follow_redirects=False)
    web["link"].headers["X-CSRF-Token"] = web["link"].get("/api/v1/session").json()["csrf"]
    _, secret = parts.tokens.make("gateway", "readings", OWN, 30)
    web.clients["device"] = client(Authorization=f"Bearer {secret}")
    web.clients["nobody"] = client()
    return web


def signed_in(client: TestClient, email: str, password: str = PASSWORD) -> TestClient:
    answer = client.post("/api/v1/session", json={"email": email, "password": password})
    assert answer.status_code == 200, answer.text
    client.headers["X-CSRF-Token"] = answer.json()["csrf"]
    return client
