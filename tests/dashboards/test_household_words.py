"""Texts for the household: no words of statistics, of the trade's standards or of the program."""

from __future__ import annotations

import re
from dataclasses import asdict, replace
from html import unescape
from typing import Any

import pytest

from fieldfare.analysis.advice.plan import plan
from fieldfare.analysis.reports.what_if import answer
from fieldfare.dashboards import pages
from fieldfare.dashboards.answers import bill_texts, complaint_texts, plan_texts
from fieldfare.dashboards.answers.present_bill import present_bill
from fieldfare.dashboards.papers import paper_html
from fieldfare.dashboards.text.catalogue import messages
from fieldfare.dashboards.text.home_standing import to_do
from tests.dashboards.conftest import HOUSEHOLDER, NOW, SHORT_CYCLING, Plant
from tests.dashboards.test_answers import document, part
from tests.dashboards.test_pages import month_of, text_of

FORBIDDEN = {
    r"shapley|theil|bayes\w*|gauss\w*|bootstrap\w*": "names of methods",
    r"median|quantile|percentile|quartile": "say typical, usual or half of",
    r"standard (deviation|error|uncertainty)|variance|sigma": "say usual spread",
    r"confidence|likelihood|probabilit\w+|posterior|prior": "say how sure",
    r"regression|regressed|fitted|least squares|residual\w*|correlat\w+": "say calculated from",
    r"significan\w+|p-value|null hypothesis|outlier\w*|statistic\w*": "say clearly more, or unusual",
    r"coefficient\w*|parameter\w*|exponent": "name the quantity",
    r"second law|carnot|exergy|entropy": "say estimated from the temperatures",
    r"SPF|SCOP|H[1-4]|COP": "say units of heat for each unit of electricity",
    r"algorithm\w*|dataset|null|NaN|boolean|JSON|API": "words of the program",
}
"""Words, whole and in any case, and why the household does not read them or what it reads instead.

"Ranges are 95 % intervals" stays: one plain sentence at the foot of a paper says what brackets mean."""
SEEN = re.compile("|".join(rf"\b(?:{words})\b" for words in FORBIDDEN), re.IGNORECASE)


def read(page: str) -> str:
    """What a reader sees of a page or paper."""
    return unescape(text_of(re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)))


def found_in(text: str) -> list[str]:
    return [text[max(0, m.start() - 40) : m.end() + 20] for m in SEEN.finditer(text)]


def test_no_translated_message_has_such_a_word() -> None:
    told = [text for m in messages() for text in ([m] if isinstance(m, str) else m)]
    assert len(told) > 250
    assert [t for t in told if SEEN.search(t)] == []


def test_no_text_of_an_answer_to_the_household_has_such_a_word() -> None:
    told = [
        *bill_texts.PARTS.values(),
        *bill_texts.LESS.values(),
        *bill_texts.MORE_SENTENCES.values(),
        *bill_texts.LESS_SENTENCES.values(),
        *(text for beside in bill_texts.BESIDE.values() for text in beside),
        *bill_texts.OWN_ADVICE.values(),
        *bill_texts.ASK.values(),
        *bill_texts.AGAINST.values(),
        *plan_texts.HOME_DO.values(),
        *(name for name, _ in complaint_texts.VALUES.values()),
    ]
    assert [t for t in told if SEEN.search(t)] == []


def test_no_answer_about_a_bill_has_such_a_word() -> None:
    parts = [part(code, value) for code in bill_texts.PARTS for value in (30.0, -30.0)]
    told = repr(present_bill(document(*parts), home=True))
    assert found_in(told) == []
    assert "Shapley" in present_bill(document(*parts), home=False)["method"], "the desk has its name"


def asked(plant: Plant) -> list[dict[str, Any]]:
    """Every what-if question."""
    questions: dict[str, Any] = {"lower_curve_k": 3.0, "hot_water_c": 48.0, "hot_water_hour": 13}
    questions["band"] = (0.1, 0, 5)
    questions["rooms_warmer_k"] = -1.0
    return [answer(plant.site, plant.facts, plant.document, q, v) for q, v in questions.items()]


@pytest.mark.parametrize("which", ["home", "what if", "month", "advice"])
def test_no_page_or_paper_of_the_household_has_such_a_word(full: Plant, cycling: Plant, which: str) -> None:
    if which == "home":
        page = pages.home_page(cycling.row(), month_of(cycling), [], HOUSEHOLDER, {}, NOW)
    elif which == "what if":
        page = pages.what_if_page(full.row(), {}, asked(full), "", HOUSEHOLDER)
    elif which == "month":
        page = paper_html("month", "2025-01", month_of(cycling))
    else:
        made = plan(full.site, full.facts, full.document, household=True)
        page = pages.advice_page(full.row(), made, "", HOUSEHOLDER)
    told = read(page)
    assert len(told) > 500
    assert found_in(told) == []


FALLING = replace(
    SHORT_CYCLING, code="pressure_falling", home="Please look for damp spots and tell your installer."
)
LOW = replace(SHORT_CYCLING, code="pressure_low", severity="watch", home="Top it up to the mark.")
HOT = replace(SHORT_CYCLING, code="water_too_hot", home="Run cold water first and mix.")


def test_a_request_rests_after_a_job_until_the_readings_tell() -> None:
    result = {
        "findings": [asdict(f) for f in (HOT, FALLING, LOW)],
        "period": {"from": "2024-12-01", "to": "2025-01-31"},
    }
    assert len(to_do(result)) == 3
    told = to_do(result, {"pressure_falling": "2025-01-30", "water_too_hot": "2025-01-30"})
    assert told[0] == "Run cold water first and mix.", "care against scalds does not rest"
    assert len(told) == 2
    assert told[1].replace("\u00a0", " ").startswith("We worked on this on 30 Jan 2025: ")
    assert "damp spots" not in " ".join(told)
    assert "Top it up" not in " ".join(told), "low pressure follows from the leak that was mended"


@pytest.mark.parametrize(
    ("half", "far", "verdict", "is_cold"),
    [
        (5.0, 0.0, "in_order", False),  # within what the verdict calls warm enough
        (13.0, 0.0, "in_order", True),  # the month was cold, its newest days were not
        (5.0, 3.0, "watch", True),
        (5.0, 0.0, "watch", True),  # a finding tells it
    ],
)
def test_what_is_said_of_the_rooms_goes_by_the_verdicts_rule(
    full: Plant, half: float, far: float, verdict: str, is_cold: bool
) -> None:
    contents = month_of(full.with_findings())
    for zone in contents["result"]["comfort"]["zones"].values():
        zone |= {"share_below_target": half / 24.0, "share_far_below": far / 24.0}
        zone |= {"mean_c": 19.242, "target_c": 19.474}  # shown as 19.2 and 19.5
    because = [{"matter": "rooms", "code": "room_below_target", "severity": "watch", "says": "Cold."}]
    given = {"verdict": verdict, "because": because if verdict == "watch" else [], "missing": []}
    contents["result"] |= {"verdict": given, "findings": []}
    contents["year"] = contents["result"]
    row = full.row(result=contents["result"])
    for page in (
        pages.home_page(row, contents, [], HOUSEHOLDER, {}, NOW),
        paper_html("month", "2025-01", contents),
    ):
        told = read(page).replace("\u00a0", " ")
        found = told.split("What was found, and what to do")[1]
        assert (f"below the set temperature for {half:.0f} hours a day" in told) == (
            is_cold and half + far > 5.0
        )
        assert ("warm enough, on average 0.3 °C below the set temperature" in told) == (not is_cold)
        assert ("tell your installer" in found) == is_cold
        assert ("in the newest days they were warm enough" in found) == (is_cold and verdict == "in_order")


def test_a_what_if_answer_stands_above_the_form_and_begins_with_what_does_not_hold(full: Plant) -> None:
    answers = [a | {"limits": [dict(a["limits"][0], holds=False)]} for a in asked(full) if a["limits"]]
    page = pages.what_if_page(full.row(), {"lower_curve_k": "3"}, answers, "", HOUSEHOLDER)
    assert 'what-if#answer"' in page
    answer_at = page.index('id="answer"')
    assert answer_at < page.index(": no.</b>") < page.index("Saves") < page.index("<fieldset>")
    empty = pages.what_if_page(full.row(), {"lower_curve_k": "", "hot_water_c": ""}, None, "", HOUSEHOLDER)
    assert "Fill in at least one question" in text_of(empty)
    assert "Fill in at least" not in text_of(pages.what_if_page(full.row(), {}, None, "", HOUSEHOLDER))


@pytest.mark.parametrize(("warmer_k", "title"), [(-1.0, "Rooms 1 °C cooler"), (1.0, "Rooms 1 °C warmer")])
def test_rooms_a_degree_cooler_save_and_warmer_ones_cost_in_plain_words(
    full: Plant, warmer_k: float, title: str
) -> None:
    told = answer(full.site, full.facts, full.document, "rooms_warmer_k", warmer_k)
    page = text_of(pages.what_if_page(full.row(), {"rooms_warmer_k": "1"}, [told], "", HOUSEHOLDER))
    assert title in page
    assert ("World Health" in page or "WHO" in page) is (warmer_k < 0.0)
    assert re.search(r"Saves \d+ kWh" if warmer_k < 0.0 else r"Costs \d+ kWh .* more", page), page
    assert "-" not in page[page.index(title) :].split("kWh")[0].replace(title, "")


def test_hot_water_that_the_site_file_leaves_out_is_not_denied(full: Plant) -> None:
    contents = month_of(full)
    contents["site"] = {**contents["site"], "hot_water": None}
    told = read(paper_html("month", "2025-01", contents))
    assert "Your hot water is not described here" in told
    assert "makes no hot water" not in told
