"""Sums of known values over days."""

from __future__ import annotations

from fieldfare.analysis.facts.table import Table


def known_sum(days: Table, column: str) -> float | None:
    """Sum of the known values of a column of the days table; None if there are none, or no such column."""
    return days.total(column) if days.knows(column) else None
