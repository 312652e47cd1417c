"""The facts tables and their method version."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldfare.analysis.facts.table import Table

METHOD_VERSION = "7"
"""Grows with every change that changes a fact; kept facts of another version are stale."""
MARGIN_DAYS = 1
"""Days of readings that the facts of a day may depend on, before and after it."""
SPAN_DAYS = 62
"""Most days worked out at once: bounds the memory to some 100 MB at minutes."""


def no_rows() -> Table:
    """An empty facts table."""
    import numpy as np

    from fieldfare.analysis.facts.table import Table

    return Table({"day": np.empty(0, dtype="datetime64[us]")})


@dataclass(frozen=True)
class Facts:
    """Tables ordered by day, each with a `day` column: the local date as datetime64, without zone.

    days : one row per local day. runs, defrosts, reheats : one row per event, in the day in which it starts.
    notices : one row per oddity of the data. rests : stretches without heat. faults : reported faults.
        Columns and units: see days.py and its neighbours
    """

    days: Table
    runs: Table
    defrosts: Table
    reheats: Table
    notices: Table
    rests: Table = field(default_factory=no_rows)
    faults: Table = field(default_factory=no_rows)

    def between(self, first: date, last: date) -> Facts:
        """The tables of the local days first..last, inclusive."""
        return Facts(*(getattr(self, f.name).between(first, last) for f in fields(self)))


def join(parts: Iterable[Facts]) -> Facts:
    """Concatenate facts of successive spans."""
    from fieldfare.analysis.facts.table import joined

    given = list(parts)
    return Facts(*(joined(getattr(part, f.name) for part in given) for f in fields(Facts)))
