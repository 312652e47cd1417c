"""The list of homes: search, filters, order and URL."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fieldfare.analysis.findings.model import Cause
from fieldfare.dashboards import pages
from fieldfare.dashboards.fleet.choice import (
    PER_PAGE,
    Counts,
    address_of,
    asked_of,
    did_you_mean,
)
from fieldfare.dashboards.fleet.entries import entry_of
from fieldfare.dashboards.pages.fleet import summary_of
from fieldfare.dashboards.rows.design_vs_measured import two_sides
from tests.dashboards.conftest import INSTALLER, NOW, SHORT_CYCLING, Plant
from tests.dashboards.test_pages import sound, text_of

DEAR = replace(
    SHORT_CYCLING,
    code="high_standby",
    severity="watch",
    headline="Draws 900 W.",
    cost_kwh=4000.0,
    since="2025-01-20",
)
OLD = replace(
    SHORT_CYCLING,
    code="low_flow",
    severity="watch",
    headline="Flow 0.4 m3/h.",
    cost_kwh=10.0,
    since="2024-10-02",
)


def efficient(plant: Plant, value: float | None) -> dict[str, Any]:
    """The plant's result with another efficiency at every boundary."""
    told = {b: None if value is None else {"value": value} for b in ("H1", "H2", "H3", "H4")}
    document = plant.document
    return document | {"performance": document["performance"] | told}


@pytest.fixture
def rows(full: Plant) -> list[dict[str, Any]]:
    worst, dear, old = (full.with_findings(f) for f in (SHORT_CYCLING, DEAR, OLD))
    return [
        old.row(id="old-oak", name="Old Oak", result=efficient(old, None), heard=NOW - timedelta(minutes=5)),
        dear.row(
            id="dear-dale", name="dear Dale", result=efficient(dear, 2.1), heard=NOW - timedelta(minutes=9)
        ),
        worst.row(
            id="worst-way", name="Worst Way", result=efficient(worst, 3.4), heard=NOW - timedelta(minutes=1)
        ),
    ]


def listed(rows: list[dict[str, Any]], **query: str) -> list[str]:
    page = sound(pages.fleet_page(rows, INSTALLER, query, NOW))
    main = page[page.index("<ol") :]
    return list(dict.fromkeys(re.findall(r'href="/sites/([a-z0-9-]+)"', main)))


@pytest.mark.parametrize(
    ("sort", "ids"),
    [
        ("harm", ["dear-dale", "worst-way", "old-oak"]),
        ("cost", ["dear-dale", "worst-way", "old-oak"]),
        ("age", ["old-oak", "worst-way", "dear-dale"]),
        ("efficiency", ["dear-dale", "worst-way", "old-oak"]),
        ("heard", ["dear-dale", "old-oak", "worst-way"]),
        ("name", ["dear-dale", "old-oak", "worst-way"]),
        ("sideways", ["dear-dale", "worst-way", "old-oak"]),
    ],
)
def test_the_order(rows: list[dict[str, Any]], sort: str, ids: list[str]) -> None:
    assert listed(rows, sort=sort) == ids


@pytest.mark.parametrize(
    ("query", "ids"),
    [
        ({"q": "worst"}, {"worst-way"}),
        ({"q": "NEEDS WORK"}, {"worst-way"}),
        ({"q": "needs watching"}, {"dear-dale", "old-oak"}),
        ({"q": "watching dale"}, {"dear-dale"}),
        ({"q": "visit"}, {"worst-way", "dear-dale", "old-oak"}),
        ({"q": "kim"}, {"old-oak"}),
        ({"verdict": "act"}, {"worst-way"}),
        ({"verdict": "watch", "show": "thin"}, {"old-oak"}),
        ({"verdict": "urgent"}, set()),
        ({"verdict": "watch", "q": "dear", "show": "drive", "sort": "name"}, {"dear-dale"}),
    ],
)
def test_search_and_filters_combine(rows: list[dict[str, Any]], query: dict[str, str], ids: set[str]) -> None:
    held = {
        "state": "in_hand",
        "who": "Kim",
        "by": "Kim",
        "until": "2025-02-03",
        "decided": "2025-01-28",
        "reason": "",
        "holds": True,
        "worse": False,
    }
    rows[0]["handled"] = {"low_flow": held}
    assert set(listed(rows, **query)) == ids


def test_the_choice_is_in_the_form_the_status_and_the_address(rows: list[dict[str, Any]]) -> None:
    query = {"q": "a & b", "show": "drive", "verdict": "watch", "sort": "cost", "rows": "full"}
    page = pages.fleet_page(rows, INSTALLER, query, NOW)
    assert 'value="a &amp; b"' in page
    for value in ("drive", "watch", "cost", "full"):
        assert f'<option value="{value}" selected>' in page
    assert "“a &amp; b”, needs a visit, needs watching, costliest first" in text_of(page)
    assert asked_of(query) == {**query, "page": "1"}
    assert address_of(asked_of({})) == "/"
    assert address_of(asked_of({"sort": "name", "page": "1"}), page="2") == "/?sort=name&page=2"


@pytest.mark.parametrize("page", ["0", "-1", "x", "²", "9" * 40, ""])
def test_a_wrong_page_number_is_the_first_or_the_last(rows: list[dict[str, Any]], page: str) -> None:
    assert len(listed(rows, page=page)) == 3


def test_a_list_has_a_line_a_home_and_pages(rows: list[dict[str, Any]]) -> None:
    many = [rows[n % 3] | {"id": f"home-{n}", "name": f"Home {n:03d}"} for n in range(PER_PAGE + 7)]
    page = sound(pages.fleet_page(many, INSTALLER, {"sort": "name"}, NOW))
    assert len(re.findall(r'<summary>\s*<span class="mark">', page)) == PER_PAGE
    assert f"{PER_PAGE + 7} homes, by name; 1 to {PER_PAGE} on this page" in text_of(page)
    assert 'href="/?sort=name&amp;page=2"' in page
    assert listed(many, sort="name", page="2") == [f"home-{n}" for n in range(PER_PAGE, PER_PAGE + 7)]
    assert listed(many, sort="name", page="99") == listed(many, sort="name", page="2")
    assert '<details>\n            <summary>\n              <span class="mark">' not in pages.fleet_page(
        many, INSTALLER, {"rows": "full"}, NOW
    )


def test_what_a_finding_explains_of_another_is_not_added_twice(full: Plant) -> None:
    promise = replace(
        DEAR, code="performance_below_promise", cost_kwh=4010.0, causes=(Cause("high_standby", 1.0, "told"),)
    )
    dear = replace(DEAR, cost_money=1000.0)
    promise = replace(promise, cost_money=1002.0)
    told = {f.code: entry_of(full.with_findings(dear, f).row(), NOW)["price"] for f in (OLD, promise)}
    assert told["low_flow"] == "about €1\u202f061 a year (4\u202f010\xa0kWh) in all"
    assert told["performance_below_promise"] == "about €1\u202f002 a year (4\u202f010\xa0kWh) in all"


def test_the_loss_of_the_quiet_hours_is_told_as_that_beside_a_finding_of_the_day(full: Plant) -> None:
    by_day = replace(DEAR, code="high_standing_loss", headline="By day the cylinder loses 5.0 kWh a day.")
    plant = full.with_findings(by_day)
    rows = {s.what: s.remark for s in two_sides(plant.site, plant.document, [])}
    assert "By day the cylinder" in rows["Cylinder's standing loss, quiet hours"].replace("by day", "By day")
    rows = {s.what: s.remark for s in two_sides(full.site, full.with_findings().document, [])}
    assert rows["Cylinder's standing loss, quiet hours"] == "Between draws, mostly at night"


def test_a_search_finds_what_the_cards_show(rows: list[dict[str, Any]]) -> None:
    step = SHORT_CYCLING.next_step.split()[0]
    for sought, least in ((step, 1), ("kWh", 1), ("900 W", 1)):
        assert len(listed(rows, q=sought)) >= least, sought


def test_a_muted_finding_costs_no_more(full: Plant) -> None:
    plant = full.with_findings(DEAR)
    open_row = plant.row(id="dear-dale", name="Dear Dale")
    handling = {
        "state": "muted",
        "holds": True,
        "worse": False,
        "who": "",
        "by": "A",
        "until": "2026-01-01",
        "decided": "2025-12-01",
        "reason": "known",
    }
    muted = entry_of(open_row | {"handled": {"high_standby": handling}}, NOW)
    still_open = entry_of(open_row, NOW)
    assert still_open["price"]
    assert (muted["price"], muted["money"]) == ("", 0.0)
    in_hand = entry_of(open_row | {"handled": {"high_standby": handling | {"state": "in_hand"}}}, NOW)
    assert in_hand["price"] == still_open["price"], "who takes it in hand has not mended it yet"


def test_currencies_always_stand_in_one_order() -> None:
    counts = Counts(2, {"act": 2}, 0, 0, {})
    texts = {
        summary_of(counts._replace(money=m)) for m in ({"EUR": 5.0, "GBP": 9.0}, {"GBP": 9.0, "EUR": 5.0})
    }
    assert len(texts) == 1


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("strianer", "strainer"),
        ("bech lane strainer", "beech lane strainer"),
        ("strainer", ""),
        ("qqqqqq", ""),
        ("beach oak", ""),
        ("", ""),
    ],
)
def test_a_misspelt_search_is_answered_with_a_close_one_that_finds_a_home(typed: str, meant: str) -> None:
    texts = ["beech lane hill clean the strainer", "oak end mill starts too often"]
    assert did_you_mean({"q": typed}, texts) == meant


def test_the_list_offers_the_close_search(rows: list[dict[str, Any]]) -> None:
    page = text_of(sound(pages.fleet_page(rows, INSTALLER, {"q": "oftne"}, NOW)))
    assert "Did you mean often" in " ".join(page.split())
    assert "Did you mean" not in pages.fleet_page(rows, INSTALLER, {"q": "often"}, NOW)


def test_a_price_that_is_not_of_the_finding_beside_it_is_told_as_that_of_all(full: Plant) -> None:
    """The dear finding is in hand, so another stands first; the price is still mostly the dear one's."""
    handling = {
        "state": "in_hand",
        "holds": True,
        "worse": False,
        "who": "A",
        "by": "A",
        "until": "2026-01-01",
        "decided": "2025-12-01",
        "reason": "",
    }
    cheap = replace(OLD, cost_kwh=None)
    row = full.with_findings(DEAR, cheap).row(id="dear-dale", name="Dear Dale")
    entry = entry_of(row | {"handled": {DEAR.code: handling}}, NOW)
    assert entry["open"][0]["code"] == cheap.code
    assert entry["price"].endswith(" in all")
    alone = entry_of(full.with_findings(DEAR).row(id="dear-dale", name="Dear Dale"), NOW)
    assert alone["price"] == entry["price"].removesuffix(" in all")
