"""The user's account: access, sessions, passwords, notices, and what responses reveal to others."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import select

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people import passwords
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.state.work_tables import Notice
from tests.api.test_second_factor import ENGINEER, enrol, fresh
from tests.api.web import PASSWORD, Web, make_web


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


PAGES = [
    ("GET", "/account", None),
    ("POST", "/account/password", {"old": "x", "new": "y"}),
    ("POST", "/account/app", {}),
    ("POST", "/account/app/confirm", {"code": "123456"}),
    ("POST", "/account/passkey", {}),
    ("POST", "/account/passkey/confirm", {"credential": "{}"}),
    ("POST", "/account/factors/0123456789abcdef/remove", {}),
    ("POST", "/account/codes", {}),
    ("POST", "/account/sessions/0123456789abcdef/end", {}),
    ("POST", "/account/sessions/end", {}),
    ("POST", "/confirm", {"where": "/", "password": "x"}),
]


@pytest.mark.parametrize(("method", "path", "form"), PAGES)
def test_each_page_of_the_account_is_for_people_and_their_own_forms(
    web: Web, method: str, path: str, form: dict[str, str] | None
) -> None:
    for role in ("installer", "engineer", "householder", "link", "device", "nobody"):
        client = web[role]
        data = None if form is None else {**form, "csrf": client.headers.get("X-CSRF-Token", "")}
        answer = client.request(method, path, data=data, follow_redirects=False)
        if role in ("device", "nobody"):
            assert (answer.status_code, answer.headers.get("location")) == (303, "/sign-in"), role
        elif role == "link":
            assert answer.status_code == 403
        else:
            assert answer.status_code in (200, 303, 401, 409, 422), role
            if form is not None:
                stolen = client.request(method, path, data={**form, "csrf": "x"}, follow_redirects=False)
                assert stolen.status_code == 403


def test_nobody_ends_or_removes_what_is_another_s(web: Web) -> None:
    enrol(web, "engineer")
    engineer = web.parts.accounts.find(ENGINEER).id
    factor = web.parts.factors.of_person(engineer)[0].id
    theirs = web.parts.sessions.of_person(engineer)[0].id
    client = web["installer"]
    csrf = {"csrf": client.headers["X-CSRF-Token"]}
    assert client.post(f"/account/factors/{factor}/remove", data=csrf).status_code == 422
    assert client.post(f"/account/sessions/{theirs}/end", data=csrf).status_code == 422
    assert web["engineer"].get(f"{PREFIX}/session").json()["role"] == "engineer"


def test_own_sessions_are_listed_and_ended(web: Web) -> None:
    person = web.parts.accounts.find(ENGINEER).id
    others = [web.parts.sign_in.open_for_person(person) for _ in range(2)]
    client = web["engineer"]
    csrf = {"csrf": client.headers["X-CSRF-Token"]}
    assert client.get("/account").text.count("last seen") == 3
    rows = [
        r
        for r in web.parts.sessions.of_person(person)
        if web.parts.sign_in.live_session(others[0]).key[:16] == r.id
    ]
    client.post(f"/account/sessions/{rows[0].id}/end", data=csrf)
    assert [web.parts.sign_in.live_session(s) is None for s in others] == [True, False]
    client.post("/account/sessions/end", data=csrf)
    assert web.parts.sign_in.live_session(others[1]) is None
    assert client.get("/account").text.count("last seen") == 1


def test_changing_the_password_on_the_page_ends_the_other_sessions(web: Web) -> None:
    person = web.parts.accounts.find(ENGINEER).id
    other = web.parts.sign_in.open_for_person(person)
    client = web["engineer"]
    form = {"csrf": client.headers["X-CSRF-Token"], "old": PASSWORD, "new": "a long enough new one"}
    assert client.post("/account/password", data=form | {"old": "wrong"}).status_code == 422
    client.cookies.clear()
    client.cookies["fieldfare"] = web.parts.sign_in.open_for_person(person)
    form["csrf"] = web.parts.sign_in.live_session(client.cookies["fieldfare"]).csrf
    assert client.post("/account/password", data=form, follow_redirects=False).status_code == 303
    assert web.parts.sign_in.live_session(other) is None


def test_a_sign_in_from_a_new_device_is_told_by_mail(service: Service) -> None:
    web = make_web(service, mail_url="smtp://localhost:2525")
    client = fresh(web)
    body = {"email": ENGINEER, "password": PASSWORD}
    for _ in range(2):  # the second time the device is known
        assert client.post(f"{PREFIX}/session", json=body).status_code == 200
    with service.database.read() as session:
        letters = list(session.scalars(select(Notice).where(Notice.kind == "account")))
    assert [(n.receiver, n.subject) for n in letters] == [(ENGINEER, "New sign-in to your account")]
    assert "testclient" in letters[0].body  # where it came from
    enrol(web, "engineer")
    with service.database.read() as session:
        subjects = set(session.scalars(select(Notice.subject).where(Notice.kind == "account")))
    assert "A second factor was added" in subjects


def test_accounts_that_are_and_are_not_there_cost_the_same_work(
    web: Web, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One Argon2 check each: known, unknown, without a password, stopped."""
    checks: list[str] = []
    real = passwords._hasher()

    class Counting:
        def verify(self, kept: str, given: str) -> bool:
            checks.append(kept)
            return real.verify(kept, given)

        def hash(self, password: str) -> str:
            return real.hash(password)

        def check_needs_rehash(self, kept: str) -> bool:
            return real.check_needs_rehash(kept)

    monkeypatch.setattr(passwords, "_hasher", Counting)
    web.parts.accounts.add("invited@heating.example", "Invited", "engineer")
    stopped = web.parts.accounts.find(ENGINEER).id
    web.parts.accounts.change(stopped, active=False)
    for email in ("installer@heating.example", "who@heating.example", "invited@heating.example", ENGINEER):
        checks.clear()
        with pytest.raises(AccountRefused, match="e-mail or password is wrong"):
            web.parts.sign_in.check_password(email, "guess", "192.0.2.1")
        assert len(checks) == 1, email


@pytest.mark.parametrize(
    "password",
    ["mypassword123", "qwertyuiop123456", "Fieldfare2026!", "heatpumpheatpump1", "123456789012345"],
)
def test_leaked_and_predictable_passwords_are_refused(password: str) -> None:
    with pytest.raises(InputError, match=r"leaked|guessed"):
        passwords.check_strength(password, "boss@heating.example")


def test_every_leaked_password_of_the_list_that_is_long_enough_is_refused() -> None:
    long = [p for p in passwords._leaked() if len(p) >= passwords.SHORTEST]
    assert len(long) > 200
    for password in long:
        with pytest.raises(InputError, match="leaked"):
            passwords.check_strength(password)


def test_the_operator_resets_a_lost_second_factor(
    web: Web, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from fieldfare.api.cli.entry import run

    enrol(web, "engineer")
    folder = str(web.parts.settings.data)
    assert run(["--data", folder, "user", "reset-factors", ENGINEER]) == 0
    assert "removed 1 second factor of" in capsys.readouterr().out
    assert web["engineer"].get(f"{PREFIX}/session").json()["role"] == "nobody"
    body = {"email": ENGINEER, "password": PASSWORD}
    assert fresh(web).post(f"{PREFIX}/session", json=body).status_code == 200


def test_settings_take_two_words(service: Service) -> None:
    from fieldfare.api.core.settings import Settings

    assert Settings.from_env({"FIELDFARE_SECOND_FACTOR": "required"}).second_factor == "required"
    with pytest.raises(InputError, match="optional or required"):
        Settings.from_env({"FIELDFARE_SECOND_FACTOR": "yes"})
    assert replace(service.settings).second_factor == "optional"
    assert AppState(service).factors.site.host in ("127.0.0.1", "localhost")
