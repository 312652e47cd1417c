"""Present any answer as text."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers.present_bill import present_bill
from fieldfare.dashboards.answers.present_complaint import present_complaint

QUESTIONS: dict[str, str] = {
    "bill": "My bill is high",
    "cold": "It is cold",
    "hot-water": "The hot water ran out",
    "noise": "It makes noise",
    "ice": "It is full of ice",
}


def present_answer(document: dict[str, Any], name: str, *, home: bool = False) -> dict[str, Any]:
    """An answer as text. document : of `fieldfare.analysis.answers`. name : of the home. home : worded for
    the household"""
    if document["question"] == "bill":
        return present_bill(document, home=home)
    return present_complaint(document, name, home=home)
