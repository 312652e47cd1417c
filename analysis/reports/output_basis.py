"""Basis of a result's output at the design temperature, as text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def output_basis(result: Mapping[str, Any]) -> str:
    """result : a result document. Returns "measured" or "by rating, not measured"."""
    return "measured" if result["capacity"].get("basis") == "measured" else "by rating, not measured"
