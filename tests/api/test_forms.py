"""Forms with consequences: the winter check's signature, the householder's invitation."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.core.service import Service
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app import PREFIX
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.maintenance_log import Job, MaintenanceLog
from fieldfare.api.records.papers import winter_paper
from fieldfare.api.records.sign_off import sign_offs
from tests.api.web import OWN, PASSWORD, Web, make_web

WINTER = f"/sites/{OWN}/winter"
INVITE = f"/sites/{OWN}/householder"
SAM = {"email": "Sam@home.example", "name": "Sam Home"}


@pytest.fixture
def own_web(service: Service) -> Web:
    return make_web(service)


def secret_of(web: Web, role: str) -> str:
    return web[role].headers["X-CSRF-Token"]


def sheet_of(web: Web) -> str:
    """The address of this winter's sheet."""
    answer = web["engineer"].get(f"/sites/{OWN}/checks/winter", follow_redirects=False)
    return str(answer.headers["location"])


def form_of(web: Web, role: str) -> dict[str, str]:
    """The signing form as a reader would send it, with every item of the sheet answered and every box
    ticked."""
    page = web[role].get(sheet_of(web)).text
    answers = dict.fromkeys(re.findall(r'name="(f\.\w+\.state)"', page), "done")
    csrf = secret_of(web, role)
    saved = web[role].post(sheet_of(web), data={"csrf": csrf, **answers}, follow_redirects=False)
    assert saved.status_code == 303
    ticks = dict(re.findall(r'type="checkbox" name="(\w+)" value="([^"]+)" required', page))
    return {"csrf": csrf, "what": "strainer cleaned", **ticks}


def test_a_winter_check_is_signed_and_read_back(own_web: Web) -> None:
    form, at = form_of(own_web, "engineer"), sheet_of(own_web)
    season = at[-4:]
    assert "left" in form, "a few days of readings can't be in order"
    answer = own_web["engineer"].post(f"{at}/sign", data=form, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{at}#signed")
    (work,) = own_web["engineer"].get(f"{PREFIX}/sites/{OWN}/works").json()["items"]
    assert work["what"].startswith(f"Winter check {season} signed: strainer cleaned\nStill open:\n– ")
    assert all(re.fullmatch(r"– [A-Z0-9].*\.", line) for line in work["what"].split("\n")[2:])
    assert work["who"] == "engineer@heating.example"
    for role, url in (
        ("engineer", WINTER),
        ("engineer", at),
        ("installer", f"/sites/{OWN}/papers/winter/{season}"),
        ("householder", WINTER),
    ):
        assert "Signed by Engineer on" in own_web[role].get(url).text
    assert "Signed by" not in own_web["engineer"].get(f"{WINTER}?season={int(season) + 1}").text
    plant = own_web.parts.service.sites.get(OWN)
    assert winter_paper(own_web.parts.service, plant).contents["signed"]["who"] == "Engineer"
    own_web["engineer"].delete(f"{PREFIX}/sites/{OWN}/works/{work['id']}")
    assert "Signed by" not in own_web["engineer"].get(WINTER).text


def test_the_list_before_winter_keeps_up_with_results_files_and_signatures(own_web: Web) -> None:
    def listed() -> str:
        return own_web["engineer"].get("/winter").text

    service = own_web.parts.service
    plant = service.sites.get(OWN)
    assert re.search(rf'Without a result:\s[\s\S]*?<a href="/sites/{OWN}">Alder Row</a>', listed())
    service.results.rolling_result(plant, service.settings.rolling_days)
    entry = f'<h2><a href="{WINTER}">Alder Row</a></h2>'
    assert entry in listed()
    assert listed() == listed()
    own_web["engineer"].post(f"{sheet_of(own_web)}/sign", data=form_of(own_web, "engineer"))
    assert "Signed by Engineer on" in listed()
    text = plant.file.replace('name = "Alder Row"', 'name = "Alder Terrace"')
    service.sites.add([(text, parse_site(text))])
    assert entry.replace("Row", "Terrace") in listed()
    service.sites.remove(OWN)
    assert "Alder" not in listed()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"what": "  "}, "Say what was checked"),
        ({"left": ""}, "open points"),
        ({"left": "cycling"}, "open points"),
    ],
)
def test_nothing_is_signed_unread(own_web: Web, more: dict[str, str], said: str) -> None:
    form = form_of(own_web, "engineer") | more
    answer = own_web["engineer"].post(f"{sheet_of(own_web)}/sign", data=form, follow_redirects=False)
    assert answer.status_code == 422
    assert said in answer.text.split("Not signed yet")[1]
    assert sign_offs(own_web.parts.service.database) == {}


def test_signing_is_the_firm_s_and_of_one_s_own_session(own_web: Web) -> None:
    form, at = form_of(own_web, "engineer"), sheet_of(own_web)
    for role, code in (("householder", 403), ("link", 403), ("nobody", 303)):
        csrf = own_web[role].headers.get("X-CSRF-Token", "")
        answer = own_web[role].post(f"{at}/sign", data=form | {"csrf": csrf}, follow_redirects=False)
        assert answer.status_code == code
    assert own_web["engineer"].post(f"{at}/sign", data=form | {"csrf": "guess"}).status_code == 403
    assert sign_offs(own_web.parts.service.database) == {}


def test_a_signature_is_no_work_that_could_have_an_effect(plant_here: Service) -> None:
    works, plant = MaintenanceLog(plant_here), plant_here.sites.get(OWN)
    day = plant_here.results.span(plant)[0]
    with pytest.raises(InputError, match="on its sheet"):
        works.add(OWN, Job(day, "by the way", ("winter_check_2026",)), COMMAND_LINE)
    signed = works.sign_check(OWN, day, "winter", "2026", "all well", [], COMMAND_LINE)
    assert signed.what == "Winter check 2026 signed: all well"
    assert works.effect(plant, signed) == {"effect": None, "reason": None, "finding": None, "findings": []}
    before, after = (
        works.add(OWN, Job(day - timedelta(days=9), "curve"), COMMAND_LINE),
        day + timedelta(days=9),
    )
    assert works._undisturbed(before)[1] > after, "what was done is judged beyond the day of a signature"


def test_an_installer_invites_the_householder(own_web: Web) -> None:
    form = SAM | {"csrf": secret_of(own_web, "installer")}
    assert f'action="{INVITE}"' in own_web["installer"].get(f"/sites/{OWN}").text
    answer = own_web["installer"].post(INVITE, data=form)
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    assert "holds for 7 days" in answer.text
    link = unescape(re.findall(r'value="(http://localhost/welcome/[^"]+)"', answer.text)[0])
    row = own_web.parts.accounts.find(SAM["email"])
    assert (row.role, row.sites, row.name, row.has_password) == ("householder", (OWN,), "Sam Home", False)
    page = own_web["nobody"].get(link).text
    assert "Welcome, Sam Home" in page
    assert "the heating of Alder Row" in page
    ended = own_web["nobody"].get("/welcome/guess")
    assert (ended.status_code, "password" in ended.text) == (410, False)
    assert "This invitation has ended" in ended.text
    weak = own_web["nobody"].post(link, data={"password": "passwordpassword"})
    assert (weak.status_code, "easily guessed" in weak.text, "Alder Row" in weak.text) == (400, True, True)
    assert (
        own_web["nobody"].post(link, data={"password": PASSWORD}, follow_redirects=False).status_code == 303
    )
    again = own_web["installer"].post(INVITE, data=form)
    assert (again.status_code, "already has an account" in again.text) == (422, True)


def test_a_householder_with_a_second_home_is_given_it_without_another_account(own_web: Web) -> None:
    accounts = own_web.parts.accounts
    one = accounts.add("two@homes.example", "Two Homes", "householder", [])
    form = {"email": "Two@Homes.example ", "name": "x", "csrf": secret_of(own_web, "installer")}
    answer = own_web["installer"].post(INVITE, data=form)
    assert answer.status_code == 200
    assert "Two Homes has an account already and may now see" in answer.text
    assert "/welcome/" not in answer.text
    assert accounts.get(one.id).sites == (OWN,)
    again = own_web["installer"].post(INVITE, data=form)
    assert (again.status_code, "already has an account" in again.text) == (422, True)


def test_the_invitation_has_the_address_that_was_set(service: Service, settings: Settings) -> None:
    web = make_web(service, public_url="https://heat.example/")
    client = web["installer"]
    client.cookies.set("__Host-fieldfare", client.cookies["fieldfare"])
    answer = client.post(INVITE, data=SAM | {"csrf": secret_of(web, "installer")})
    assert 'value="https://heat.example/welcome/' in answer.text


@pytest.mark.parametrize(
    ("role", "code"), [("engineer", 403), ("householder", 403), ("link", 403), ("nobody", 303)]
)
def test_only_an_installer_invites(own_web: Web, role: str, code: int) -> None:
    csrf = own_web[role].headers.get("X-CSRF-Token", "")
    answer = own_web[role].post(INVITE, data=SAM | {"csrf": csrf}, follow_redirects=False)
    assert answer.status_code == code
    assert "sam@home.example" not in {p.email for p in own_web.parts.accounts.all()}
    assert INVITE not in own_web[role].get(f"/sites/{OWN}").text


def test_an_invitation_needs_its_session_s_secret(own_web: Web) -> None:
    assert own_web["installer"].post(INVITE, data=SAM | {"csrf": "guess"}).status_code == 403
