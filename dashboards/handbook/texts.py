"""What one handbook entry says in plain sentences."""

from __future__ import annotations

from typing import NamedTuple


class HandbookText(NamedTuple):
    """means : what it means for the home. worked_out : how it is computed. cannot_tell : its blind spots"""

    means: str
    worked_out: str
    cannot_tell: str
