"""The distributions, against `scipy.stats`."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fieldfare.analysis.statistics.distributions import (
    ONE_SIDED_95,
    normal_probabilities,
    normal_probability,
    normal_quantile,
    t_log_densities,
    t_log_density,
    t_probability,
    t_quantile,
)
from fieldfare.analysis.statistics.quantiles import median_error

FREEDOMS = (1, 2, 3.7, 4, 12, 118, 5000.0)
SHARES = (0.0005, 0.025, 0.4, 0.5, 0.6, 0.95, 0.975, 0.9995)
EQUAL = 1e-12
VALUES = (-30.0, -4.2, -0.1, 0.0, 0.3, 1.96, 7.5, 40.0)


@pytest.mark.parametrize("freedom", FREEDOMS)
def test_student_s_distribution(freedom: float) -> None:
    for share in SHARES:
        expected = float(stats.t.ppf(share, freedom))
        assert t_quantile(share, freedom) == pytest.approx(expected, rel=EQUAL, abs=EQUAL)
    for value in VALUES:
        assert t_probability(value, freedom) == pytest.approx(float(stats.t.cdf(value, freedom)), rel=EQUAL)
        expected = float(stats.t.logpdf(value, freedom))
        # Where freedom is large, scipy's ratio of gamma functions loses two digits.
        within = 1e-13 if freedom < 1000 else 2e-12
        assert t_log_density(value, freedom) == pytest.approx(expected, rel=within)
    each = [t_log_density(value, freedom) for value in VALUES]
    assert t_log_densities(np.array(VALUES), freedom) == pytest.approx(each, rel=1e-13)


def test_the_normal_distribution() -> None:
    expected = stats.norm.cdf(VALUES)
    assert [normal_probability(value) for value in VALUES] == pytest.approx(expected, rel=EQUAL)
    assert normal_probabilities(np.array(VALUES)) == pytest.approx(expected, rel=EQUAL)
    assert [normal_quantile(share) for share in SHARES] == pytest.approx(
        stats.norm.ppf(SHARES), rel=EQUAL, abs=EQUAL
    )


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1])
def test_a_quantile_of_no_probability_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="needs a probability"):
        t_quantile(share, 4.0)
    with pytest.raises(ValueError, match="in the range"):
        normal_quantile(share)


# Student's t, 0.975, as every table of the distribution has it (two-sided 95 %).
@pytest.mark.parametrize(("freedom", "quantile"), [(1, 12.706), (4, 2.776), (10, 2.228), (30, 2.042)])
def test_quantiles_as_tables_have_them(freedom: int, quantile: float) -> None:
    assert t_quantile(0.975, freedom) == pytest.approx(quantile, abs=5e-4)


def test_nineteen_of_twenty_stay_below_the_one_sided_limit() -> None:
    assert stats.norm.ppf(0.95) == pytest.approx(ONE_SIDED_95, abs=5e-4)


def test_the_median_of_a_sample_scatters_by_its_error() -> None:
    samples = np.random.default_rng(1).normal(0.0, 2.0, (2000, 101))
    errors = [median_error(sample) for sample in samples]
    assert np.mean(errors) == pytest.approx(np.std(np.median(samples, axis=1)), rel=0.05)
