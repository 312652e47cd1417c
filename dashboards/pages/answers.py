"""Page of answers to a caller: questions, details, and the answer as text."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fieldfare.dashboards.answers.bill_texts import AGAINST_SHORT
from fieldfare.dashboards.answers.present_answer import QUESTIONS, present_answer
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text.home_standing import zone_words
from fieldfare.dashboards.text.language import gettext as _


def answer_page(
    row: dict[str, Any],
    question: str,
    document: dict[str, Any] | None,
    asked: dict[str, str],
    problem: str,
    zones: tuple[str, ...],
    visitor: dict[str, Any],
) -> str:
    """Page of one question about a home, with its form and answer.

    question : of QUESTIONS, empty for the choice alone. document : the answer; None where there is none
    yet, or a problem
    asked : the form's values. The household gets its own words.
    """
    home = visitor["role"] == "householder"
    shown = present_answer(document, row["name"], home=home) if document is not None else None
    query = urlencode({k: v for k, v in asked.items() if v})
    at = f"/sites/{row['id']}/answers/{question}"
    more = f"&{query}" if query else ""
    return render(
        "answer.html",
        title=_(QUESTIONS[question]) if question else "Answer a call",
        here="site",
        visitor=visitor,
        row=row,
        question=question,
        questions=QUESTIONS,
        asked={**_looked_at(document), **asked},
        against=AGAINST_SHORT,
        problem=problem,
        zones=[(zone, zone_words(zone)) for zone in zones],
        shown=shown,
        home=home,
        site_link=f"/sites/{row['id']}{'/home' if home else ''}",
        paper=f"{at}/paper?form=html{more}",
        pdf=f"{at}/paper?form=pdf{more}",
        json=f"/api/v1{at}{'?' + query if query else ''}",
    )


def _looked_at(document: dict[str, Any] | None) -> dict[str, str]:
    """Details that the answer chose where the form left them open."""
    if document is None:
        return {}
    hours = {k: str(document["asked"][k]) for k in ("from_hour", "to_hour")} if "asked" in document else {}
    period = document["period"]
    return {"from": period["from"], "to": period["to"], "against": document.get("against", ""), **hours}
