"""Thresholds are counted correctly, and every limit has a source."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldfare.analysis.findings.limits import LIMITS
from tests.benchmarks.thresholds import HERE, Count, count

TABLE = """
_METER = "a class 2 heat meter (EN 1434-1)"
LIMITS_X = {
    "a": Limit(1.0, "h", "common practice: an hour", "x"),
    "b": Limit(2.0, "h", "Reg. (EU) 813/2013 Table 8", "x"),
    "c": Limit(2.0, "h", f"{_METER}; twice", "x"),
    "d": Limit(2.0, "h", source="reference 6.2", meaning="x"),
}
"""
RULES = """
_FEWEST, _NAME = 5, "a"
WORDS = ("a", "b")

def judged(x, limit):
    if x > 0.0 and len(x) == 1:
        return None
    if x.min() < 3.5 or 2 * x[4] > limit("a") or x == -7:
        return np.clip(x, 0.1, 1.0)
    return max(x, 9) if x in (3, 4) else x + 12
"""


def test_counts_are_those_by_hand(tmp_path: Path) -> None:
    """4 limits, 3 on a source; one constant with a number; 3.5, 2 and 7 compared; 0.1 and 9 bound."""
    folder = tmp_path / "analysis" / "findings"
    folder.mkdir(parents=True)
    (folder / "limits_x.py").write_text(TABLE)
    (folder / "rules.py").write_text(RULES)
    assert count(tmp_path) == Count(limits=4, sourced=3, named=1, compared=3, bounded=2)
    with pytest.raises(FileNotFoundError):
        count(tmp_path / "nowhere")


def test_every_limit_is_counted() -> None:
    found = count(HERE)
    assert found.limits == len(LIMITS)
    assert 0 < found.sourced < found.limits


@pytest.mark.parametrize("name", LIMITS)
def test_a_limit_says_its_source_or_that_it_is_common_practice(name: str) -> None:
    assert len(LIMITS[name].source) > 10
