"""Probabilities of an excess: textbook values of the normal and Student's distribution, and Stouffer's
method."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.expectation.uncertain import Lognormal, joint_score
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.statistics.distributions import normal_probability, normal_quantile


@pytest.mark.parametrize(("score", "chance"), [(0.0, 0.5), (1.0, 0.8413), (1.645, 0.95), (1.96, 0.975)])
def test_the_normal_distribution_by_its_tables(score, chance):
    assert normal_probability(score) == pytest.approx(chance, abs=1e-4)
    assert normal_quantile(chance) == pytest.approx(score, abs=2e-3)


def test_two_equal_scores_are_surer_unless_they_are_the_same_one():
    """Stouffer: z = sum / sqrt(n); fully correlated scores add nothing."""
    assert joint_score([1.0, 1.0]) == pytest.approx(np.sqrt(2.0))
    assert joint_score([1.0, 1.0], correlation=1.0) == pytest.approx(1.0)
    assert np.isnan(joint_score([]))


def test_a_lognormals_interval_holds_what_monte_carlo_says():
    rng = np.random.default_rng(1)
    one, other = Lognormal(10.0, 0.3), Lognormal(2.0, 0.4)
    drawn = (
        10.0 * np.exp(0.3 * rng.standard_normal(100_000)) / (2.0 * np.exp(0.4 * rng.standard_normal(100_000)))
    )
    ratio = one.over(other)
    low, middle, high = np.quantile(drawn, [0.025, 0.5, 0.975])
    assert (ratio.low, ratio.middle, ratio.high) == pytest.approx((low, middle, high), rel=0.02)
    assert normal_probability(ratio.score(ratio.high)) == pytest.approx(0.975, abs=1e-3)


def test_confidence_at_a_limit_is_that_of_the_sound_plants_below_it():
    """A limit stands where 19 of 20 sound plants stay below; a long season tells no more than that."""
    assert confidence_of(1.0, 3000.0) == pytest.approx(0.95, abs=0.01)
    assert 0.5 < confidence_of(1.0, 3.0) < confidence_of(1.0, 30.0) < 0.95


@pytest.mark.parametrize(
    ("more", "less"),
    [((1.5, 30.0), (1.2, 30.0)), ((1.2, 90.0), (1.2, 7.0)), ((1.2, 30.0, 1.0), (1.2, 30.0, 0.5))],
)
def test_confidence_grows_with_size_days_and_share(more, less):
    assert confidence_of(*more) > confidence_of(*less)


def test_confidence_is_calibrated_where_its_model_holds():
    """Of plants that are told with 0.9, nine in ten exceed the expected figure: drawn plants, half of them
    sound."""
    rng = np.random.default_rng(5)
    n, spread = 4000, 0.25
    excess = np.where(
        rng.random(n) < 0.5, 0.0, rng.uniform(0.0, 1.0, n)
    )  # logarithm over the expected figure
    measured = excess + spread * rng.standard_normal(n)
    told = np.array([confidence_of(float(np.exp(m - 1.645 * spread)), 3000.0) for m in measured])
    # No finding is told with more than 0.97: beyond it the model of the measurement itself is in doubt.
    for low in (0.90, 0.95):
        group = told >= low
        assert (excess[group] > 0.0).mean() >= low - 0.06
