"""Weighing of hypotheses by Bayes' rule."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from fieldfare.analysis.expectation.hypotheses import (
    Spread,
    log_likelihood,
    log_odds,
    probability_of,
    shares,
)


def test_the_likelihood_is_that_of_independent_facts():
    signature = {"a": Spread(1.0, 0.5), "b": Spread(0.0, 2.0)}
    expected = stats.t(4, loc=1.0, scale=0.5).logpdf(1.7) + stats.t(4, loc=0.0, scale=2.0).logpdf(-3.0)
    assert log_likelihood({"a": 1.7, "b": -3.0}, signature, 4) == pytest.approx(expected)


def test_a_fact_not_measured_or_not_named_says_nothing():
    signature = {"a": Spread(0.0, 1.0), "b": Spread(0.0, 1.0)}
    alone = log_likelihood({"a": 0.3}, signature, 4)
    assert log_likelihood({"a": 0.3, "b": None, "c": 9.0}, signature, 4) == alone
    assert log_likelihood({"a": 0.3, "b": math.nan}, signature, 4) == alone


def test_bayes_rule_by_a_worked_example():
    """Prior 1 %, found in 80 % of the sick and 9.6 % of the healthy: 7.8 % (Eddy 1982,
    a textbook example)."""
    sick = shares({"sick": math.log(0.01 * 0.8), "healthy": math.log(0.99 * 0.096)})
    assert sick["sick"] == pytest.approx(0.078, abs=0.001)
    assert sum(sick.values()) == pytest.approx(1.0)


def test_shares_keep_hypotheses_that_are_far_apart():
    assert shares({"a": -5000.0, "b": -5001.0})["a"] == pytest.approx(1.0 / (1.0 + math.exp(-1.0)))


@pytest.mark.parametrize("probability", [1e-6, 0.05, 0.5, 0.9, 1.0 - 1e-6])
def test_log_odds_and_probability_are_inverse(probability: float):
    assert probability_of(log_odds(probability)) == pytest.approx(probability)


def test_probability_of_far_odds_does_not_overflow():
    assert probability_of(-800.0) == pytest.approx(0.0)
    assert probability_of(800.0) == 1.0
