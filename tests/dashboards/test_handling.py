"""Decisions about findings on pages: texts, and their effect on rank."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.reports.fleet import fleet_summary
from fieldfare.analysis.reports.verdict import verdict
from fieldfare.dashboards import pages
from fieldfare.dashboards.fleet.entries import entry_of
from fieldfare.dashboards.text.handling import (
    dealt_with,
    decision_sentences,
    in_order,
    is_put_aside,
    short,
    sinks,
)
from tests.dashboards.conftest import HOUSEHOLDER, INSTALLER, NOW, SHORT_CYCLING, Plant
from tests.dashboards.test_pages import sound, text_of

BASE = {
    "state": "muted",
    "who": "Kim",
    "by": "Lou",
    "until": "2025-02-03",
    "decided": "2025-01-28",
    "reason": "part is ordered",
    "holds": True,
    "worse": False,
}
TOO_HOT = replace(SHORT_CYCLING, code="water_too_hot", headline="Water at 71 °C.", since="2025-01-20")
STANDBY = replace(SHORT_CYCLING, code="high_standby", severity="watch", headline="Draws 90 W.", cost_kwh=9.0)
SAFETY = (
    "unit_stopped",
    "water_too_hot",
    "disinfection_lacking",
    "frost_risk",
    "pressure_low",
    "pressure_falling",
    "pressure_high",
)


def decision(**more: Any) -> dict[str, Any]:
    return BASE | more


@pytest.mark.parametrize(
    ("more", "code", "said"),
    [
        (
            {},
            "short_cycling",
            (
                "Muted until 3 Feb 2025 by Lou: part is ordered. The verdict comes from the readings and"
                " stays as it is."
            ),
        ),
        (
            {},
            "water_too_hot",
            (
                "Muted until 3 Feb 2025 by Lou: part is ordered. People or the plant can come to harm: it"
                " still counts in the verdict, and the home keeps its place in the list."
            ),
        ),
        (
            {"holds": False},
            "short_cycling",
            "Was muted until 3 Feb 2025 by Lou: part is ordered. It is open again.",
        ),
        (
            {"holds": False, "worse": True},
            "short_cycling",
            "Muted until 3 Feb 2025 by Lou: part is ordered. It has got worse since, so it is open again.",
        ),
        ({"state": "in_hand", "reason": ""}, "short_cycling", "In hand: Kim, until 3 Feb 2025."),
        ({"state": "in_hand", "reason": "", "until": None}, "short_cycling", "In hand: Kim."),
        (
            {"state": "no_fault", "until": None, "reason": "a party."},
            "short_cycling",
            (
                "Not a fault, says Lou (28 Jan 2025): a party. The verdict comes from the readings and stays"
                " as it is."
            ),
        ),
        (
            {"state": "done", "reason": ""},
            "short_cycling",
            (
                "Job done, logged by Lou on 28 Jan 2025. If the readings still show it after 3 Feb 2025, it"
                " opens again."
            ),
        ),
        (
            {"state": "done", "reason": "", "holds": False},
            "short_cycling",
            "Job done, logged by Lou on 28 Jan 2025. The readings still show it, so it is open again.",
        ),
        ({"state": "seen", "reason": "", "until": None}, "short_cycling", "Seen by Lou on 28 Jan 2025."),
    ],
)
def test_a_decision_in_words(more: dict[str, Any], code: str, said: str) -> None:
    assert decision_sentences(decision(**more), code).replace("\u00a0", " ") == said


@pytest.mark.parametrize("code", SAFETY)
@pytest.mark.parametrize("state", ["muted", "no_fault"])
def test_what_may_harm_never_sinks_by_muting(code: str, state: str) -> None:
    assert not sinks(decision(state=state), code)
    assert not is_put_aside(decision(state=state), code)
    assert sinks(decision(state="in_hand"), code)
    assert not is_put_aside(decision(state="in_hand"), code), "it is still to do"
    assert is_put_aside(decision(state="done"), code)


def test_what_no_longer_holds_or_was_only_seen_stays() -> None:
    assert not sinks(decision(holds=False), "short_cycling")
    assert not sinks(decision(state="seen"), "short_cycling")
    assert not sinks(None, "short_cycling")
    assert sinks(decision(), "short_cycling")
    assert short(decision()).replace("\u00a0", " ") == "muted until 3 Feb"


def site(plant: Plant, handled: dict[str, Any], visitor: dict[str, Any] = INSTALLER) -> str:
    row = plant.row(handled=handled, people={"kim@heating.example": "Kim"})
    return pages.site_page(row, plant.facts, [], visitor, {}, NOW)


def order(page: str) -> list[str]:
    return re.findall(r'<article [^>]*id="finding-(\w+)"', page)


def test_cards_sink_and_say_so(full: Plant) -> None:
    plant = full.with_findings(SHORT_CYCLING, TOO_HOT, STANDBY)
    first = order(site(plant, {}))[0]
    page = sound(site(plant, {first: decision(state="in_hand", reason="")}))
    assert order(page)[-1] == first
    assert "In hand: Kim, until" in text_of(page)
    assert 'value="undo">Undo' in page
    assert order(site(plant, {"water_too_hot": decision()})) == order(site(plant, {}))
    assert 'value="undo">Undo' not in site(plant, {first: decision()}, HOUSEHOLDER)


def test_every_open_card_has_its_forms_and_a_past_one_has_none(full: Plant) -> None:
    gone = replace(STANDBY, until="2024-12-01")
    page = sound(site(full.with_findings(SHORT_CYCLING, TOO_HOT, gone), {}))
    for code in ("short_cycling", "water_too_hot"):
        assert page.count(f'action="/sites/{full.site.id}/findings/{code}"') == 4, (
            "in hand, mute, not a fault, seen"
        )
        assert f'/works/new?finding={code}"' in page
    assert "/findings/high_standby" not in page


def homes(full: Plant, handled: dict[str, Any], finding: Finding = SHORT_CYCLING) -> list[dict[str, Any]]:
    """The first home has the worse finding, about which something was decided."""
    worse, better = full.with_findings(finding), full.with_findings(STANDBY)
    fine = full.with_findings()
    return [
        worse.row(id="worse-row", name="Worse Row", handled=handled),
        better.row(id="better-row", name="Better Row"),
        fine.row(id="fine-row", name="Fine Row"),
    ]


def listed(rows: list[dict[str, Any]], **query: str) -> list[str]:
    page = pages.fleet_page(rows, INSTALLER, query, NOW)
    return [part.split('"')[0] for part in page.split('<h2><a href="/sites/')[1:]]


def test_a_home_in_hand_sinks_in_the_list_and_keeps_its_verdict(full: Plant) -> None:
    held = {"short_cycling": decision(state="in_hand", reason="")}
    assert listed(homes(full, {}))[0] == "worse-row"
    rows = homes(full, held)
    assert listed(rows)[:2] == ["better-row", "worse-row"]
    page = text_of(sound(pages.fleet_page(rows, INSTALLER, {}, NOW))).replace("\u00a0", " ")
    assert "in hand, Kim until 3 Feb" in page
    assert page.count("Needs work") == text_of(pages.fleet_page(homes(full, {}), INSTALLER, {}, NOW)).count(
        "Needs work"
    )
    assert listed(rows, show="dealt") == ["worse-row"]
    assert "worse-row" not in listed(rows, show="free")
    assert "better-row" in listed(rows, show="free")


def test_a_muted_danger_keeps_the_home_s_place(full: Plant) -> None:
    assert listed(homes(full, {"water_too_hot": decision()}, TOO_HOT))[0] == "worse-row"
    assert listed(homes(full, {"water_too_hot": decision(state="in_hand")}, TOO_HOT))[0] == "better-row"


def test_what_is_put_aside_is_on_no_round(full: Plant) -> None:
    shown = pages.visits_page(homes(full, {"short_cycling": decision(state="in_hand")}), INSTALLER, {}, NOW)
    assert "in hand, Kim until" in shown.replace("\u00a0", " ")
    aside = pages.visits_page(homes(full, {"short_cycling": decision()}), INSTALLER, {}, NOW)
    assert "Worse Row" not in aside


FALLING = replace(SHORT_CYCLING, code="pressure_falling", headline="Loses 0.2 bar a week.")
LOW = replace(SHORT_CYCLING, code="pressure_low", severity="watch", headline="The pressure is 0.9 bar.")


def test_a_muted_finding_is_not_the_reason_of_a_graver_verdict(full: Plant) -> None:
    plant = full.with_findings(FALLING, LOW, STANDBY)
    document = plant.document | {"verdict": verdict(plant.site, plant.document)}
    handled = {
        "pressure_falling": decision(state="done", reason=""),
        "pressure_low": decision(reason="is topped up today"),
    }
    assert order(site(plant, handled)) == ["high_standby", "pressure_falling", "pressure_low"]
    entry = entry_of(plant.row(result=document, handled=handled), NOW)
    assert entry["verdict"] == "act"
    assert entry["open"][0]["code"] == "pressure_falling"
    assert "Loses 0.2 bar" in entry["said"].replace("\u00a0", " ")
    told = fleet_summary(document, dealt_with(handled))
    assert told["code"] == "pressure_falling", "lists of the API and the command line show the same reason"


def test_a_home_above_a_graver_mark_says_why(full: Plant) -> None:
    ahead = replace(LOW, headline="The pressure is 0.9 bar.")
    near, costly, fine = full.with_findings(ahead), full.with_findings(SHORT_CYCLING), full.with_findings()

    def row(plant: Plant, name: str, **more: Any) -> dict[str, Any]:
        result = plant.document | {"verdict": verdict(plant.site, plant.document)}
        return plant.row(id=name, name=name, result=result, **more)

    rows = [row(costly, "costly"), row(near, "near"), row(fine, "fine")]
    page = text_of(sound(pages.fleet_page(rows, INSTALLER, {}, NOW)))
    assert page.count("Why here: what may do harm comes before cost") == 1
    assert page.index("Why here") < page.index("costly")
    assert "Why here" not in pages.fleet_page(rows, INSTALLER, {"sort": "name"}, NOW)
    held = {"short_cycling": decision(state="in_hand", reason="")}
    rows = [row(costly, "costly", handled=held), row(near, "near")]
    assert "Why here" not in pages.fleet_page(rows, INSTALLER, {}, NOW), "that home waits for nobody"


@pytest.mark.parametrize(
    ("state", "weight", "code", "first"),
    [
        ("in_hand", 0.8, "performance_below_promise", "efficiency_fell"),
        ("done", 0.8, "performance_below_promise", "efficiency_fell"),
        ("in_hand", 0.3, "performance_below_promise", "performance_below_promise"),  # much is left to find
        ("no_fault", 0.8, "performance_below_promise", "performance_below_promise"),  # it explains nothing
        ("in_hand", 0.8, "pressure_low", "pressure_low"),  # the unit may stop meanwhile
    ],
)
def test_a_finding_follows_the_one_in_hand_that_explains_it(
    state: str, weight: float, code: str, first: str
) -> None:
    causes = [{"cause": "efficiency_fell", "weight": weight, "because": ""}]
    found = [
        {"code": "efficiency_fell", "severity": "watch", "causes": []},
        {"code": code, "severity": "watch", "causes": causes},
    ]
    assert in_order(found, {"efficiency_fell": decision(state=state)})[0]["code"] == first
