"""Degree-days: UK Meteorological Office rules, Hitchin's formula of CIBSE TM41, and means."""

import numpy as np
import pytest

from fieldfare.analysis.physics.degree_days import (
    degree_days_from_means,
    degree_days_hitchin,
    degree_days_max_min,
    weather_adjusted,
)

# Meteorological Office (McVicker) rules as at vesma.com/ddd/ddcalcs.htm, base 15.5 C: highest, lowest,
# degree-days
MAX_MIN = [
    (10, 2, 9.5),
    (15.5, 5, 5.25),
    (17, 13, 0.875),
    (17, 14.5, 0.25),
    (18, 8, 3.125),
    (20, 11, 1.125),
    (20, 12, 0.875),
    (22, 9, 1.625),
    (25, 14, 0.375),
    (28, 16, 0),
]
WEEK = [(8.1, 2.3), (6.4, -1.2), (12.5, 7.9), (16.2, 9.8), (17.8, 13.9), (18.5, 15.6), (14.9, 10.1)]


@pytest.mark.parametrize(("high", "low", "expected"), MAX_MIN)
def test_max_min_rules(high, low, expected):
    assert degree_days_max_min(high, low) == pytest.approx(expected)


def test_worked_week_and_the_naive_sum():
    """34.575 by the rules, 34.0 by max(0, base - mean): 1.7 % less."""
    high, low = np.array(WEEK).T
    days = degree_days_max_min(high, low)
    assert days == pytest.approx([10.3, 12.9, 5.3, 2.675, 0.4, 0, 3.0])
    assert days.sum() == pytest.approx(34.575)
    assert degree_days_from_means((high + low) / 2).sum() == pytest.approx(34.0, abs=0.05)


@pytest.mark.parametrize(
    ("mean", "days", "expected"),
    [
        (2.0, 31, 418.53),
        (4.8, 31, 331.87),
        (6.9, 31, 267.20),
        (9.1, 30, 194.06),
        (10, 30, 168.39),
        (12.5, 31, 105.54),
        (15.5, 30, 42.25),
        (18, 31, 15.82),
    ],
)
def test_hitchin(mean, days, expected):
    """CIBSE TM41:2006, k = 0.71 (from memory); at the base itself the limit N / k."""
    assert degree_days_hitchin(mean, days) == pytest.approx(expected, abs=0.006)


def test_standard_year_normalisation():
    """vesma.com/ddd/std-year.htm: months of the 15.5 C standard year sum to 2463; weather part scaled by
    standard over actual."""
    months = [395, 342, 297, 233, 151, 77, 42, 45, 83, 177, 275, 346]
    assert sum(months) == 2463
    assert weather_adjusted(2000, 8000, 2200, sum(months)) == pytest.approx(2000 + 8000 * 2463 / 2200)
    assert np.isnan(weather_adjusted(1, 1, 0, 2463))


def test_gaps_and_impossible_days():
    assert np.isnan(degree_days_max_min(np.nan, 3.0))
    assert np.isnan(degree_days_from_means(np.array([np.nan])))[0]
    with pytest.raises(ValueError, match="below its lowest"):
        degree_days_max_min(3, 5)
