"""Where a reported fault word changes, against a look at each reading."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.facts.faults import _changes

WORDS = {"7": "E7", "8": "E7"}


def at_each_reading(value: np.ndarray, silent: np.ndarray) -> list[tuple[int, str]]:
    texts = [WORDS.get(str(v).strip(), str(v).strip()) for v in value]
    found = [(0, texts[0])]
    for i in range(1, len(texts)):
        if texts[i] != texts[i - 1] or silent[i - 1]:
            found.append((i, texts[i]))
    return found


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize(
    "said", [np.array(["OK", " OK ", "7", "8", "E7", ""], dtype=object), np.array([0.0, 7.0, np.nan])]
)
def test_changes_are_those_of_a_look_at_each_reading(said: np.ndarray, seed: int) -> None:
    """Words that differ in spaces alone, or mean the same, are one; a silence parts what is the same."""
    rng = np.random.default_rng(seed)
    value = np.repeat(said[rng.integers(0, len(said), 40)], rng.integers(1, 4, 40))
    silent = rng.random(len(value) - 1) < 0.1
    assert _changes(value, silent, WORDS) == at_each_reading(value, silent)


def test_a_single_reading_is_one_word() -> None:
    assert _changes(np.array(["E7"], dtype=object), np.empty(0, dtype=bool), {}) == [(0, "E7")]
