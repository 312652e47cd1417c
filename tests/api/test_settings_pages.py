"""Pages of people, firm and personal settings: access, storage, redisplay."""

from __future__ import annotations

import io
import re
from html import unescape
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import Image

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.service import Service
from fieldfare.api.firm.logo import (
    HIGH_PX,
    LARGEST_KEPT,
    WIDE_PX,
    safe_logo,
)
from fieldfare.api.firm.personal_settings import PersonalSettings, personal_settings
from fieldfare.api.http.app import PREFIX
from tests.api.test_field_forms import send
from tests.api.web import OTHER, OWN, Web, make_web

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20"><path d="M0 0h40v20z" fill="#a33"/>{}</svg>'
)


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service, person_channels="json")


def number_of(web: Web, role: str) -> int:
    return web.parts.accounts.find(f"{role}@heating.example").id


def png(width: int = 900, height: int = 300) -> bytes:
    """A picture with a soft edge, as logos have."""
    image = Image.linear_gradient("L").resize((width, height)).convert("RGB")
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def noise() -> bytes:
    out = io.BytesIO()
    Image.merge("RGB", [Image.effect_noise((400, 140), 90) for _ in range(3)]).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("url", "form"),
    [
        ("/people", {"name": "Kim", "email": "kim@heating.example", "role": "engineer"}),
        ("/people/1", {"do": "stop"}),
        ("/settings/firm", {"name": "X"}),
        ("/settings/logo", {"do": "remove"}),
        (f"/sites/{OWN}/settings", {"do": "check", "site.name": "X"}),
    ],
)
def test_settings_are_the_installer_s(web: Web, url: str, form: dict[str, Any]) -> None:
    for role, code in (("engineer", 403), ("householder", 403), ("link", 403), ("nobody", 303)):
        assert send(web, role, url, form).status_code == code
    for csrf in ("", "guess"):
        assert send(web, "installer", url, form, csrf).status_code == 403
    assert len(web.parts.accounts.all()) == 3
    assert web.parts.service.firm.name == ""


@pytest.mark.parametrize("page", ["/people", "/people/1", "/settings/firm", f"/sites/{OWN}/settings"])
def test_the_pages_of_settings_are_the_installer_s(web: Web, page: str) -> None:
    got = {r: web[r].get(page, follow_redirects=False).status_code for r in web.clients}
    assert got == {
        "installer": 200,
        "engineer": 403,
        "householder": 403,
        "link": 403,
        "device": 403,
        "nobody": 303,
    }


def test_everybody_with_an_account_has_settings_and_nobody_else(web: Web) -> None:
    got = {r: web[r].get("/settings", follow_redirects=False).status_code for r in web.clients}
    assert got == {
        "installer": 200,
        "engineer": 200,
        "householder": 200,
        "link": 403,
        "device": 403,
        "nobody": 303,
    }
    assert "own calendar" not in web["householder"].get("/settings").text
    assert 'href="/settings"' not in web["link"].get(f"/sites/{OWN}/home").text


def test_a_householder_is_invited_given_a_second_home_and_loses_it(web: Web) -> None:
    form = {"name": "Robin", "email": "robin@heating.example", "role": "householder", "home": "alder row"}
    answer = send(web, "installer", "/people", form)
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    link = re.search(r'value="([^"]+/welcome/[^"]+)"', answer.text)
    assert link is not None
    row = web.parts.accounts.find("robin@heating.example")
    assert row.sites == (OWN,)
    url = f"/people/{row.id}"
    assert link[1] not in web["installer"].get(url).text, "it is shown once"
    assert send(web, "installer", url, {"do": "give", "home": OTHER}).status_code == 303
    assert web.parts.accounts.get(row.id).sites == (OWN, OTHER)
    assert send(web, "installer", url, {"do": f"take-{OWN}"}).status_code == 303
    assert web.parts.accounts.get(row.id).sites == (OTHER,)
    assert send(web, "installer", url, {"do": "stop"}).status_code == 303
    assert not web.parts.accounts.get(row.id).active
    assert send(web, "installer", url, {"do": "let-in"}).status_code == 303
    assert send(web, "installer", url, {"name": "Robin E.", "role": "engineer"}).status_code == 303
    assert (web.parts.accounts.get(row.id).role, web.parts.accounts.get(row.id).sites) == ("engineer", ())
    assert send(web, "installer", url, {"do": "remove"}).headers["location"] == "/people?removed=1"
    assert web["installer"].get(url).status_code == 404
    actions = [r.action for r in web.parts.audit.page(0, 20)[0]]
    assert {"person added", "person changed", "person removed"} <= set(actions)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"email": "nowhere"}, "not an e-mail"),
        ({"email": "engineer@heating.example"}, "already has an account"),
        ({"name": ""}, "1 to 120"),
        ({"role": "king"}, "unknown role"),
        ({"home": ""}, "name the home"),
        ({"home": "no <such>"}, "there is no home"),
        ({"home": "aldr row"}, "did you mean Alder Row?"),
    ],
)
def test_a_wrong_invitation_comes_back(web: Web, more: dict[str, str], said: str) -> None:
    form = {"name": "Robin", "email": "robin@heating.example", "role": "householder", "home": OWN, **more}
    answer = send(web, "installer", "/people", form)
    told = unescape(answer.text)
    assert (answer.status_code, said.lower() in told.lower()) == (422, True)
    assert f'value="{form["email"]}"' in told
    assert f'value="{form["home"]}"' in told
    assert len(web.parts.accounts.all()) == 3


def test_the_last_installer_stays(web: Web) -> None:
    url = f"/people/{number_of(web, 'installer')}"
    for form in ({"do": "remove"}, {"do": "stop"}, {"name": "I", "role": "engineer"}):
        answer = send(web, "installer", url, form)
        assert (answer.status_code, "no installer would be left" in answer.text.lower()) == (422, True)


def test_the_firm_stands_on_papers_letters_and_pages(web: Web) -> None:
    form = {"name": "Heron & Co", "contact": "01632 960999", "latitude": "52,1", "longitude": "-2.3"}
    assert send(web, "installer", "/settings/firm", form).status_code == 303
    assert web.parts.service.firm.position == (52.1, -2.3)
    assert send_logo(web, png()).status_code == 303
    paper = web["householder"].get(f"/sites/{OWN}/papers/month/2026-01").text
    assert "Heron &amp; Co" in paper
    logo = re.search(r'src="(/firm/logo\?v=[0-9a-f]+)"', paper)
    assert logo is not None
    shown = web["link"].get(logo[1])
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/png")
    assert "sandbox" in shown.headers["content-security-policy"]
    assert web["nobody"].get(logo[1], follow_redirects=False).status_code == 303
    alone = web["engineer"].get(f"{PREFIX}/sites/{OWN}/papers/hand-over/first?form=html").text
    assert "data:image/png;base64," in alone
    answered = web["householder"].get(f"/sites/{OWN}/answers/cold/paper").text
    assert "Heron &amp; Co" in answered
    assert logo[1] in answered
    told = web["engineer"].get(f"{PREFIX}/sites/{OWN}/papers/month/2026-01?form=json")
    assert told.json()["firm"] == {"name": "Heron & Co", "contact": "01632 960999"}
    assert "01632 960999" in web["householder"].get(f"/sites/{OWN}/home").text
    assert send(web, "installer", "/settings/logo", {"do": "remove"}).status_code == 303
    assert web.parts.service.firm.logo == b""
    assert "/firm/logo" not in web["householder"].get(f"/sites/{OWN}/papers/month/2026-01").text


def send_logo(web: Web, content: bytes) -> Any:
    client = web["installer"]
    secret = client.headers.pop("X-CSRF-Token")
    try:
        files = {"file": ("logo", content)}
        return client.post("/settings/logo", data={"csrf": secret}, files=files, follow_redirects=False)
    finally:
        client.headers["X-CSRF-Token"] = secret


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"latitude": "99", "longitude": "0"}, "latitude"),
        ({"latitude": "52"}, "go together"),
        ({"name": "x" * 130}, "up to 120"),
        ({"latitude": "north", "longitude": "1"}, "number"),
    ],
)
def test_a_wrong_field_of_the_firm_comes_back(web: Web, more: dict[str, str], said: str) -> None:
    form = {"name": "Heron", "contact": "call <us>", "latitude": "", "longitude": "", **more}
    answer = send(web, "installer", "/settings/firm", form)
    told = unescape(answer.text)
    assert (answer.status_code, said in told) == (422, True)
    assert "call <us>" in told
    assert web.parts.service.firm.name == ""


def test_a_png_is_drawn_anew_and_small() -> None:
    hidden = b"<script>alert(1)</script>"
    made = safe_logo(png() + hidden)
    assert (made.kind, hidden in made.content) == ("image/png", False)
    with Image.open(io.BytesIO(made.content)) as image:
        assert image.width <= WIDE_PX
        assert image.height <= HIGH_PX
    assert len(made.content) <= LARGEST_KEPT
    assert len(safe_logo(noise()).content) <= LARGEST_KEPT, "fewer colours where a picture is too rich"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"GIF89a" + b"0" * 50, "neither a PNG nor an SVG"),
        (b"x" * 600_000, "up to 500 kB"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 80, "damaged"),
        (b"<svg", "no XML"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "no size"),
        (SVG.format("<g/>").replace("http://www.w3.org/2000/svg", "urn:x").encode(), "namespace"),
        (
            (
                b'<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><svg'
                b' xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><title>&b;</title></svg>'
            ),
            "entities",
        ),
        (SVG.format("<g/>" * 3000).encode(), "more than 2000"),
        (
            b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><script>1</script></svg>',
            "draws nothing",
        ),
    ],
)
def test_what_is_no_logo_is_refused_with_one_line(content: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said) as found:
        safe_logo(content)
    assert "\n" not in str(found.value)


@pytest.mark.parametrize(
    "bad",
    [
        "<script>alert(1)</script>",
        '<a href="javascript:alert(1)"><path d="M0 0"/></a>',
        '<image href="https://evil.example/x.png"/>',
        '<use href="https://evil.example/x.svg#a"/>',
        "<style>@import url(https://evil.example)</style>",
        '<path onload="alert(1)" d="M0 0"/>',
        '<path style="fill:url(https://evil.example)" d="M0 0"/>',
        '<path fill="url(https://evil.example#a)" d="M0 0"/>',
        "<foreignObject><p>x</p></foreignObject>",
        '<set attributeName="href" to="javascript:alert(1)"/>',
        '<path fill="u\\72l(https://evil.example)" d="M0 0"/>',
        '<g xmlns:x="http://www.w3.org/1999/xlink"><path x:href="https://evil.example" d="M0 0"/></g>',
        '<h:script xmlns:h="http://www.w3.org/1999/xhtml">alert(1)</h:script>',
        "<?xml-stylesheet href='https://evil.example'?>",
    ],
)
def test_an_svg_keeps_only_what_draws(bad: str) -> None:
    """The ways in which an SVG loads or runs something: SVG 2, chapters 5, 6, 15 and 17."""
    made = safe_logo(SVG.format(bad).encode())
    text = made.content.decode()
    for word in ("evil", "script", "alert", "onload", "href", "style", "foreignObject", "import"):
        assert word not in text.replace("image/svg", "")
    path, *_ = ElementTree.fromstring(text)
    assert path.get("d") == "M0 0h40v20z"


def test_an_svg_keeps_its_gradients_and_gets_a_size() -> None:
    stops = '<stop offset="0" stop-color="red"/>'
    defs = f'<defs><linearGradient id="g">{stops}</linearGradient></defs><rect width="4" fill="url(#g)"/>'
    text = SVG.format(defs).replace('viewBox="0 0 40 20"', 'width="40px" height="20"')
    made = safe_logo(text.encode())
    assert b"url(#g)" in made.content
    assert b'viewBox="0 0 40 20"' in made.content


def test_own_settings_are_kept_and_wrong_ones_come_back(web: Web) -> None:
    form = {
        "notices": "yes",
        "channel": "mail",
        "at_once": ["urgent", "act"],
        "digest": ["act"],
        "quiet_from": "20",
        "quiet_to": "8",
        "energy": "MJ",
        "flow": "l/min",
        "pressure": "kPa",
    }
    assert send(web, "engineer", "/settings", form).status_code == 303
    who, database = number_of(web, "engineer"), web.parts.service.database
    own = personal_settings(database, who)
    assert own == PersonalSettings(
        "", ("urgent", "act"), ("act",), 20, 8, {"energy": "MJ", "flow": "l/min", "pressure": "kPa"}
    )
    for more, said in (
        ({"quiet_from": "25"}, "0 to 23"),
        ({"quiet_from": ""}, "give both"),
        ({"energy": "BTU"}, "kwh or mj"),
        ({"at_once": ["all"]}, "unknown severity"),
        ({"channel": "new", "new_channel": "mailto://a:b@c"}, "not set up"),
        ({"channel": "new"}, "give the address"),
        ({"quiet_to": "late"}, "full hours"),
        ({"language": "xx"}, "not one of en, de, fr"),
    ):
        answer = send(web, "engineer", "/settings", {**form, **more})
        assert (answer.status_code, said in unescape(answer.text).lower()) == (422, True), more
        assert personal_settings(database, who) == own
    answer = send(
        web, "engineer", "/settings", {**form, "channel": "new", "new_channel": "json://127.0.0.1:9/secret"}
    )
    assert answer.status_code == 303
    page = web["engineer"].get("/settings").text
    assert "json://…" in page
    assert "secret" not in page
    assert send(web, "engineer", "/settings", {**form, "channel": "kept"}).status_code == 303
    assert personal_settings(database, who).channel == "json://127.0.0.1:9/secret"


def test_a_household_s_pages_and_papers_are_in_the_reader_s_own_language(web: Web) -> None:
    """Their own setting outranks the browser's wish; what has no translation says so and stays English."""
    form, wish = {"channel": "mail"}, {"Accept-Language": "de"}
    paper = f"/sites/{OWN}/papers/month/2026-01"
    pages = (f"/sites/{OWN}/home", paper, f"/api/v1{paper}")
    for own, code in (("", "de"), ("fr", "fr"), ("en", "en")):
        assert send(web, "householder", "/settings", form | {"language": own}).status_code == 303
        for path in pages:
            assert f'<html lang="{code}">' in web["householder"].get(path, headers=wish).text, path
        settings = web["householder"].get("/settings", headers=wish).text
        assert '<html lang="en">' in settings
        language = settings.split('name="language"')[1].split("</select>")[0]
        (chosen,) = re.findall(r'<option value="(\w*)"[^>]* selected>', language) or [""]
        assert chosen == own
        assert "stay English" in settings
    assert send(web, "householder", "/settings", form).status_code == 303


def test_pages_and_papers_are_read_in_the_reader_s_units(web: Web) -> None:
    form = {"channel": "mail", "energy": "MJ", "flow": "l/min", "pressure": "kPa"}
    at = f"/sites/{OWN}/papers/month/2026-01"
    assert "kWh" in web["householder"].get(at).text
    assert send(web, "householder", "/settings", form).status_code == 303
    paper = web["householder"].get(at).text
    assert "MJ" in paper
    assert not re.search(r"\d[\u00a0 ]kWh", paper)
    assert "MJ" not in web["engineer"].get(at).text, "others keep theirs"
    told = web["householder"].get(f"{PREFIX}{at}?form=json").json()
    assert told["result"]["energy"]["electricity_kwh"]["total"] > 0, "documents keep the contract's units"


def test_a_householder_of_two_homes_reaches_both(web: Web) -> None:
    row = web.parts.accounts.find("householder@heating.example")
    assert "Your homes" not in web["householder"].get(f"/sites/{OWN}/home").text
    web.parts.accounts.change(row.id, sites=[OWN, OTHER])
    from tests.api.web import with_session

    with_session(web["householder"], web.parts, web.parts.sign_in.open_for_person(row.id))
    page = web["householder"].get(f"/sites/{OWN}/home").text
    assert f'href="/sites/{OTHER}/home"' in page
    assert f'href="/sites/{OWN}/what-if"' in page
    assert web["householder"].get(f"/sites/{OTHER}/home").status_code == 200


def test_the_demo_has_no_settings_of_its_own(service: Service) -> None:
    from dataclasses import replace

    from fastapi.testclient import TestClient

    from fieldfare.api.http.app import create_app
    from fieldfare.api.http.app_state import AppState

    service.settings = replace(service.settings, demo=True)
    client = TestClient(create_app(AppState(service)), base_url="http://localhost")
    assert "no accounts" in client.get("/settings").text
    assert client.post("/settings", data={"energy": "MJ"}).status_code == 403
