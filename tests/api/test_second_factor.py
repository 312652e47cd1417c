"""Second factors: authenticator codes, recovery codes, required factors, confirmation."""

from __future__ import annotations

import html
import re
import time
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
import segno
from fastapi.testclient import TestClient
from sqlalchemy import select, update

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX, create_app
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.secrets import Sealer
from fieldfare.api.people.sessions import CONFIRMED_FOR
from fieldfare.api.people.throttle import FREE_TRIES
from fieldfare.api.state.people_tables import SecondFactor, SignedIn
from tests.api.web import OWN, PASSWORD, Web, make_web

ENGINEER = "engineer@heating.example"


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


def enrol(web: Web, role: str) -> tuple[pyotp.TOTP, list[str]]:
    """Add an authenticator app on the pages. Returns it and the recovery codes."""
    client = web[role]
    page = client.post("/account/app", data={"csrf": client.headers["X-CSRF-Token"]}).text
    found = re.search(r'class="secret">([A-Z2-7 ]+)<', page)
    assert found is not None
    app = pyotp.TOTP(found[1].replace(" ", ""))
    done = client.post(
        "/account/app/confirm",
        data={"csrf": client.headers["X-CSRF-Token"], "code": app.now(), "name": "phone"},
    )
    assert done.status_code == 200, done.text
    return app, re.findall(r"<code>([A-Z2-9-]+)</code>", done.text)


def test_the_key_is_also_a_qr_code_of_the_same_address(web: Web) -> None:
    """The squares on the page are the symbol of the address beside it (ISO/IEC 18004, error level M)."""
    client = web["engineer"]
    page = client.post("/account/app", data={"csrf": client.headers["X-CSRF-Token"]}).text
    link = re.search(r'href="(otpauth://[^"]+)"', page)
    drawn = re.search(r'<svg[^>]*class="qr"[^>]*>.*?</svg>', page)
    assert link is not None
    assert drawn is not None
    assert "style=" not in drawn[0], "the page's policy allows no inline styles"
    assert "<title>QR code of the key</title>" in drawn[0]
    path = re.search(r' d="([^"]+)"', drawn[0].split("<path")[-1])
    assert path is not None
    expected = segno.make(html.unescape(link[1]), error="m", micro=False)
    assert dark_squares(path[1]) == {
        (x, y) for y, row in enumerate(expected.matrix_iter(border=4)) for x, dark in enumerate(row) if dark
    }


def dark_squares(path: str) -> set[tuple[int, int]]:
    """The unit squares under a path of horizontal strokes (SVG commands M, m, h)."""
    x = y = 0.0
    squares: set[tuple[int, int]] = set()
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", path):
        values = [float(n) for n in re.findall(r"-?\d*\.?\d+", numbers)]
        if command == "h":
            squares |= {(int(x) + i, int(y)) for i in range(int(values[0]))}
            x += values[0]
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            x, y = values
    return squares


def later(app: pyotp.TOTP, steps: int = 1) -> str:
    """A code that is good and was not used yet: the next half minute's."""
    return app.generate_otp(int(time.time()) // 30 + steps)


def begin(web: Web, role: str) -> TestClient:
    """A new browser after the password."""
    client = fresh(web)
    answer = client.post(
        "/sign-in", data={"email": f"{role}@heating.example", "password": PASSWORD}, follow_redirects=False
    )
    assert answer.headers["location"] == "/sign-in/second"
    return client


def fresh(web: Web) -> TestClient:
    return TestClient(create_app(web.parts), base_url="http://localhost", raise_server_exceptions=False)


def age(web: Web, by: timedelta = CONFIRMED_FOR * 2) -> None:
    """Let time pass since people showed who they are."""
    with web.parts.service.database.write() as session:
        session.execute(update(SignedIn).values(proved=datetime.now(UTC) - by))


def renew(client: TestClient, answer: Any) -> str:
    """Take up a renewed cookie as a browser does. Returns the one before."""
    before = client.cookies["fieldfare"] if len(client.cookies) == 1 else web_cookie(client)
    fresh_one = answer.cookies["fieldfare"]
    client.cookies.clear()
    client.cookies["fieldfare"] = fresh_one
    return before


def web_cookie(client: TestClient) -> str:
    """The cookie that a test put there itself, beside one that an answer set."""
    return next(str(c.value) for c in client.cookies.jar if c.name == "fieldfare" and not c.domain)


def second(client: TestClient, code: str) -> Any:
    return client.post("/sign-in/second", data={"code": code}, follow_redirects=False)


def test_the_codes_are_those_of_rfc_6238() -> None:
    """RFC 6238, appendix B, SHA-1, T = 59 s: the last six digits of 94287082."""
    assert pyotp.TOTP("GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ").generate_otp(59 // 30) == "287082"


def test_a_password_alone_opens_nothing_once_there_is_a_second_factor(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    client = begin(web, "engineer")
    assert client.get(f"{PREFIX}/session").json()["role"] == "nobody"
    assert client.get("/", follow_redirects=False).headers["location"] == "/sign-in"
    before = client.cookies["fieldfare"]
    assert second(client, "000000").status_code == 401
    assert second(client, later(app)).status_code == 303
    assert client.cookies["fieldfare"] != before  # a new session, not the half-open one
    assert client.get(f"{PREFIX}/session").json()["role"] == "engineer"


def test_a_code_is_good_once(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    code = later(app)
    assert second(begin(web, "engineer"), code).status_code == 303
    assert second(begin(web, "engineer"), code).status_code == 401


def test_the_code_that_added_the_app_signs_nobody_in(web: Web) -> None:
    step = int(time.time()) // 30
    app, _ = enrol(web, "engineer")
    assert second(begin(web, "engineer"), app.generate_otp(step)).status_code == 401


def test_codes_too_old_or_too_early_are_refused(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    for steps in (-3, 3):
        assert second(begin(web, "engineer"), later(app, steps)).status_code == 401


def test_a_recovery_code_is_good_once_and_kept_as_a_hash(web: Web) -> None:
    _, codes = enrol(web, "engineer")
    assert len(codes) == 10
    assert all(len(c.replace("-", "")) == 24 for c in codes)
    assert second(begin(web, "engineer"), codes[3].lower()).status_code == 303
    assert second(begin(web, "engineer"), codes[3]).status_code == 401
    path = web.parts.settings.data / "state.sqlite"
    kept = b"".join(p.read_bytes() for p in path.parent.glob("state.sqlite*"))
    assert codes[0].encode() not in kept
    assert codes[0].replace("-", "").encode() not in kept


def test_an_authenticator_s_secret_is_encrypted_in_the_database(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    with web.parts.service.database.read() as session:
        kept = session.scalars(select(SecondFactor.secret)).one()
    assert app.secret not in kept
    assert Sealer("another key").open(kept) is None


def test_guessing_codes_is_braked_for_the_person(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    client = begin(web, "engineer")
    answers = [second(client, "123456").status_code for _ in range(FREE_TRIES)]
    assert set(answers) == {401}
    braked = second(client, later(app))
    assert "oo many failed attempts" in braked.text
    with pytest.raises(InputError, match="too many"):  # a new start with the password doesn't lift it
        web.parts.sign_in.check_factor(2, lambda person: "totp", "198.51.100.9")


def test_the_second_step_ends_after_five_minutes(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    client = begin(web, "engineer")
    with web.parts.service.database.write() as session:
        past = datetime.now(UTC) - timedelta(seconds=1)
        session.execute(update(SignedIn).where(SignedIn.pending).values(expires=past))
    assert second(client, later(app)).status_code == 401
    assert client.get("/sign-in/second", follow_redirects=False).headers["location"] == "/sign-in"


def test_a_program_sends_the_code_with_the_password(web: Web) -> None:
    app, _ = enrol(web, "engineer")
    body = {"email": ENGINEER, "password": PASSWORD}
    refused = fresh(web).post(f"{PREFIX}/session", json=body)
    assert (refused.status_code, "second factor" in refused.text) == (401, True)
    client = fresh(web)
    assert client.post(f"{PREFIX}/session", json=body | {"code": later(app)}).status_code == 200
    assert client.get(f"{PREFIX}/session").json()["role"] == "engineer"


def test_a_new_password_by_invitation_is_no_way_round_the_second_factor(web: Web) -> None:
    enrol(web, "engineer")
    person = web.parts.accounts.find(ENGINEER).id
    client = fresh(web)
    path = f"/welcome/{web.parts.accounts.invite(person)}"
    answer = client.post(path, data={"password": "another good long one"}, follow_redirects=False)
    assert answer.headers["location"] == "/sign-in"
    assert client.get(f"{PREFIX}/session").json()["role"] == "nobody"


def test_adding_a_factor_ends_the_other_sessions(web: Web) -> None:
    person = web.parts.accounts.find(ENGINEER).id
    other = web.parts.sign_in.open_for_person(person)
    enrol(web, "engineer")
    assert web.parts.sign_in.live_session(other) is None
    assert web["engineer"].get(f"{PREFIX}/session").json()["role"] == "engineer"


def test_removing_the_last_factor_removes_its_recovery_codes(web: Web) -> None:
    _, codes = enrol(web, "engineer")
    client, person = web["engineer"], web.parts.accounts.find(ENGINEER).id
    factor = web.parts.factors.of_person(person)[0].id
    csrf = {"csrf": client.headers["X-CSRF-Token"]}
    assert client.post(f"/account/factors/{factor}/remove", data=csrf).status_code == 200
    assert web.parts.factors.codes_left(person) == 0
    with pytest.raises(AccountRefused):
        web.parts.factors.check_code(person, codes[0])


def test_where_the_firm_asks_for_it_nothing_is_seen_before_a_second_factor(service: Service) -> None:
    web = make_web(service, second_factor="required")
    for role in ("installer", "engineer"):
        client = web[role]
        assert client.get("/", follow_redirects=False).headers["location"] == "/account"
        assert client.get(f"/sites/{OWN}", follow_redirects=False).headers["location"] == "/account"
        assert client.get(f"{PREFIX}/sites").json()["type"] == "/problems/enrol-first"
        assert "asks for a second factor" in client.get("/account").text
    assert web["householder"].get(f"{PREFIX}/sites").status_code == 200
    enrol(web, "engineer")
    assert web["engineer"].get(f"{PREFIX}/sites").status_code == 200
    person = web.parts.accounts.find(ENGINEER).id
    factor = web.parts.factors.of_person(person)[0].id
    csrf = {"csrf": web["engineer"].headers["X-CSRF-Token"]}
    assert "add another before" in web["engineer"].post(f"/account/factors/{factor}/remove", data=csrf).text


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("POST", "/people", {"email": "new@heating.example", "name": "New", "role": "engineer"}),
        ("DELETE", "/people/2", None),
        ("POST", "/people/2/invitation", None),
        ("POST", f"/sites/{OWN}/links", {"days": 3}),
        ("POST", "/devices", {"name": "gw", "purpose": "readings", "site": OWN}),
        ("DELETE", f"/sites/{OWN}", None),
        ("POST", f"/sites/{OWN}/erase", {"confirm": OWN}),
    ],
)
def test_people_links_and_deletion_ask_again_who_is_there(
    web: Web, method: str, path: str, body: Any
) -> None:
    age(web)
    client = web["installer"]
    refused = client.request(method, PREFIX + path, json=body)
    assert (refused.status_code, refused.json()["type"]) == (403, "/problems/confirm-first")
    assert client.get(f"{PREFIX}/people").status_code == 200  # reading goes on
    wrong = client.post(f"{PREFIX}/session/confirm", json={"password": "guess"})
    assert wrong.status_code == 401
    confirmed = client.post(f"{PREFIX}/session/confirm", json={"password": PASSWORD})
    assert confirmed.status_code == 204
    before = renew(client, confirmed)
    assert web.parts.sign_in.live_session(before) is None  # the session goes on under a new secret
    assert client.request(method, PREFIX + path, json=body).status_code in (200, 201, 204)


def test_a_form_is_not_lost_when_one_must_confirm(web: Web) -> None:
    age(web)
    client = web["installer"]
    csrf = client.headers["X-CSRF-Token"]
    form = {"csrf": csrf, "email": "sam@home.example", "name": 'Sam "the" <Owner>'}
    asked = client.post(f"/sites/{OWN}/householder", data=form)
    assert asked.status_code == 403
    kept = re.search(r'name="kept" value="([^"]*)"', asked.text)
    assert kept is not None
    import html

    sent = {
        "csrf": csrf,
        "password": PASSWORD,
        "where": f"/sites/{OWN}/householder",
        "kept": html.unescape(kept[1]),
    }
    go_on = client.post("/confirm", data=sent)
    assert go_on.status_code == 200
    renew(client, go_on)
    assert f'action="/sites/{OWN}/householder"' in go_on.text
    assert 'value="Sam &#34;the&#34; &lt;Owner&gt;"' in go_on.text
    assert client.post(f"/sites/{OWN}/householder", data=form).status_code == 200


@pytest.mark.parametrize("where", ["//evil.example", "https://evil.example", "/\\evil.example", ""])
def test_confirming_leads_nowhere_else(web: Web, where: str) -> None:
    form = {"csrf": web["installer"].headers["X-CSRF-Token"], "password": PASSWORD, "where": where}
    assert web["installer"].post("/confirm", data=form).status_code == 422


def test_confirming_asks_for_the_second_factor_too(web: Web) -> None:
    app, _ = enrol(web, "installer")
    age(web)
    client = web["installer"]
    assert client.post(f"{PREFIX}/session/confirm", json={"password": PASSWORD}).status_code == 401
    body = {"password": PASSWORD, "code": later(app)}
    assert client.post(f"{PREFIX}/session/confirm", json=body).status_code == 204
