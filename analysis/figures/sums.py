"""Sums of known values over days."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import Table


def known_sum(days: Table, column: str) -> float | None:
    """Sum of the known values of a column of the days table; None if there are none, or no such column."""
    if column not in days:
        return None
    values = days.floats(column)
    unknown = np.isnan(values)
    return None if unknown.all() else float(np.where(unknown, 0.0, values).sum())
