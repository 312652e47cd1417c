"""Answers by page, paper and API: with all numbers for the firm, in plain words for the household."""

from __future__ import annotations

import pytest

from tests.api.web import OTHER, OWN, Web

QUESTIONS = ("bill", "cold", "hot-water", "noise", "ice")


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("role", ["installer", "engineer", "householder", "link"])
def test_every_question_has_a_page_for_those_who_see_the_home(web: Web, role: str, question: str) -> None:
    answer = web[role].get(f"/sites/{OWN}/answers/{question}")
    assert answer.status_code == 200
    assert "<h1>" in answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("path", ["answers", "answers/cold", "answers/cold/paper"])
def test_others_are_told_that_there_is_no_such_home_or_to_sign_in(web: Web, path: str) -> None:
    assert web["householder"].get(f"/sites/{OTHER}/{path}").status_code == 404
    away = web["nobody"].get(f"/sites/{OWN}/{path}", follow_redirects=False)
    assert away.status_code in (303, 401)
    assert web["device"].get(f"/sites/{OWN}/{path}").status_code in (401, 403)


def test_the_household_gets_its_own_words_and_no_table_of_steps(web: Web) -> None:
    firm, home = (web[role].get(f"/sites/{OWN}/answers/cold").text for role in ("installer", "householder"))
    assert "Looked at, in this order" in firm
    assert "Looked at, in this order" not in home
    assert "What to do" in home


def test_the_household_reads_question_answer_and_paper_in_one_language(web: Web) -> None:
    wish = {"Accept-Language": "de"}
    home, page, paper = (
        web["householder"].get(f"/sites/{OWN}/{path}", headers=wish).text
        for path in ("home", "answers/cold", "answers/cold/paper")
    )
    assert all('<html lang="de">' in text for text in (home, page, paper))
    assert home.count("(auf Englisch)") == 1  # the page of settings
    assert "Was zu tun ist" in page
    assert "Was zu tun ist" in paper


def test_homes_alike_are_for_the_firm_alone(web: Web) -> None:
    assert web["householder"].get(f"/api/v1/sites/{OWN}/answers/bill?against=homes").status_code == 403
    assert web["householder"].get(f"/sites/{OWN}/answers/bill?against=homes").status_code == 403
    assert web["installer"].get(f"/api/v1/sites/{OWN}/answers/bill?against=homes").status_code == 409


def test_the_api_gives_codes_and_values(web: Web) -> None:
    document = web["engineer"].get(f"/api/v1/sites/{OWN}/answers/cold?from_hour=6&to_hour=9").json()
    assert document["asked"]["from_hour"] == 6
    steps = {s["code"]: s for s in document["steps"]}
    room = next(v for v in steps["target"]["values"] if v["code"] == "room")
    assert room["value"] == pytest.approx(20.5)
    assert document["tomorrow"]["code"]


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("from=2031-01-01", "lies outside"),
        ("from=soon", "From must be a day"),
        ("from_hour=30", "local hour from 0 to 24"),
        ("zone=cellar", "it has: house"),
        ("from=2026-01-07&to=2026-01-05", "ends before it starts"),
    ],
)
def test_what_is_wrong_is_said_on_the_page_and_the_form_stays(web: Web, query: str, says: str) -> None:
    answer = web["installer"].get(f"/sites/{OWN}/answers/cold?{query}")
    assert answer.status_code == 200
    assert says in answer.text
    assert 'role="alert"' in answer.text
    assert "Show the answer" in answer.text


def test_an_unknown_question_is_not_found_or_refused(web: Web) -> None:
    assert web["installer"].get(f"/sites/{OWN}/answers/dinner").status_code == 422


def test_the_paper_is_in_the_readers_words(web: Web) -> None:
    firm, home = (web[role].get(f"/sites/{OWN}/answers/cold/paper") for role in ("installer", "householder"))
    assert firm.status_code == home.status_code == 200
    assert "Looked at, in this order" in firm.text
    assert "Looked at, in this order" not in home.text


def test_the_paper_is_printed_for_those_who_see_the_home(web: Web) -> None:
    path = f"/sites/{OWN}/answers/cold/paper?form=pdf"
    sent = web["householder"].get(path)
    assert sent.headers["content-type"] == "application/pdf"
    assert sent.content.startswith(b"%PDF-")
    assert web["householder"].get(path.replace(OWN, OTHER)).status_code == 404


def test_a_billed_amount_that_is_no_number_is_refused_in_words(web: Web) -> None:
    answer = web["installer"].get(f"/sites/{OWN}/answers/bill?billed_kwh=lots")
    assert "The electricity billed [kWh] must be a number" in answer.text


def test_the_site_page_and_the_home_page_lead_here(web: Web) -> None:
    assert f'href="/sites/{OWN}/answers"' in web["installer"].get(f"/sites/{OWN}").text
    assert f'href="/sites/{OWN}/answers/bill"' in web["householder"].get(f"/sites/{OWN}/home").text
