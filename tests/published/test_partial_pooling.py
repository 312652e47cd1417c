"""Partly pooled group means against the eight schools, and against homes made with known ratios."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.statistics.partial_pooling import pooled_means

# Rubin (1981), as in Gelman et al., Bayesian Data Analysis, 3rd ed., tables 5.2 and 5.3 (from memory):
# effect, its standard error; posterior 2.5 %, median and 97.5 % of 200 draws, which scatter by some points.
SCHOOLS = {
    "A": (28.0, 15.0, -2.0, 10.0, 31.0),
    "B": (8.0, 10.0, -5.0, 8.0, 23.0),
    "C": (-3.0, 16.0, -11.0, 7.0, 19.0),
    "D": (7.0, 11.0, -7.0, 8.0, 21.0),
    "E": (-1.0, 9.0, -9.0, 5.0, 18.0),
    "F": (1.0, 11.0, -7.0, 6.0, 28.0),
    "G": (18.0, 10.0, -1.0, 10.0, 26.0),
    "H": (12.0, 18.0, -6.0, 8.0, 33.0),
}


@pytest.mark.parametrize("school", SCHOOLS)
def test_the_eight_schools_are_pulled_together(school: str) -> None:
    found = pooled_means({name: [row[:2]] for name, row in SCHOOLS.items()}, within=False)[school]
    _, _, low, middle, high = SCHOOLS[school]
    assert found.mean == pytest.approx(middle, abs=1.5)
    assert found.low == pytest.approx(low, abs=3.5)
    assert found.high == pytest.approx(high, abs=10.0 if school in "FH" else 4.0)


def test_one_group_is_its_own_weighted_mean() -> None:
    # With errors far above the scatter the weights are 1/s2: (1.0/0.01 + 1.3/0.04) / 125 = 1.06.
    found = pooled_means({"a": [(1.0, 0.1), (1.3, 0.2)]}, within=False)["a"]
    assert found.mean == pytest.approx(1.06, abs=1e-6)
    assert found.high - found.low == pytest.approx(2.0 * 1.96 / 125.0**0.5, rel=1e-3)


def test_intervals_hold_the_truth_of_made_fleets() -> None:
    rng = np.random.default_rng(5)
    held = below = groups = 0
    for _ in range(40):
        common = rng.normal(0.0, 0.1)
        means = {n: common + rng.normal(0.0, 0.12) for n in (3, 5, 8, 12)}
        homes = {
            n: [
                (mean + rng.normal(0.0, 0.15) + rng.normal(0.0, error), error)
                for error in rng.uniform(0.03, 0.12, n)
            ]
            for n, mean in means.items()
        }
        found = pooled_means(homes, between_scale=0.25)
        for n, mean in means.items():
            held += found[n].low <= mean <= found[n].high
            below += mean + rng.normal(0.0, 0.15) < found[n].next_high
            groups += 1
    assert held >= 0.9 * groups  # of 160 intervals of 95 %
    assert 0.82 * groups <= below <= 0.97 * groups  # nine in ten of the next homes


def test_a_small_group_leans_on_the_others() -> None:
    many = [(0.0 + 0.02 * (n % 3 - 1), 0.05) for n in range(12)]
    odd = pooled_means({"many": many, "few": [(0.5, 0.05)]}, between_scale=0.25)["few"]
    assert 0.0 < odd.mean < 0.5
    with pytest.raises(ValueError, match="at least one value"):
        pooled_means({})
