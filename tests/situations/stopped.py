"""Situations of a unit that does not run, and of healthy houses that look alike."""

from __future__ import annotations

from tests.situations.case import Situation
from tests.situations.house import House

SITUATIONS = [
    Situation(
        "healthy-winter",
        "the unit heats the house in winter as it should",
        lambda: House().made(),
        silent=True,
    ),
]
