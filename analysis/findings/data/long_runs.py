"""Running minutes that give heat; aborted starts show nothing about the meters."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import fill_nan, group_by_day
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context

# Makers' least run times are 6 to 10 minutes (common practice).
_GIVES_HEAT_MIN = 10.0


def minutes_in_runs(context: Context) -> Floats:
    """Minutes of each day in runs long enough to give heat: float64 (n,)."""
    days, runs = context.all_days.days, context.all_days.runs
    if not len(runs):
        return days.floats("minutes_running")
    length = runs.floats("minutes")
    known = np.where(length >= _GIVES_HEAT_MIN, length, 0.0)
    return fill_nan(group_by_day(days["day"], runs["day"], known, "sum"), 0.0)
