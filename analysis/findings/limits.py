"""Every threshold of the findings: name, default, unit and where it comes from."""

from __future__ import annotations

from typing import NamedTuple


class Limit(NamedTuple):
    default: float
    unit: str
    source: str
    meaning: str = ""


LIMITS: dict[str, Limit] = {}
