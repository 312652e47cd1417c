"""The distributions, against `scipy.stats`."""

from __future__ import annotations

import pytest
from scipy import stats

from fieldfare.analysis.statistics.distributions import (
    normal_probability,
    t_log_density,
    t_probability,
    t_quantile,
)

FREEDOMS = (1, 2, 3.7, 4, 12, 118, 5000.0)
VALUES = (-30.0, -4.2, -0.1, 0.0, 0.3, 1.96, 7.5, 40.0)


@pytest.mark.parametrize("freedom", FREEDOMS)
def test_student_s_distribution(freedom: float) -> None:
    for share in (0.025, 0.5, 0.6, 0.95, 0.975, 0.9995):
        assert t_quantile(share, freedom) == float(stats.t.ppf(share, freedom))
    for value in VALUES:
        assert t_probability(value, freedom) == float(stats.t.cdf(value, freedom))
        assert t_log_density(value, freedom) == pytest.approx(
            float(stats.t.logpdf(value, freedom)), rel=1e-13
        )


def test_the_normal_distribution() -> None:
    for value in VALUES:
        assert normal_probability(value) == float(stats.norm.cdf(value))


# Student's t, 0.975, as every table of the distribution has it (two-sided 95 %).
@pytest.mark.parametrize(("freedom", "quantile"), [(1, 12.706), (4, 2.776), (10, 2.228), (30, 2.042)])
def test_quantiles_as_tables_have_them(freedom: int, quantile: float) -> None:
    assert t_quantile(0.975, freedom) == pytest.approx(quantile, abs=5e-4)
