"""Any answer in words."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers.bill_told import bill_told
from fieldfare.dashboards.answers.complaint_told import complaint_told

QUESTIONS: dict[str, str] = {
    "bill": "My bill is high",
    "cold": "It is cold",
    "hot-water": "The hot water ran out",
    "noise": "It makes noise",
    "ice": "It is full of ice",
}


def told(document: dict[str, Any], name: str, *, home: bool = False) -> dict[str, Any]:
    """An answer in words. document : of `fieldfare.analysis.answers`. name : the home's. home : in the
    household's words"""
    if document["question"] == "bill":
        return bill_told(document, home=home)
    return complaint_told(document, name, home=home)
