"""Student's t and the normal distribution, equal to scipy's to twelve digits.

A result asks some dozen times; `scipy.special` would take a tenth of a first answer to load.
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GAUSS_95 = 1.96
"""Standard deviations on each side of the middle that hold 95 % of a normal distribution."""
ONE_SIDED_95 = 1.645
"""Standard deviations over the middle that 95 % of a normal distribution stay below."""

_PRECISION = 1e-15
_MOST_STEPS, _MOST_TERMS = 60, 10_000
_LARGE = 100.0
"""Where the series of the gamma functions' ratio is exact to the last digit but one."""
_HALF_ROOT = math.sqrt(0.5)


def inflation(autocorrelation: float) -> float:
    """By how much serial correlation widens the variance of a mean of many values [-].

    autocorrelation : of neighbours, above -1 and below 1; 1 of `inflation` values is worth one independent
        one
    Source: first-order autoregression, (1 + r) / (1 - r) (textbook).
    """
    return (1.0 + autocorrelation) / (1.0 - autocorrelation)


def t_quantile(probability: float, freedom: float) -> float:
    """Quantile of Student's t distribution with `freedom` > 0 degrees of freedom.

    probability : above 0 and below 1. Raises ValueError otherwise.
    By Newton's method on the upper tail, which is convex there: from a normal quantile, never above the
        root, it only climbs.
    """
    if not 0.0 < probability < 1.0:
        raise ValueError("needs a probability above 0 and below 1")
    tail = min(probability, 1.0 - probability)
    value = -normal_quantile(tail)
    for _ in range(_MOST_STEPS):
        step = (_t_tail(value, freedom) - tail) / math.exp(t_log_density(value, freedom))
        value += step
        if step <= _PRECISION * value:
            break
    return value if probability > 0.5 else -value


def t_probability(value: float, freedom: float) -> float:
    """Probability that Student's t with `freedom` > 0 degrees of freedom is at most `value`."""
    tail = _t_tail(abs(value), freedom)
    return 1.0 - tail if value > 0.0 else tail


def _t_tail(value: float, freedom: float) -> float:
    """Probability that Student's t lies above `value` >= 0.

    Source: Abramowitz and Stegun, 26.7.1: half the incomplete beta function of freedom / 2 and 1 / 2.
    """
    a, square = 0.5 * freedom, value * value
    near = square / (freedom + square)
    front = math.exp(-a * math.log1p(square / freedom)) * math.sqrt(near / math.pi) * _gamma_ratio(a)
    if near * (a + 2.5) > 1.5:  # the fraction converges fast on this side of the distribution's middle
        return 0.5 * front * _beta_fraction(a, 0.5, 1.0 - near) / a
    return 0.5 - front * _beta_fraction(0.5, a, near)


def _beta_fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of the incomplete beta function, by Lentz's method.

    Source: Abramowitz and Stegun, 26.5.8.
    """
    c, d = 1.0, 1.0 / (1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, _MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for term in (even, odd):
            d, c = 1.0 / (1.0 + term * d), 1.0 + term / c
            value *= c * d
        if abs(c * d - 1.0) < _PRECISION:
            break
    return value


def _gamma_ratio(a: float) -> float:
    """Gamma(a + 1/2) / Gamma(a), a > 0. Source: Abramowitz and Stegun, 6.1.47, where `a` is large."""
    if a < _LARGE:
        return math.gamma(a + 0.5) / math.gamma(a)
    n = 1.0 / (8.0 * a)
    return math.sqrt(a) * (1.0 - n * (1.0 - n / 2.0 * (1.0 + n * (5.0 - n * (21.0 / 4.0 + 399.0 * n / 4.0)))))


def t_log_density(value: float, freedom: float) -> float:
    """Natural logarithm of the density of Student's t with `freedom` > 0 degrees of freedom."""
    return _t_log_peak(freedom) - (freedom + 1.0) / 2.0 * math.log1p(value * value / freedom)


def t_log_densities(values: Floats, freedom: float) -> Floats:
    """As `t_log_density` for each value, float64 (n,) to float64 (n,)."""
    return _t_log_peak(freedom) - (freedom + 1.0) / 2.0 * np.log1p(values * values / freedom)


@lru_cache(maxsize=64)
def _t_log_peak(freedom: float) -> float:
    """Logarithm of the density at 0: the same few degrees of freedom are asked thousands of times."""
    return math.log(_gamma_ratio(0.5 * freedom)) - 0.5 * (math.log(freedom) + math.log(math.pi))


def normal_probability(value: float) -> float:
    """Probability that a standard normal variable is at most `value`."""
    return 0.5 * math.erfc(-value * _HALF_ROOT)


def normal_probabilities(values: Floats) -> Floats:
    """As `normal_probability` for each value, float64 (n,) to float64 (n,)."""
    return 0.5 * np.fromiter(map(math.erfc, (-_HALF_ROOT * values).tolist()), np.float64, len(values))


def normal_density(value: float) -> float:
    """Density of a standard normal variable at `value`."""
    return math.exp(-0.5 * value * value) / math.sqrt(2.0 * math.pi)


def normal_quantile(probability: float) -> float:
    """Value that a standard normal variable is at most with this probability, above 0 and below 1."""
    return NormalDist().inv_cdf(probability)
