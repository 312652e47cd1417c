"""Sign-in: first user, invitations, passwords, throttling, cookies and stored secrets."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select, update

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX, create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.accounts import AccountRefused, Accounts
from fieldfare.api.people.passwords import check_strength
from fieldfare.api.people.sign_in import SignIn
from fieldfare.api.people.throttle import (
    FREE_TRIES,
    LONGEST_WAIT,
    TooManyTries,
    wait_after,
)
from fieldfare.api.state.people_tables import FailedSignIn, Invitation, Person, SignedIn
from tests.api.web import OWN, PASSWORD, Web, make_web, signed_in


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


def test_the_first_user_is_made_once_at_the_printed_address(either_service: Service) -> None:
    accounts = Accounts(either_service.database)
    secret = accounts.first_user_secret()
    assert secret is not None
    with pytest.raises(AccountRefused):
        accounts.make_first_user("guess", "boss@heating.example", "Boss", PASSWORD)
    assert accounts.make_first_user(secret, "boss@heating.example", "Boss", PASSWORD).role == "installer"
    with pytest.raises(AccountRefused):
        accounts.make_first_user(secret, "evil@heating.example", "Evil", PASSWORD)
    assert accounts.first_user_secret() is None


def test_a_weak_first_password_does_not_use_the_address_up(service: Service) -> None:
    accounts = Accounts(service.database)
    secret = accounts.first_user_secret()
    assert secret is not None
    with pytest.raises(InputError, match="12 to 128"):
        accounts.make_first_user(secret, "boss@heating.example", "Boss", "short")
    accounts.make_first_user(secret, "boss@heating.example", "Boss", PASSWORD)


def test_an_invitation_is_good_once_and_for_a_week(web: Web) -> None:
    person = (
        web["installer"]
        .post(f"{PREFIX}/people", json={"email": "new@heating.example", "name": "New", "role": "engineer"})
        .json()
    )
    address = web["installer"].post(f"{PREFIX}/people/{person['id']}/invitation").json()["address"]
    path = address.removeprefix("http://127.0.0.1:8080")
    assert web["nobody"].get(path).status_code == 200
    done = web["nobody"].post(path, data={"password": PASSWORD}, follow_redirects=False)
    assert done.status_code == 303
    again = web["nobody"].post(path, data={"password": "another good long one"}, follow_redirects=False)
    assert again.status_code == 410
    late = web.parts.accounts.invite(person["id"])
    with web.parts.service.database.write() as session:
        session.execute(update(Invitation).values(expires=datetime.now(UTC) - timedelta(seconds=1)))
    with pytest.raises(AccountRefused):
        web.parts.accounts.set_invited_password(late, PASSWORD)


@pytest.mark.parametrize(
    "password", ["short", "passwordpassword", "aaaaaaaaaaaaaaaa", "boss boss boss boss", "x" * 129]
)
def test_weak_passwords_are_refused(password: str) -> None:
    with pytest.raises(InputError):
        check_strength(password, "boss@heating.example")


def test_any_character_may_stand_in_a_password() -> None:
    check_strength("drei Wörter  ünd ☀", "boss@heating.example")


def test_wrong_and_unknown_are_refused_alike(web: Web) -> None:
    wrong = web["nobody"].post(
        f"{PREFIX}/session", json={"email": "engineer@heating.example", "password": "x"}
    )
    unknown = web["nobody"].post(f"{PREFIX}/session", json={"email": "who@heating.example", "password": "x"})
    nonsense = web["nobody"].post(f"{PREFIX}/session", json={"email": "who", "password": "x"})
    assert wrong.status_code == unknown.status_code == nonsense.status_code == 401
    assert wrong.json() == unknown.json() == nonsense.json()


def test_guessing_is_braked_for_the_account_even_with_the_right_password(web: Web) -> None:
    for _ in range(FREE_TRIES):
        answer = web["nobody"].post(
            f"{PREFIX}/session", json={"email": "engineer@heating.example", "password": "guess"}
        )
        assert answer.status_code == 401
    answer = web["nobody"].post(
        f"{PREFIX}/session", json={"email": "engineer@heating.example", "password": PASSWORD}
    )
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["Retry-After"]) <= 15
    assert web["engineer"].get(f"{PREFIX}/session").json()["role"] == "engineer"  # who is in stays in


def test_the_brake_is_let_go_after_its_wait(web: Web) -> None:
    sign_in = SignIn(web.parts.service.database)
    for _ in range(FREE_TRIES):
        with pytest.raises(AccountRefused):
            sign_in.sign_in("engineer@heating.example", "guess", "192.0.2.1")
    with pytest.raises(TooManyTries):
        sign_in.sign_in("engineer@heating.example", PASSWORD, "192.0.2.2")
    with web.parts.service.database.write() as session:
        session.execute(update(FailedSignIn).values(last=datetime.now(UTC) - timedelta(seconds=16)))
    assert sign_in.sign_in("engineer@heating.example", PASSWORD, "192.0.2.2")


def test_waits_double_and_have_an_end() -> None:
    waits = [wait_after(n, 5).total_seconds() for n in range(4, 20)]
    assert waits[:5] == [0, 15, 30, 60, 120]
    assert waits[-1] == LONGEST_WAIT.total_seconds()


def test_no_secret_is_kept_as_it_is(web: Web) -> None:
    secret = web["engineer"].cookies["fieldfare"]
    token = web["device"].headers["Authorization"].removeprefix("Bearer ")
    database = web.parts.settings.data / "state.sqlite"
    web.parts.service.database.close()
    kept = b"".join(path.read_bytes() for path in database.parent.glob("state.sqlite*"))
    for word in (secret, token, PASSWORD):
        assert word.encode() not in kept
    assert b"$argon2id$" in kept


def test_the_cookie_is_out_of_reach(web: Web) -> None:
    answer = web["nobody"].post(
        f"{PREFIX}/session", json={"email": "engineer@heating.example", "password": PASSWORD}
    )
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Path=/" in cookie


def test_behind_tls_the_cookie_is_secure_and_bound_to_the_host(service: Service) -> None:
    service.settings = replace(service.settings, public_url="https://heat.example")
    parts = AppState(service)
    person = parts.accounts.add("boss@heating.example", "Boss", "installer")
    parts.accounts.set_password(person.id, PASSWORD)
    client = TestClient(create_app(parts), base_url="https://heat.example")
    answer = client.post(f"{PREFIX}/session", json={"email": "boss@heating.example", "password": PASSWORD})
    assert answer.headers["Strict-Transport-Security"].startswith("max-age=31536000")
    assert client.get(f"{PREFIX}/session").json()["role"] == "installer"
    assert answer.headers["Set-Cookie"].startswith("__Host-fieldfare=")
    assert "Secure" in answer.headers["Set-Cookie"]


def test_signing_out_ends_the_session_not_just_the_cookie(web: Web) -> None:
    secret = web["engineer"].cookies["fieldfare"]
    answer = web["engineer"].delete(f"{PREFIX}/session")
    assert answer.status_code == 204
    assert answer.headers["Clear-Site-Data"] == '"cache", "storage"'
    web["nobody"].cookies["fieldfare"] = secret
    assert web["nobody"].get(f"{PREFIX}/sites").status_code == 401


@pytest.mark.usefixtures("real_hashes")
def test_an_older_hash_is_renewed_at_signing_in(web: Web) -> None:
    from argon2 import PasswordHasher

    def kept(new: str = "") -> str:
        with web.parts.service.database.write() as session:
            person = session.scalars(select(Person).where(Person.email == "engineer@heating.example")).one()
            person.password = new or person.password
            return str(person.password)

    older = kept(PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash(PASSWORD))
    assert web.parts.sign_in.check_password("engineer@heating.example", PASSWORD, "192.0.2.1")
    assert kept() != older
    assert not PasswordHasher().check_needs_rehash(kept())


def test_signing_in_ends_the_session_before_it(web: Web) -> None:
    before = web["engineer"].cookies["fieldfare"]
    signed_in(web["engineer"], "engineer@heating.example")
    web["nobody"].cookies["fieldfare"] = before
    assert web["nobody"].get(f"{PREFIX}/sites").status_code == 401


def test_an_idle_session_ends(web: Web) -> None:
    with web.parts.service.database.write() as session:
        session.execute(update(SignedIn).values(seen=datetime.now(UTC) - timedelta(hours=13)))
    assert web["engineer"].get(f"{PREFIX}/sites").status_code == 401
    assert (
        web["link"].get(f"{PREFIX}/sites/{OWN}").status_code == 200
    )  # a home's link is looked at now and then


def test_a_changed_password_ends_every_session(web: Web) -> None:
    body = {"old": PASSWORD, "new": "other words that do not fit"}
    wrong = web["engineer"].post(f"{PREFIX}/session/password", json={**body, "old": "guess"})
    assert wrong.status_code == 401
    assert web["engineer"].post(f"{PREFIX}/session/password", json=body).status_code == 204
    assert web["engineer"].get(f"{PREFIX}/sites").status_code == 401
    signed_in(web["engineer"], "engineer@heating.example", body["new"])


def test_a_link_becomes_a_session_and_leaves_the_address(web: Web) -> None:
    made = web["installer"].post(f"{PREFIX}/sites/{OWN}/links", json={"days": 3}).json()
    path = made["address"].removeprefix("http://127.0.0.1:8080")
    answer = web["nobody"].get(path, follow_redirects=False)
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/sites/{OWN}")
    assert web["nobody"].get(f"{PREFIX}/session").json()["sites"] == [OWN]


def test_a_forged_link_is_refused(web: Web) -> None:
    answer = web["nobody"].get("/home/IjAwMDAi.forged", follow_redirects=False)
    assert answer.status_code == 401


def test_signing_in_by_the_form(web: Web) -> None:
    form = {"email": "engineer@heating.example", "password": PASSWORD}
    assert web["nobody"].post("/sign-in", data={**form, "password": "no"}).status_code == 401
    answer = web["nobody"].post("/sign-in", data=form, follow_redirects=False)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")


def test_what_was_done_is_in_the_audit_trail(web: Web) -> None:
    web["engineer"].post(f"{PREFIX}/sites/{OWN}/works", json={"day": "2026-01-06", "what": "curve lowered"})
    rows = web["installer"].get(f"{PREFIX}/audit").json()["items"]
    assert ("engineer@heating.example", "work entered", OWN) in [
        (r["who"], r["action"], r["site"]) for r in rows
    ]
    assert PASSWORD not in str(rows)
    web["nobody"].post(f"{PREFIX}/session", json={"email": "engineer@heating.example", "password": "guess"})
    newest, *_ = web["installer"].get(f"{PREFIX}/audit").json()["items"]
    assert (newest["action"], newest["who"]) == ("sign-in refused", "")
    looks = [r for r in rows if r["action"] == "looked" and r["site"] == OWN]
    assert len({r["who"] for r in looks}) == len(looks)  # once an hour, not at every request


@pytest.mark.parametrize(
    ("header", "code", "title"),
    [("de-DE,de;q=0.9", "de", "Anmelden"), ("fr", "fr", "Se connecter"), ("nl", "en", "Sign in")],
)
def test_the_page_is_in_the_browser_s_language(web: Web, header: str, code: str, title: str) -> None:
    """Content-Language and Vary: RFC 9110, 8.5 and 12.5.5."""
    asked = {"Accept-Language": header}
    answer = web["householder"].get("/sign-in", headers=asked)
    assert f"<h1>{title}</h1>" in answer.text
    home = web["householder"].get(f"/sites/{OWN}/home", headers=asked)
    office = web["installer"].get(f"/sites/{OWN}", headers=asked)
    for page in (answer, home):
        assert f'<html lang="{code}">' in page.text
        assert page.headers["Content-Language"] == code
        assert "Accept-Language" in page.headers["Vary"]
    assert '<html lang="en">' in office.text, "the firm's pages are English"
