"""The verdict: in order only if everything important was assessed and no finding is open."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.findings.judge import RULES
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.verdict import (
    GONE_AFTER,
    MATTER_OF,
    MATTERS,
    SILENT_AFTER,
    VERDICTS,
    WORDS,
    given_verdict,
    verdict,
    with_silence,
)
from tests.contract_codes import CONTRACT_CODES

PLAIN = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
[[point]]
id = "hp"
quantity = "heat_pump_electricity"
as = "power"
"""
WITH_WATER = (
    PLAIN + "[hot_water]\ncylinder_litres = 200\n[heating_curve]\npoints = [[-3.0, 45.0], [15.0, 28.0]]\n"
)
ALL = frozenset(CONTRACT_CODES)


@pytest.fixture
def site() -> Site:
    return parse_site(WITH_WATER)


def document(**more: Any) -> dict[str, Any]:
    return {"findings": [], "not_assessed": [], "comfort": {"zones": {}}, **more}


def finding(code: str, severity: str, until: str | None = None) -> dict[str, Any]:
    return {"code": code, "severity": severity, "until": until, "headline": f"{code} is so"}


def unanswered(code: str, reason_code: str = "missing_quantity") -> dict[str, Any]:
    return {"code": code, "reason": "needs cylinder_temperature", "reason_code": reason_code}


def test_every_rule_code_stands_in_the_table() -> None:
    """A new finding that nobody enters would never count against "in order"."""
    assert {rule.code for rule in RULES} <= set(MATTER_OF)


def test_the_table_is_the_contracts_and_has_each_code_once() -> None:
    told = [code for matter in MATTERS for code in matter.codes]
    assert sorted(told) == sorted(set(told))
    assert set(told) >= ALL


def test_every_verdict_has_its_words() -> None:
    assert set(VERDICTS) == set(WORDS)
    assert WORDS["in_order"] == "in order"


def test_everything_assessed_and_nothing_found_is_in_order(site: Site) -> None:
    told = verdict(site, document(), ALL)
    assert told["verdict"] == "in_order"
    assert told["missing"] == []
    assert {b["matter"] for b in told["because"]} == {m.key for m in MATTERS}


@pytest.mark.parametrize("matter", [m.key for m in MATTERS])
def test_one_unanswered_question_makes_it_not_known(site: Site, matter: str) -> None:
    """Each question of each matter, with all codes that answer it unassessed."""
    for question in next(m for m in MATTERS if m.key == matter).questions:
        told = verdict(site, document(not_assessed=[unanswered(c) for c in question.codes]), ALL)
        assert told["verdict"] == "not_known"
        missing = next(m for m in told["missing"] if m["question"] == question.asks)
        assert missing["matter"] == matter
        assert missing["reason"] == "needs cylinder_temperature"
        assert "heat_pump_electricity" not in missing["meters"], "it is measured"
        assert set(missing["meters"]) <= set(question.meters)


def test_one_code_is_enough_where_several_answer_a_question(site: Site) -> None:
    codes = ("efficiency_below_expected", "efficiency_fell", "performance_below_promise")
    told = verdict(site, document(not_assessed=[unanswered(c) for c in codes]), ALL)
    assert told["verdict"] == "in_order"


def test_what_does_not_apply_counts_as_answered(site: Site) -> None:
    codes = ("disinfection_lacking", "pasteurisation_missed")
    told = verdict(site, document(not_assessed=[unanswered(c, "not_applicable") for c in codes]), ALL)
    assert told["verdict"] == "in_order"


def test_what_does_not_apply_answers_nothing_for_what_does(site: Site) -> None:
    """No disinfection is scheduled, and whether the water needs one is not measured."""
    gaps = [unanswered("pasteurisation_missed", "not_applicable"), unanswered("disinfection_lacking")]
    told = verdict(site, document(not_assessed=gaps), ALL)
    assert [m["question"] for m in told["missing"]] == ["Is the stored water disinfected?"]


def test_a_plant_without_hot_water_needs_none_assessed() -> None:
    water = ("hot_water_shortfall", "water_too_hot", "disinfection_lacking", "pasteurisation_missed")
    gaps = [unanswered(c) for c in water]
    assert verdict(parse_site(PLAIN), document(not_assessed=gaps), ALL)["verdict"] == "in_order"
    assert verdict(parse_site(WITH_WATER), document(not_assessed=gaps), ALL)["verdict"] == "not_known"


def test_a_code_without_a_rule_is_spoken_for_by_others_of_its_matter(site: Site) -> None:
    """water_too_hot has no rule here: the other findings about safety answer, unless none of them could be
    assessed."""
    rules = ALL - {"water_too_hot"}
    assert verdict(site, document(), rules)["verdict"] == "in_order"
    safety = [c for c in next(m for m in MATTERS if m.key == "safety").codes if c in rules]
    told = verdict(site, document(not_assessed=[unanswered(c) for c in safety]), rules)
    assert "Can the stored water scald?" in [m["question"] for m in told["missing"]]


@pytest.mark.parametrize("severity", ["watch", "act", "urgent"])
def test_the_worst_open_finding_decides(site: Site, severity: str) -> None:
    found = [
        finding("short_cycling", "watch"),
        finding("room_below_target", severity),
        finding("low_flow", "note"),
    ]
    told = verdict(site, document(findings=found, not_assessed=[unanswered("data_gap")]), ALL)
    assert told["verdict"] == severity
    assert [b["code"] for b in told["because"]] == ["short_cycling", "room_below_target"]
    assert told["missing"], "what is not known is said beside what is wrong"


def test_what_ended_and_what_is_only_a_note_does_not_count(site: Site) -> None:
    found = [finding("short_cycling", "act", until="2026-01-01"), finding("low_flow", "note")]
    assert verdict(site, document(findings=found), ALL)["verdict"] == "in_order"


def test_what_is_probable_but_not_sure_leaves_it_not_known(site: Site) -> None:
    """A window open all winter: a fifth more heat than designed, by an interval that reaches the design."""
    doubt = finding("heat_loss_above_design", "note") | {"undecided": True}
    told = verdict(site, document(findings=[doubt]), ALL)
    assert told["verdict"] == "not_known"
    assert [(m["matter"], m["reason_code"]) for m in told["missing"]] == [("efficiency", "not_enough_data")]
    assert doubt["headline"] in told["missing"][0]["reason"]


@pytest.mark.parametrize(
    ("cool", "cold", "told"),
    [(0.3, 0.01, "in_order"), (0.6, 0.01, "watch"), (0.3, 0.2, "watch"), (None, None, "in_order")],
)
def test_a_zone_that_is_cold_for_hours_is_not_in_order(
    site: Site, cool: float | None, cold: float | None, told: str
) -> None:
    zone = {"mean_c": 19.0, "target_c": 20.0, "share_below_target": cool, "share_far_below": cold}
    given = verdict(site, document(comfort={"zones": {"upper": zone}, "recent": {"upper": zone}}), ALL)
    assert given["verdict"] == told
    if told == "watch":
        assert "hours a day" in given["because"][0]["says"]


def test_a_zone_noted_as_cold_without_a_set_temperature_is_not_known(site: Site) -> None:
    """One below its own target is a note about size; one of which nobody knows what is asked is no answer."""
    for limit_name, told in (("room_cold_c", "not_known"), ("room_deficit_note", "in_order")):
        cold = finding("room_below_target", "note") | {"evidence": [{"limit_name": limit_name}]}
        given = verdict(site, document(findings=[cold]), ALL)
        assert given["verdict"] == told
        assert [m["meters"] for m in given["missing"]] == [["target_room_temperature"]] * (told != "in_order")


def test_without_a_result_it_is_not_known() -> None:
    told = given_verdict(None, "no readings yet")
    assert told["verdict"] == "not_known"
    assert told["missing"][0]["reason"] == "no readings yet"


@pytest.mark.parametrize(
    ("quiet", "before", "after"),
    [
        (None, "in_order", "in_order"),
        (SILENT_AFTER, "in_order", "in_order"),
        (SILENT_AFTER + timedelta(minutes=1), "in_order", "watch"),
        (SILENT_AFTER * 2, "not_known", "watch"),
        (SILENT_AFTER * 2, "act", "act"),
        (GONE_AFTER + timedelta(minutes=1), "watch", "act"),
        (GONE_AFTER * 2, "urgent", "urgent"),
    ],
)
def test_a_home_nobody_hears_from_is_not_in_order(quiet: timedelta | None, before: str, after: str) -> None:
    told = with_silence({"verdict": before, "because": [], "missing": []}, quiet)
    assert told["verdict"] == after
    assert any(b["code"] == "silence" for b in told["because"]) is (
        quiet is not None and quiet > SILENT_AFTER
    )


@pytest.mark.parametrize("seed", range(5))
def test_in_order_means_that_nothing_more_than_a_note_stands(site: Site, seed: int) -> None:
    """Of many results with findings drawn at random: none of watch or worse stands, none that answers a
    question ended as more than a note, and most of the time was read."""
    rng = np.random.default_rng(seed)
    answers = {code for matter in MATTERS for q in matter.questions for code in q.codes}
    in_order = 0
    for _ in range(400):
        found = [
            finding(
                str(rng.choice(sorted(ALL))),
                str(rng.choice(["note", "note", "watch", "act", "urgent"])),
                "2026-01-15" if rng.random() < 0.7 else None,
            )
            for _ in range(rng.integers(0, 4))
        ]
        share = float(rng.choice([0.2, 0.49, 0.51, 1.0]))
        told = verdict(site, document(findings=found, coverage={"share": share}), ALL)
        if told["verdict"] != "in_order":
            continue
        in_order += 1
        graver = [f for f in found if f["severity"] != "note"]
        assert all(f["until"] and f["code"] not in answers for f in graver)
        assert share > 0.5
    assert in_order > 20


def test_a_long_gap_that_ended_leaves_it_not_known(site: Site) -> None:
    gap = finding("data_gap", "watch", until="2026-01-15")
    told = verdict(site, document(findings=[gap]), ALL)
    assert (told["verdict"], [m["matter"] for m in told["missing"]]) == ("not_known", ["data"])
