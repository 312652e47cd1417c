"""End of runs: by the unit at its switching difference, or by the end of a call."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.cycling.causes import _ended_by_call


def runs(over: np.ndarray) -> Table:
    """Runs that ended with the flow so far over what was asked [K]; nothing else tells who ended them."""
    return Table(
        {
            "ended_by": np.full(len(over), "unknown", dtype=object),
            "flow_max": 35.0 + over,
            "target_flow": 35.0,
            "flow_rate": 1.0,
            "flow_after": np.nan,
        }
    )


def test_runs_that_end_alike_are_ended_by_the_unit() -> None:
    """A small switching difference: every run passes what was asked by about 1.2 K (common practice,
    no source)."""
    rng = np.random.default_rng(1)
    assert _ended_by_call(runs(rng.normal(1.2, 0.25, 60))) == pytest.approx(0.0)


def test_runs_that_end_anywhere_are_ended_by_a_call() -> None:
    rng = np.random.default_rng(1)
    assert _ended_by_call(runs(rng.uniform(-6.0, 1.4, 60))) == pytest.approx(1.0)
