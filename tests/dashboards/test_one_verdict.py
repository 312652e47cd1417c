"""One verdict everywhere, over the demo's fleet: pages, papers, API and command line agree.

Properties, not cases: they hold for whatever the findings say.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.verdict import WORDS
from fieldfare.api.cli import main
from fieldfare.api.cli.plain_result import plain_fleet
from fieldfare.api.core.fleet_rows import fleet_rows
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app import create_app
from fieldfare.api.http.app_state import AppState
from fieldfare.collector.simulated.fleet import demo_fleet
from fieldfare.dashboards.answers.bill_amounts import amount
from fieldfare.dashboards.text import words
from tests.dashboards.test_pages import text_of

TODAY = date(2025, 1, 20)
DAYS = 60
SITES = (
    "rowan-bank",
    "hazel-corner",
    "wren-house",
    "osier-bed",
    "ash-hollow",
    "maple-turn",
    "barley-piece",
    "siskin-field",
)
"""Of the demo's fleet: healthy ones, one without a room sensor, one with two registers alone, and four with
faults."""
CHOSEN = ("2024-12-10", "2024-12-12")
ALL_WELL = (
    "is in order",
    "running as it should",
    "as it should",
    "all is well",
    "likely well",
    "stays warm",
    "keeps working",
    "still heats",
    "Everything that matters was checked",
)
_MARK = re.compile(r'class="mark (urgent|act|watch|not_known|in_order)"')
_ENTRY = re.compile(
    r'<li(?: class="(\w+)")?>\s*(?:<div class="mark">|<label class="pick-box">|<span class="mark (\w+)">)'
    r'.*?href="/sites/([a-z0-9-]+)',
    re.DOTALL,
)


@dataclass
class Demo:
    """A served demo and its data folder."""

    service: Service
    client: TestClient
    folder: Path

    def page(self, at: str) -> str:
        answer = self.client.get(at)
        assert answer.status_code == 200, f"{at}: {answer.text[:300]}"
        return answer.text

    def verdicts(self) -> dict[str, dict[str, Any]]:
        """By site, as the API's fleet gives them."""
        return {row["id"]: row for row in self.client.get("/api/v1/fleet").json()["sites"]}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("demo")
    settings = Settings(data=folder, demo=True)
    with opened(settings) as service:
        for member in demo_fleet(TODAY):
            if member.spec.id not in SITES:
                continue
            made = replace(member, start=date(2024, 11, 20), days=DAYS).simulate()
            site = parse_site(made.site_toml)
            service.sites.add([(made.site_toml, site)])
            service.store.append(site.id, made.readings)
            service.results.rolling_result(service.sites.get(site.id), settings.rolling_days)
        client = TestClient(create_app(AppState(service)), base_url="http://localhost")
        yield Demo(service, client, folder)


def first_mark(page: str) -> str:
    """The verdict that a page or paper shows first."""
    found = _MARK.search(page)
    assert found is not None, "no verdict on this page"
    return found[1]


def plain(text: str) -> str:
    """With usual spaces alone."""
    return " ".join(text.split())


def in_list(page: str) -> dict[str, str]:
    """Verdicts of a list of homes, by site."""
    return {site: of_row or of_mark for of_row, of_mark, site in _ENTRY.findall(page)}


def test_every_list_shows_each_home_with_its_verdict(demo: Demo) -> None:
    told = {site: row["verdict"] for site, row in demo.verdicts().items()}
    assert set(told) == set(SITES)
    assert in_list(demo.page("/")) == told
    assert in_list(demo.page("/winter")) == told
    assert in_list(demo.page("/visits")).items() <= told.items()


@pytest.mark.parametrize("site", SITES)
def test_every_page_and_paper_of_a_home_shows_the_same_verdict(demo: Demo, site: str) -> None:
    told = demo.verdicts()[site]["verdict"]
    word = WORDS[told]
    for at in (
        "",
        "/home",
        "/winter",
        "/papers/month/2024-12",
        "/papers/winter/2025",
        "/papers/hand-over/first",
    ):
        page = demo.page(f"/sites/{site}{at}")
        assert first_mark(page) == told, at
        assert word in text_of(page).lower(), at
    for at in ("result", "findings"):
        assert demo.client.get(f"/api/v1/sites/{site}/{at}").json()["verdict"]["verdict"] == told


@pytest.mark.parametrize("site", SITES)
def test_a_few_chosen_days_never_change_the_verdict(demo: Demo, site: str) -> None:
    told = demo.verdicts()[site]["verdict"]
    first, last = CHOSEN
    page = demo.page(f"/sites/{site}?from={first}&to={last}")
    assert first_mark(page) == told
    assert "This page shows 10\u00a0Dec\u00a02024 to 12\u00a0Dec\u00a02024. The verdict is of" in page
    chosen = demo.client.get(f"/api/v1/sites/{site}/result?from={first}&to={last}").json()
    assert chosen["period"]["from"] == first
    assert chosen["verdict"]["verdict"] == told
    assert chosen["verdict"]["from"] < first, "the verdict names its own days"


def test_the_command_line_says_the_same(demo: Demo, capsys: pytest.CaptureFixture[str]) -> None:
    told = {site: row["verdict"] for site, row in demo.verdicts().items()}
    listed = plain_fleet(fleet_rows(demo.service, fresh=True)).splitlines()
    assert len(listed) == len(SITES)
    for line in listed:
        site = next(s for s in SITES if s in line)
        assert line.startswith(f"{WORDS[told[site]]} ")
    data = ["--data", str(demo.folder)]

    def run(*argv: str) -> str:
        capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            main([*data, *argv])
        assert left.value.code == 0
        return capsys.readouterr().out

    for site in SITES:
        assert json.loads(run("analyse", site, "--format", "json"))["verdict"]["verdict"] == told[site]
        few = json.loads(run("analyse", site, "--from", CHOSEN[0], "--to", CHOSEN[1], "--format", "json"))
        assert few["verdict"]["verdict"] == told[site]
        assert f"Verdict: {WORDS[told[site]]}" in run("analyse", site)


@pytest.mark.parametrize("site", ["ash-hollow", "hazel-corner", "siskin-field"])
def test_a_figure_reads_the_same_on_pages_papers_and_by_command(
    demo: Demo, site: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Efficiency, what a finding costs, what advice saves and the bill's difference: from the API's numbers,
    as every other place words them. Two homes with faults and one in order."""

    def spoken(at: str) -> str:
        return plain(text_of(demo.page(f"/sites/{site}{at}")))

    def said(*argv: str) -> str:
        capsys.readouterr()
        with pytest.raises(SystemExit):
            main(["--data", str(demo.folder), *argv])
        return plain(capsys.readouterr().out)

    result, bill, advice = (
        demo.client.get(f"/api/v1/sites/{site}/{at}").json() for at in ("result", "answers/bill", "advice")
    )
    home, answer, by_command = spoken(""), spoken("/answers/bill"), said("answer", site, "bill")
    if h4 := result["performance"].get("H4"):
        told = plain(words.interval(h4, "", 2))
        assert told in home
        assert told in said("analyse", site)
    for finding in bill.get("costly", []):
        tag = plain(words.price_tag(finding, bill["currency"]))
        assert all(tag in told for told in (home, answer, by_command)), tag
    assert json.loads(said("answer", site, "bill", "--format", "json"))["difference"] == bill["difference"]
    unit = "kwh" if bill["difference"]["money"] is None else "money"
    size = plain(amount(bill, abs(bill["difference"][unit]), unit))
    for told in (answer, by_command, spoken("/answers/bill/paper")):
        assert size in told
        for part in (p for p in bill["parts"] if p["told"]):
            assert plain(words.interval(part["kwh"], "kWh", 0)) in told
    page, listed = spoken("/advice"), said("advice", site)
    for advised in advice["advice"]:
        saves = plain(words.interval(advised["saves"], "kWh", 0))
        assert saves in page
        assert saves in listed


@pytest.mark.parametrize("site", ["ash-hollow", "hazel-corner", "osier-bed", "barley-piece"])
def test_a_month_reads_the_same_for_the_household_on_paper_and_by_the_api(demo: Demo, site: str) -> None:
    """Electricity, heat and their ratio of December."""
    asked = f"/api/v1/sites/{site}/result?from=2024-12-01&to=2024-12-31"
    result = demo.client.get(asked).json()
    used, heat = (result["energy"][name]["total"] for name in ("electricity_kwh", "heat_kwh"))
    paper = plain(text_of(demo.page(f"/sites/{site}/papers/month/2024-12")))
    page = plain(text_of(demo.page(f"/sites/{site}/home?month=2024-12")))
    kwh = [plain(f"{words.number(total, 0)} kWh") for total in (used, heat) if total is not None]
    assert kwh
    for told in kwh:
        assert told in paper
        assert told in page


@pytest.mark.parametrize("site", SITES)
def test_no_home_is_in_order_with_an_unanswered_matter(demo: Demo, site: str) -> None:
    row = demo.verdicts()[site]
    result = demo.client.get(f"/api/v1/sites/{site}/result").json()
    going_on = [f for f in result["findings"] if not f["until"] and f["severity"] != "note"]
    if row["verdict"] == "in_order":
        assert row["missing"] == []
        assert going_on == []
        assert result["comfort"]["zones"], "a home in order has its rooms measured"
    else:
        assert row["missing"] or [b for b in row["because"] if b["severity"]]
    if row["verdict"] == "not_known":
        assert all(m["reason"] for m in row["missing"])
        assert any(m["meters"] for m in row["missing"]), "which meter would tell"


@pytest.mark.parametrize("site", SITES)
def test_nothing_says_that_all_is_well_while_it_is_not_known(demo: Demo, site: str) -> None:
    if demo.verdicts()[site]["verdict"] == "in_order":
        return
    for at in ("", "/home", "/papers/month/2024-12", "/papers/month/2025-01"):
        told = text_of(demo.page(f"/sites/{site}{at}")).replace("&#39;", "'")
        for promise in ALL_WELL:
            assert promise not in told.replace("as efficient as it should", ""), f"{at}: {promise}"


@pytest.mark.parametrize("site", SITES)
def test_the_household_reads_what_is_not_measured(demo: Demo, site: str) -> None:
    plant = demo.service.sites.get(site).site
    told = text_of(demo.page(f"/sites/{site}/home"))
    if not plant.measures("room_temperature"):
        assert "whether your rooms are warm enough" in told
    if plant.hot_water is not None and not plant.measures("cylinder_temperature"):
        assert "whether there is enough hot water" in told


@pytest.mark.parametrize("site", SITES)
def test_no_page_leaks_internal_words(demo: Demo, site: str) -> None:
    for at in ("", "/home", "/winter", "/papers/month/2024-12", "/papers/hand-over/first"):
        told = text_of(demo.page(f"/sites/{site}{at}"))
        for leak in (
            "from memory",
            "(reference",
            "limits table",
            "[csv]",
            "[cost]",
            "design.",
            "heat_pump.",
            "heat_output",
            "flow_temperature",
        ):
            assert leak not in told, f"{at}: {leak}"
        assert not re.search(r"\b20\d\d-\d\d-\d\d\b", re.sub(r'value="[^"]*"', "", told)), (
            "dates have one form"
        )
        assert not re.search(r"\d{4,}\.\d|\d,\d{3}\b", told), "thousands are parted in one way"
