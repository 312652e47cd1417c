"""The facts tables and their method version."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldfare.analysis.facts.table import Table

METHOD_VERSION = "16"
"""Increase it with every change that alters a fact; stored facts of another version are stale."""
MARGIN_DAYS = 1
"""Days of readings before and after a day that its facts may depend on."""
SPAN_DAYS = 62
"""Maximum of days computed at once: limits memory to about 100 MB for minute data."""


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
        Columns of days: see columns/
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
