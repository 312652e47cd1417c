"""Texts of a handbook entry."""

from __future__ import annotations

from typing import NamedTuple


class HandbookText(NamedTuple):
    """means : consequence for the home. worked_out : computation. cannot_tell : blind spots"""

    means: str
    worked_out: str
    cannot_tell: str
