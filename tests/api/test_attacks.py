"""What strangers try: guesses in parallel, locking others out, big bodies, streams that outlive their
link."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from sqlalchemy import func, select

from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.http.middleware.guards import LARGEST_OF_NOBODY
from fieldfare.api.people import brake
from fieldfare.api.people import sign_in as sign_in_module
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.brake import FREE_TRIES, TooManyTries
from fieldfare.api.people.sign_in import UNKNOWN_ACCOUNTS, SignIn
from fieldfare.api.state.people_tables import FailedSignIn
from tests.api.web import OWN, PASSWORD, Web, make_web

ENGINEER = "engineer@heating.example"


@pytest.fixture
def web(service: Service, monkeypatch: pytest.MonkeyPatch) -> Web:
    """Hashing is slow by intent; here the brake is tried, not the hash."""
    monkeypatch.setattr(
        sign_in_module, "is_password", lambda kept, password: kept is not None and password == PASSWORD
    )
    return make_web(service)


def guess(sign_in: SignIn, email: str, address: str, password: str = "guess", device: str = "") -> str:
    try:
        return sign_in.sign_in(email, password, address, device).secret
    except TooManyTries:
        return "braked"
    except AccountRefused:
        return "refused"


def test_parallel_guesses_are_braked_like_guesses_in_a_row(either_service: Service) -> None:
    web = make_web(either_service)
    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(lambda n: guess(web.parts.sign_in, ENGINEER, f"192.0.2.{n}"), range(60)))
    assert answers.count("refused") == FREE_TRIES
    assert answers.count("braked") == 60 - FREE_TRIES


def test_guesses_from_elsewhere_do_not_lock_a_known_device_out(web: Web) -> None:
    sign_in = web.parts.sign_in
    first = web["nobody"].post(f"{PREFIX}/session", json={"email": ENGINEER, "password": PASSWORD})
    device = first.cookies["fieldfare-device"]
    for n in range(20):
        guess(sign_in, ENGINEER, f"192.0.2.{n}")
    assert guess(sign_in, ENGINEER, "198.51.100.7", PASSWORD) == "braked"
    assert guess(sign_in, ENGINEER, "198.51.100.7", PASSWORD, device) not in ("braked", "refused")
    assert guess(sign_in, "installer@heating.example", "198.51.100.8", PASSWORD, device) not in ("braked",)
    tries = [guess(sign_in, ENGINEER, "192.0.2.1", device=device) for _ in range(FREE_TRIES + 3)]
    assert tries.count("refused") == FREE_TRIES  # a stolen device is no way round the brake


def test_a_forged_device_is_no_way_round_the_brake(web: Web) -> None:
    tries = [guess(web.parts.sign_in, ENGINEER, "192.0.2.1", device=f"[1,{n}].x.y") for n in range(12)]
    assert tries.count("refused") == FREE_TRIES


def test_one_address_with_many_failures_leaves_others_behind_it_a_known_device(web: Web) -> None:
    person = next(p for p in web.parts.accounts.all() if p.email == ENGINEER)
    device = web.parts.sign_in.device_cookie(person.id)
    for n in range(60):
        guess(web.parts.sign_in, f"who{n}@heating.example", "203.0.113.5")
    assert guess(web.parts.sign_in, ENGINEER, "203.0.113.5", PASSWORD) == "braked"
    assert guess(web.parts.sign_in, ENGINEER, "203.0.113.5", PASSWORD, device) not in ("braked", "refused")


def test_signing_in_right_does_not_use_up_an_address(web: Web) -> None:
    for _ in range(40):
        assert guess(web.parts.sign_in, ENGINEER, "203.0.113.6", PASSWORD) not in ("braked", "refused")


def test_the_counts_can_not_be_filled_without_end(web: Web, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sign_in_module, "is_password", lambda *_: False)
    monkeypatch.setattr(brake, "MOST_COUNTS", 300)
    for n in range(900):
        guess(web.parts.sign_in, f"who{n}@heating.example", f"10.{n // 250}.0.{n % 250}")
    with web.parts.service.database.read() as session:
        kept = session.scalar(select(func.count()).select_from(FailedSignIn)) or 0
    assert kept <= 300
    assert UNKNOWN_ACCOUNTS < 1000


def test_an_ipv6_network_is_one_address(web: Web) -> None:
    tries = [guess(web.parts.sign_in, f"who{n}@heating.example", f"2001:db8::{n:x}") for n in range(60)]
    assert tries.count("braked") > 20


def test_braked_tries_leave_one_line_an_hour_in_the_trail(web: Web) -> None:
    for _ in range(40):
        web["nobody"].post(f"{PREFIX}/session", json={"email": ENGINEER, "password": "guess"})
    rows = web["installer"].get(f"{PREFIX}/audit?limit=200").json()["items"]
    assert sum(r["action"] == "sign-in refused" for r in rows) == FREE_TRIES + 1


@pytest.mark.parametrize("headers", [{}, {"Authorization": "Bearer forged"}], ids=["nobody", "forged token"])
def test_nobody_may_send_much(web: Web, headers: dict[str, str]) -> None:
    body = b"x" * (LARGEST_OF_NOBODY + 1)
    path = f"{PREFIX}/sites/{OWN}/readings"
    assert web["nobody"].post(path, content=body, headers=headers).status_code == 413
    chunks = (b"x" * 10_000 for _ in range(20))
    assert web["nobody"].post(path, content=chunks, headers=headers).status_code in (401, 413)
    assert web["nobody"].post("/sign-in", data={"email": ENGINEER, "password": PASSWORD}).status_code == 200


def test_a_device_may_send_as_much_as_before(web: Web) -> None:
    rows: list[dict[str, Any]] = [{"n": "hp", "u": "W", "v": 1.0, "t": 1.7e9 + n} for n in range(3000)]
    answer = web["device"].post(f"{PREFIX}/sites/{OWN}/readings", json=rows)
    assert answer.status_code != 413


def test_a_live_stream_ends_with_its_link(web: Web) -> None:
    (link,) = web.parts.links.of_site(OWN)
    seen = []
    with web["link"].stream("GET", f"{PREFIX}/sites/{OWN}/live?seconds=8") as stream:
        for line in stream.iter_lines():
            seen.append(line)
            if line.startswith("event: readings"):
                web.parts.links.revoke(OWN, link.id)
    assert any(line.startswith("event: readings") for line in seen)
    assert web["link"].get(f"{PREFIX}/sites/{OWN}").status_code == 401
