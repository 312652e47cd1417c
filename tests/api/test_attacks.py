"""Attacks: parallel guesses, lock-out of others, large bodies, streams that outlive their link."""

from __future__ import annotations

import asyncio
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest
from sqlalchemy import func, select

from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.http.middleware.guards import LARGEST_OF_NOBODY
from fieldfare.api.people import passwords, throttle
from fieldfare.api.people import sign_in as sign_in_module
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.sign_in import UNKNOWN_ACCOUNTS, SignIn
from fieldfare.api.people.throttle import FREE_TRIES, TooManyTries
from fieldfare.api.state.people_tables import FailedSignIn
from tests.api.web import OWN, PASSWORD, Web, make_web

ENGINEER = "engineer@heating.example"


@pytest.fixture
def web(service: Service, monkeypatch: pytest.MonkeyPatch) -> Web:
    """Hashing is slow by intent; here the throttle is tried, not the hash."""
    monkeypatch.setattr(
        sign_in_module, "is_password", lambda kept, password: kept is not None and password == PASSWORD
    )
    return make_web(service)


def guess(sign_in: SignIn, email: str, address: str, password: str = "guess", device: str = "") -> str:
    try:
        return sign_in.sign_in(email, password, address, device).secret
    except TooManyTries:
        return "throttled"
    except AccountRefused:
        return "refused"


def test_parallel_guesses_are_braked_like_guesses_in_a_row(either_service: Service) -> None:
    web = make_web(either_service)
    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(lambda n: guess(web.parts.sign_in, ENGINEER, f"192.0.2.{n}"), range(60)))
    assert answers.count("refused") == FREE_TRIES
    assert answers.count("throttled") == 60 - FREE_TRIES


def test_guesses_from_elsewhere_do_not_lock_a_known_device_out(web: Web) -> None:
    sign_in = web.parts.sign_in
    first = web["nobody"].post(f"{PREFIX}/session", json={"email": ENGINEER, "password": PASSWORD})
    device = first.cookies["fieldfare-device"]
    for n in range(20):
        guess(sign_in, ENGINEER, f"192.0.2.{n}")
    assert guess(sign_in, ENGINEER, "198.51.100.7", PASSWORD) == "throttled"
    assert guess(sign_in, ENGINEER, "198.51.100.7", PASSWORD, device) not in ("throttled", "refused")
    assert guess(sign_in, "installer@heating.example", "198.51.100.8", PASSWORD, device) not in ("throttled",)
    tries = [guess(sign_in, ENGINEER, "192.0.2.1", device=device) for _ in range(FREE_TRIES + 3)]
    assert tries.count("refused") == FREE_TRIES  # a stolen device is no way round the throttle


def test_a_forged_device_is_no_way_round_the_brake(web: Web) -> None:
    tries = [guess(web.parts.sign_in, ENGINEER, "192.0.2.1", device=f"[1,{n}].x.y") for n in range(12)]
    assert tries.count("refused") == FREE_TRIES


def test_one_address_with_many_failures_leaves_others_behind_it_a_known_device(web: Web) -> None:
    person = next(p for p in web.parts.accounts.all() if p.email == ENGINEER)
    device = web.parts.sign_in.device_cookie(person.id)
    for n in range(60):
        guess(web.parts.sign_in, f"who{n}@heating.example", "203.0.113.5")
    assert guess(web.parts.sign_in, ENGINEER, "203.0.113.5", PASSWORD) == "throttled"
    assert guess(web.parts.sign_in, ENGINEER, "203.0.113.5", PASSWORD, device) not in ("throttled", "refused")


def test_signing_in_right_does_not_use_up_an_address(web: Web) -> None:
    for _ in range(40):
        assert guess(web.parts.sign_in, ENGINEER, "203.0.113.6", PASSWORD) not in ("throttled", "refused")


def test_the_counts_can_not_be_filled_without_end(web: Web, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sign_in_module, "is_password", lambda *_: False)
    monkeypatch.setattr(throttle, "MOST_COUNTS", 300)
    for n in range(900):
        guess(web.parts.sign_in, f"who{n}@heating.example", f"10.{n // 250}.0.{n % 250}")
    with web.parts.service.database.read() as session:
        kept = session.scalar(select(func.count()).select_from(FailedSignIn)) or 0
    assert kept <= 300
    assert UNKNOWN_ACCOUNTS < 1000


def test_an_ipv6_network_is_one_address(web: Web) -> None:
    tries = [guess(web.parts.sign_in, f"who{n}@heating.example", f"2001:db8::{n:x}") for n in range(60)]
    assert tries.count("throttled") > 20


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


def test_a_crowd_at_the_door_takes_a_bounded_share_of_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each hash takes 64 MB (RFC 9106's second recommended option)."""
    at_work, most, lock = 0, 0, threading.Lock()

    class Hasher:
        def verify(self, kept: str, given: str) -> bool:
            nonlocal at_work, most
            with lock:
                at_work += 1
                most = max(most, at_work)
            time.sleep(0.01)
            with lock:
                at_work -= 1
            return False

        def hash(self, password: str) -> str:
            return str(self.verify("", password))

    monkeypatch.setattr(passwords, "_hasher", Hasher)
    monkeypatch.setattr(passwords, "_decoy", str)
    with ThreadPoolExecutor(24) as pool:
        list(pool.map(lambda n: passwords.is_password("kept", str(n)), range(24)))
        list(pool.map(lambda n: passwords.hash_password(str(n)), range(24)))
    assert 1 < most <= passwords._AT_ONCE._initial_value  # type: ignore[attr-defined]
    assert passwords.PasswordHasher().memory_cost == 65_536  # KiB


def test_health_answers_while_every_thread_of_the_pages_is_taken(
    web: Web, monkeypatch: pytest.MonkeyPatch
) -> None:
    release, begun = threading.Event(), threading.Semaphore(0)

    def wait(*_: object, **__: object) -> int:
        begun.release()
        release.wait(30)
        raise AccountRefused("no")

    monkeypatch.setattr(web.parts.sign_in, "check_password", wait)

    async def run() -> int:
        transport = httpx.ASGITransport(web["nobody"].app)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            body = {"email": ENGINEER, "password": "x"}
            held = [asyncio.create_task(client.post(f"{PREFIX}/session", json=body)) for _ in range(60)]
            try:
                for _ in range(40):
                    while not begun.acquire(blocking=False):
                        await asyncio.sleep(0.05)
                answer = await asyncio.wait_for(client.get("/healthz"), 10)
            finally:
                release.set()
                await asyncio.gather(*held)
            return answer.status_code

    assert asyncio.run(run()) == 200
