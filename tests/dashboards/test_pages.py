"""Pages: contents for each reader, and escaping of all user-supplied text."""

from __future__ import annotations

import gzip
import re
from dataclasses import replace
from datetime import date, timedelta
from html import unescape
from html.parser import HTMLParser
from typing import Any

import orjson
import pytest

from fieldfare.analysis.errors import Problem
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.analysis.reports.verdict import GONE_AFTER, SILENT_AFTER
from fieldfare.collector.simulated.plant import random_plant, simulate
from fieldfare.dashboards import pages
from fieldfare.dashboards.papers import paper_html
from fieldfare.dashboards.rows.days import day_rows
from fieldfare.dashboards.rows.design_vs_measured import two_sides
from fieldfare.dashboards.text.words import measure, month
from tests.dashboards.conftest import DAYS, HOUSEHOLDER, INSTALLER, LAST, NOW, SHORT_CYCLING, Plant
from tests.dashboards.test_two_renderers import EFFECT

VOID = {"meta", "link", "input", "br", "img", "hr"}


class Nesting(HTMLParser):
    """Every element is closed where it was opened."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.inline: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.ids += [v for k, v in attrs if k == "id" and v]
        self.inline += [k for k in named if k == "style" or k.startswith("on")]
        if tag == "script" and "src" not in named:
            self.inline.append("script")
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID or (tag == "path" and "path" not in self.open):
            return
        while self.open and self.open[-1] in ("path", "li", "p", "circle", "rect") and self.open[-1] != tag:
            self.open.pop()
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag


def sound(page: str) -> str:
    """The page, if it is one document without inline style or script and without an id twice."""
    assert page.startswith("<!doctype html>")
    reader = Nesting()
    reader.feed(page)
    assert reader.inline == [], "the content policy forbids it"
    assert len(reader.ids) == len(set(reader.ids))
    assert page.count("<h1") == 1
    assert not re.search(r'(src|href)="https?://', page), "no outside requests"
    return page


def text_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_the_round_is_worst_first_and_says_what_to_do(full: Plant, cycling: Plant) -> None:
    rows = [full.row(id="fine-row", name="Fine Row"), cycling.row(id="busy-end", name="Busy End")]
    page = sound(pages.fleet_page(rows, INSTALLER, {}, NOW))
    assert page.index("Busy End") < page.index("Fine Row")
    told = text_of(page)
    for said in (
        "Starts too often",
        "31 times a day &amp; runs &lt;9 minutes",
        "since 2 Nov 2024",
        "quite sure, 91",
        "Next: Open the room thermostats",
        "Visit",
        "Needs work",
    ):
        assert said in told
    assert "1 needs a visit" in told


def test_a_silent_gateway_ranks_before_homes_in_order(full: Plant) -> None:
    quiet = replace(full, result=replace(full.result, findings=()))
    rows = [
        quiet.row(id="fine-row", name="Fine Row"),
        quiet.row(id="lost-lane", name="Lost Lane", heard=NOW - GONE_AFTER - timedelta(hours=1)),
    ]
    page = pages.fleet_page(rows, INSTALLER, {}, NOW)
    assert page.index("Lost Lane") < page.index("Fine Row")
    assert "Nothing heard from its gateway for 2 days" in text_of(page)
    only = pages.fleet_page(rows, INSTALLER, {"show": "silent"}, NOW)
    assert "Lost Lane" in only
    assert "Fine Row" not in only


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ({"q": "busy"}, ["Busy End"]),
        ({"q": "thermostats"}, ["Busy End"]),
        ({"q": "starts too"}, ["Busy End"]),
        ({"show": "drive"}, ["Busy End"]),
        ({"show": "fine"}, ["Fine Row"]),
        ({"show": "settling"}, ["New Nook"]),
        ({"q": "<script>"}, []),
    ],
)
def test_the_round_is_searched_and_filtered(
    full: Plant, cycling: Plant, query: dict[str, str], names: list[str]
) -> None:
    quiet = replace(full, result=replace(full.result, findings=()))
    new = LAST - timedelta(20)
    rows = [
        quiet.row(id="fine-row", name="Fine Row"),
        cycling.row(id="busy-end", name="Busy End"),
        (
            cycling.row(id="new-nook", name="New Nook", handed_over=new)
            if query.get("show") == "settling"
            else full.row(id="x1", name="Xx", result=None)
        ),
    ]
    page = sound(pages.fleet_page(rows, INSTALLER, query, NOW))
    assert re.findall(r'<h2><a href="/sites/[^"]+">([^<]+)</a>', page) == names
    assert "<script>" not in page.replace('<script src="', "")


def test_the_plan_of_visits_says_what_to_take_along(cycling: Plant, full: Plant) -> None:
    setting = cycling.with_findings(
        replace(SHORT_CYCLING, code="flow_temperature_above_curve", visit="setting", bring=())
    )
    note = full.with_findings(replace(SHORT_CYCLING, severity="note"))
    rows = [cycling.row(id="a-1", name="A"), setting.row(id="b-1", name="B"), note.row(id="c-1", name="C")]
    told = text_of(sound(pages.visits_page(rows, INSTALLER, {}, NOW)))
    assert "clamp thermometer (A)" in told
    assert told.index("Visit · 1 home") < told.index("Change a setting · 1 home")
    assert "Take care: Hot water under pressure." in told
    assert "Nothing to do · " not in told


def test_a_site_shows_evidence_on_the_figure_that_shows_it(cycling: Plant) -> None:
    page = sound(pages.site_page(cycling.row(), cycling.facts, [], INSTALLER, {}, NOW))
    finding = page[page.index('id="finding-short_cycling"') : page.index('id="sides"')]
    assert 'data-figure="runs"' in finding
    told = text_of(finding)
    assert "room thermostats cut the runs short" in told
    assert "8.20 min" in told
    assert "10 min" in told
    assert "Take care. Hot water under pressure." in told
    for section in ("sides", "now", "trace", "weather", "events", "losses", "works", "data"):
        assert f'id="{section}"' in page
    assert page.count("<svg") > 10


def test_a_thin_site_says_what_it_cannot_know(basic: Plant) -> None:
    told = text_of(sound(pages.site_page(basic.row(), basic.facts, [], INSTALLER, {}, NOW)))
    assert "Figures that can't be drawn" in told
    assert "Needs readings of flow" in told


@pytest.mark.parametrize(
    ("last", "share", "remark"),
    [
        (date(2025, 1, 28), 1.0, "4 months measured: not comparable with a year's figure"),
        (date(2025, 9, 30), 0.5, "6 months measured: not comparable with a year's figure"),
        (date(2025, 9, 30), 0.99, "a full year"),
        (date(2026, 9, 30), 0.99, "24 months measured: not comparable with a year's figure"),
    ],
    ids=["a season", "a year half seen", "a year", "two years"],
)
def test_a_year_s_design_is_compared_with_a_year_alone(
    full: Plant, last: date, share: float, remark: str
) -> None:
    annual = {"space_heat_kwh_per_year": 9000.0, "hot_water_kwh_per_year": 2500.0, "spf_space": 3.4}
    site = full.site.model_copy(update={"design": full.site.design.model_copy(update=annual)})
    result = full.document
    result["period"] = {"from": "2024-10-01", "to": last.isoformat()}
    result["coverage"] = {**result["coverage"], "share": share}
    result["promise"] = None
    told = {side.what: side for side in two_sides(site, result, [])}
    for what in ("Heat to rooms", "Heat to hot water"):
        assert "a year" in told[what].designed
        assert told[what].measured != "–"
        assert told[what].remark == remark
    several_years = remark.startswith("24")
    assert told["Efficiency, rooms"].remark == ("a full year" if several_years else remark)
    at_design = {"value": 3.2, "low": 3.0, "high": 3.5}
    result["promise"] = [{"use": "space_heating", "measured": at_design, "promised": 3.4, "sure": 0.2}]
    told = {side.what: side for side in two_sides(site, result, [])}
    brought_to = "3.2 (3.0 to 3.5) at the design's weather: about its promise"
    assert told["Efficiency, rooms"].remark == brought_to


def test_works_stand_with_their_effect(full: Plant) -> None:
    works = [
        {
            "id": 1,
            "day": "2025-01-02",
            "what": "curve lowered by 6 K",
            "finding": "short_cycling",
            "who": "Kim",
            "effect": EFFECT,
            "standing": [
                {"code": "short_cycling", "is_gone": True},
                {"code": "low_flow", "is_gone": False, "came_back": "2025-01-20"},
                {"code": "high_standby", "is_gone": False, "came_back": None, "is_early": True},
            ],
            "findings": ["short_cycling"],
            "parts": "gasket",
            "minutes": 45,
            "changed": "2025-01-03",
            "changed_by": "Lou",
        },
        {
            "id": 2,
            "day": "2025-01-20",
            "what": "<b>strainer</b>",
            "finding": None,
            "who": "Kim",
            "effect": None,
            "reason": "needs 7 whole days after it, has 3",
            "findings": [],
        },
    ]
    page = sound(pages.site_page(full.row(), full.facts, works, INSTALLER, {}, NOW))
    job = page.split('id="job-1"')[1].split('id="job-2"')[0].replace("\u00a0", " ")
    assert "13 kWh (6 to 20) less electricity in 2 days than before in the same weather." in job
    assert '<figure class="alone" data-figure="before_after"' in job
    assert "<b>came back</b> on 20 Jan 2025" in job
    assert "&lt;b&gt;strainer&lt;/b&gt;" in page
    assert "Needs 7 whole days after it, has 3" in page
    assert "gone since" in page
    told = text_of(page)
    for said in (
        "Parts: gasket",
        "45 min",
        "Corrected 3 Jan 2025 by Lou",
        "too early to say whether it worked",
        "Correct or delete the job of 2 Jan 2025",
    ):
        assert said in told.replace("\u00a0", " ")
    for reader, may in ((INSTALLER, True), (HOUSEHOLDER, False)):
        assert ('action="/sites/' in pages.site_page(full.row(), full.facts, works, reader, {}, NOW)) is may


def test_live_readings_are_there_without_script(full: Plant) -> None:
    row = full.row(
        latest={
            "flow_temp": {"time": 1738130400000, "value": 35.25},
            "mode": {"time": 1738130400000, "value": 3.0},
        }
    )
    told = text_of(pages.site_page(row, full.facts, [], INSTALLER, {}, NOW))
    assert "Flow temperature 35.2" in told
    assert "Operating mode defrost" in told
    assert "Defrosting the outdoor unit." in told


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (
            {
                "mode": 1.0,
                "speed": 55.0,
                "flow_temp": 39.71,
                "heat": 5120.0,
                "hp_elec": 1400.0,
                "outdoor": 3.0,
            },
            (
                "Heating the rooms with water at 39.7 °C: 5.1 kW of heat for 1.4 kW of electricity; outdoors"
                " 3 °C."
            ),
        ),
        ({"mode": 0.0, "speed": 0.0, "outdoor": -0.04}, "At rest; outdoors 0 °C."),
        ({"mode": 2.0, "speed": 60.0}, "Making hot water."),
    ],
)
def test_right_now_is_one_sentence_with_its_age(full: Plant, values: dict[str, float], said: str) -> None:
    for minutes, age in ((3, ""), (25, " (25 minutes ago)")):
        time = round((NOW - timedelta(minutes=minutes)).timestamp() * 1000)
        latest = {p: {"time": time, "value": v} for p, v in values.items()}
        page = sound(pages.site_page(full.row(latest=latest), full.facts, [], INSTALLER, {}, NOW))
        told = text_of(page.split('id="live-text"')[1].split("</summary>")[0]).replace("\u00a0", " ")
        assert told.split(">", 1)[1].strip() == said + age


def test_a_site_without_readings_leads_to_them(full: Plant) -> None:
    page = sound(
        pages.site_page(full.row(result=None, reason="no readings yet"), None, [], INSTALLER, {}, NOW)
    )
    assert f"/sites/{full.site.id}/readings" in page
    assert 'class="mark not_known"' in page


@pytest.mark.parametrize("name", pages.FIGURES)
def test_figures_for_zooming_are_json(full: Plant, name: str) -> None:
    document = orjson.loads(pages.figure_json(name, full.site, full.document, full.facts))
    assert document["data"]
    assert "layout" in document


def month_of(plant: Plant) -> dict[str, Any]:
    january = analyse(plant.site, plant.facts, date(2025, 1, 1), LAST)
    december = analyse(plant.site, plant.facts, date(2024, 12, 1), date(2024, 12, 31))
    about = plant.site.model_dump(mode="json", by_alias=True, exclude={"point", "csv", "limits"})
    return {
        "site": about,
        "result": january.as_dict(),
        "month_before": december.as_dict(),
        "days": day_rows(january.facts),
    }


def test_home_tells_the_month_in_plain_sentences(cycling: Plant) -> None:
    works = [
        {"day": "2025-01-07", "what": "water 3 degrees cooler"},
        {"day": "2024-12-01", "what": "long ago"},
    ]
    page = sound(pages.home_page(cycling.row(), month_of(cycling), works, HOUSEHOLDER, {}, NOW))
    told = text_of(page)
    for said in (
        "Was it warm?",
        "Was there hot water?",
        "How much electricity did it use?",
        "What did it cost?",
        "water 3 degrees cooler",
        "we lower the water temperature on Monday",
        "Away for a week in winter",
    ):
        assert said in told
    assert "long ago" not in told
    assert page.count('class="fig picture"') == 3
    warm = page.split('class="fig picture"')[1].split("</svg>")[0]
    assert len(re.findall(r"<text[^>]*>−?\d+\u00a0°C</text>", warm)) >= 2, "a scale"
    assert len(re.findall(r"<text[^>]*>\d+\u00a0\w+\u00a0\d{4}</text>", warm)) == 2, "first and last day"
    for jargon in ("SPF", "H4", "COP", "coefficient", "W/K", "short_cycling", "Act", "compressor"):
        assert jargon not in told
    assert 'href="/visits"' not in page, "a household has no way into the firm's pages"


def test_home_shows_the_year_by_months_with_a_scale(full: Plant) -> None:
    """October to January: the last month is not over, so its bar is empty; bars stand in one scale."""
    contents = month_of(full) | {"year": full.document}
    used = {m["month"]: m["electricity_kwh"] for m in full.document["performance"]["by_month"]}
    page = sound(pages.home_page(full.row(), contents, [], HOUSEHOLDER, {}, NOW))
    told, most = text_of(page), max(used.items(), key=lambda m: m[1])
    total = text_of(measure(sum(used.values()), "kWh", 0))
    assert f"From October 2024 to January 2025 the heating used {total} of electricity." in told
    assert f"It used most in {month(most[0])}: {text_of(measure(most[1], 'kWh', 0))}, at " in told
    assert "An empty bar is a month that is not over" in told
    picture = page.split('class="fig picture"')[-1].split("</svg>")[0]
    bars = re.findall(r'class="bar (power[ \w]*)" d="M[\d.]+ 150v-([\d.]+)h', picture)
    assert [kind for kind, _ in bars] == ["power"] * 3 + ["power hatched"]
    heights = [float(high) for _, high in bars]
    assert heights == pytest.approx([124.0 * v / most[1] for v in used.values()], abs=0.1)
    words = re.findall(r"<text[^>]*>([^<]+)</text>", picture)
    assert words[0] == "kWh"
    assert {"0", "Oct", "Nov", "Dec", "Jan", "2024", "2025"} <= set(words)
    assert "How was the year?" not in text_of(
        pages.home_page(full.row(), month_of(full), [], HOUSEHOLDER, {}, NOW)
    )


def test_home_compares_with_the_old_fuel(full: Plant) -> None:
    contents = month_of(full)
    cost = contents["result"]["cost"]
    told = text_of(pages.home_page(full.row(), contents, [], HOUSEHOLDER, {}, NOW))
    paid = told[told.index("What did it cost") :]
    old, now = cost["previous_fuel_total"], cost["running_cost"]
    alike = abs(old - now) < 0.02 * max(old, now)
    assert ("about the same" if alike else "less" if old > now else "more") in paid
    assert "without its standing charge, which you pay anyway" in paid


@pytest.mark.parametrize(
    ("space", "said"),
    [
        (
            {"value": -12.0, "low": -17.0, "high": -7.0, "is_told": True},
            "12 % less for the rooms (7 to 17 %)",
        ),
        (
            {"value": 1.0, "low": -4.0, "high": 6.0, "is_told": False},
            "In comparable weather we see no difference.",
        ),
        (
            {"value": None, "reason": "too few days", "is_told": False},
            "The two months have too few comparable days",
        ),
    ],
)
def test_a_month_is_only_compared_at_like_weather(full: Plant, space: dict[str, Any], said: str) -> None:
    """The plain amounts say nothing: the other month is far milder."""
    contents = month_of(full)
    none = {"value": None, "reason": "", "is_told": False}
    like = {"space_percent": space, "hot_water_percent": none, "outdoor_before": 9.0, "outdoor_after": 2.0}
    contents["like_weather"] = {"month_before": like}
    told = text_of(pages.home_page(full.row(), contents, [], HOUSEHOLDER, {}, NOW)).replace("&#39;", "'")
    assert said in told
    assert "for the same cold it used" not in told


def test_home_of_a_silent_gateway_is_calm_and_says_what_to_look_at(full: Plant) -> None:
    row = full.row(heard=NOW - SILENT_AFTER - timedelta(hours=2))
    told = text_of(pages.home_page(row, month_of(full), [], HOUSEHOLDER, {}, NOW))
    assert "Please check that your internet box is on" in told
    assert "all is well" not in told
    assert "all is likely well" not in told


def test_home_without_a_month_says_so(full: Plant) -> None:
    row = full.row() | {"result": None}
    page = sound(pages.home_page(row, None, [], HOUSEHOLDER, {}, NOW))
    assert "No month to show yet" in page
    assert 'class="mark not_known"' in page


def test_a_month_that_nobody_read_keeps_the_verdict_of_the_year(full: Plant) -> None:
    row = full.row()
    page = sound(pages.home_page(row, None, [], HOUSEHOLDER, {}, NOW))
    assert "There are no readings of that month" in page
    assert f'href="/sites/{row["id"]}/home"' in page
    mark = re.compile(r'class="mark (\w+)"')
    whole = pages.home_page(row, month_of(full), [], HOUSEHOLDER, {}, NOW)
    assert mark.findall(page)[:1] == mark.findall(whole)[:1]


def test_what_if_shows_saving_limits_and_caution(full: Plant) -> None:
    answer = {
        "question": "hot_water_c",
        "value": 48.0,
        "saves_kwh": {"value": 60.0, "low": 30.0, "high": 90.0},
        "saves_money": {"value": 17.0, "low": 9.0, "high": 26.0},
        "currency": "GBP",
        "of": "a year like the last",
        "method": "m",
        "limits": [{"limit": "a family's water", "holds": False, "says": "falls short"}],
        "caution": "Legionella grows.",
    }
    told = text_of(sound(pages.what_if_page(full.row(), {"hot_water_c": "48"}, [answer], "", INSTALLER)))
    assert "Hot water at 48 °C" in told
    assert "60 kWh (30 to 90)" in told
    assert "A family's water: no." in told.replace("&#39;", "'")
    assert "Legionella grows." in told
    refused = sound(pages.what_if_page(full.row(), {}, None, "needs <flow>", INSTALLER))
    assert "Needs &lt;flow&gt;" in refused


def test_messages_and_ways_in() -> None:
    assert "<h1>Not found</h1>" in sound(pages.message_page("Not found", "There is no such page.", {}))
    assert 'role="alert"' in sound(pages.sign_in_page("that was not right"))
    assert 'name="email"' not in sound(pages.welcome_page("", is_first=False))
    assert 'minlength="12"' in sound(pages.welcome_page("", is_first=True))


def test_problems_stand_beside_their_fields() -> None:
    problems = [
        Problem("heat_pump.rating.0.cop", "must be a number", 12),
        Problem("site.id", "is taken"),
        Problem("cost.unknown", "unknown key", 3),
    ]
    page = sound(pages.site_form_page({"heat_pump.rating.0.cop": '"><b>'}, problems, "", INSTALLER))
    field = page[page.index('name="heat_pump.rating.0.cop"') :][:400]
    assert 'aria-invalid="true"' in field
    assert "must be a number" in field
    assert "&#34;&gt;&lt;b&gt;" in page
    assert "<code>cost.unknown</code> (line 3): unknown key" in page
    uploaded = sound(pages.site_form_page({}, problems, "[site]\nid = 1\n", INSTALLER))
    assert "   2  id = 1" in uploaded


def test_progress_asks_again_until_it_is_done(full: Plant) -> None:
    going = pages.progress_page(
        full.row(), {"kind": "reading", "state": "running", "done": 5, "of": 10, "message": ""}, INSTALLER
    )
    assert 'http-equiv="refresh"' in sound(going)
    assert 'value="5"' in going
    for state in ("done", "failed"):
        page = pages.progress_page(
            full.row(),
            {"kind": "reading", "state": state, "done": 10, "of": 10, "message": "7 rows"},
            INSTALLER,
        )
        assert 'http-equiv="refresh"' not in sound(page)
        assert "7 rows" in page


def test_the_first_run_leads_through_three_steps(full: Plant) -> None:
    told = text_of(sound(pages.first_run_page([], INSTALLER)))
    assert "Welcome: your first home" in told
    assert f"/sites/{full.site.id}/readings" in pages.first_run_page([full.row(result=None)], INSTALLER)


def test_a_year_of_pages_stays_small(full: Plant) -> None:
    page = pages.site_page(full.row(), full.facts, [], INSTALLER, {}, NOW)
    assert len(page) < 5_000 * DAYS


@pytest.mark.parametrize("meter_set", ["electricity_15min", "hourly", "monthly"])
@pytest.mark.parametrize("days", [3, 40])
def test_every_page_bears_thin_data(meter_set: str, days: int) -> None:
    made = simulate(random_plant(3, meter_set=meter_set), date(2024, 12, 1), days)
    site = parse_site(made.site_toml)
    last = date(2024, 12, 1) + timedelta(days - 1)
    facts = build_facts(site, made.readings, date(2024, 12, 1), last)
    plant = Plant(site, facts, analyse(site, facts, date(2024, 12, 1), last))
    about = site.model_dump(mode="json", by_alias=True, exclude={"point", "csv", "limits"})
    contents = {
        "site": about,
        "result": plant.document,
        "days": day_rows(facts),
        "month_before": plant.document,
    }
    row = plant.row()
    for page in (
        pages.fleet_page([row], INSTALLER, {}, NOW),
        pages.visits_page([row], INSTALLER, {}, NOW),
        pages.site_page(row, facts, [], INSTALLER, {}, NOW),
        pages.home_page(row, contents, [], HOUSEHOLDER, {}, NOW),
        pages.winter_page(row, contents, INSTALLER, {}, NOW),
        pages.winter_list_page([pages.winter_entry(row) | {"signed": None}], INSTALLER),
    ):
        assert "nan" not in text_of(sound(page)).split()
    for kind in ("month", "winter", "hand-over"):
        assert site.name in paper_html(kind, "2024-12", contents)


def test_a_home_s_page_is_light_and_fetches_what_is_folded(cycling: Plant) -> None:
    page = pages.site_page(cycling.row(), cycling.facts, [], INSTALLER, {"from": "2024-10-01"}, NOW)
    assert len(gzip.compress(page.encode(), 5)) < 25_000, "as sent"
    later = [unescape(a) for a in re.findall(r'<details[^>]* data-later="([^"]+)"', page)]
    assert f"/sites/{cycling.site.id}/figures/heat/numbers?from=2024-10-01" in later
    assert len(later) == page.count('class="later small"'), "each can be followed without a script"
    folded = next(a for a in later if "of=" in a)
    names = folded.partition("of=")[2].split(",")
    drawn = pages.figures_page(
        names, cycling.site, cycling.document, cycling.facts, INSTALLER, {"from": "2024-10-01"}, part=True
    )
    assert "<html" not in drawn
    assert re.findall(r'data-figure="(\w+)"', drawn) == names
    numbers = pages.numbers_page(
        "trace", cycling.site, cycling.document, cycling.facts, INSTALLER, {}, part=False
    )
    assert numbers.count("<tr>") == len(cycling.facts.days) + 1
    assert f'href="/sites/{cycling.site.id}#trace"' in numbers
