"""Student's t and the normal distribution.

`scipy.stats` calls the same functions of `scipy.special` and takes twice as long to load.
"""

from __future__ import annotations

import math

from scipy import special

GAUSS_95 = 1.96
"""Standard deviations on each side of the middle that hold 95 % of a normal distribution."""


def inflation(autocorrelation: float) -> float:
    """By how much serial correlation widens the variance of a mean of many values [-].

    autocorrelation : of neighbours, above -1 and below 1; 1 of `inflation` values is worth one independent one
    Source: first-order autoregression, (1 + r) / (1 - r) (textbook).
    """
    return (1.0 + autocorrelation) / (1.0 - autocorrelation)


def t_quantile(probability: float, freedom: float) -> float:
    """Quantile of Student's t distribution with `freedom` > 0 degrees of freedom."""
    return float(special.stdtrit(freedom, probability))


def t_probability(value: float, freedom: float) -> float:
    """Probability that Student's t with `freedom` > 0 degrees of freedom is at most `value`."""
    return float(special.stdtr(freedom, value))


def t_log_density(value: float, freedom: float) -> float:
    """Natural logarithm of the density of Student's t with `freedom` > 0 degrees of freedom."""
    return float(
        math.log(special.poch(0.5 * freedom, 0.5))
        - 0.5 * (math.log(freedom) + math.log(math.pi))
        - (freedom + 1.0) / 2.0 * math.log1p(value * value / freedom)
    )


def normal_probability(value: float) -> float:
    """Probability that a standard normal variable is at most `value`."""
    return float(special.ndtr(value))


def normal_density(value: float) -> float:
    """Density of a standard normal variable at `value`."""
    return math.exp(-0.5 * value * value) / math.sqrt(2.0 * math.pi)


def normal_quantile(probability: float) -> float:
    """Value that a standard normal variable is at most with this probability, above 0 and below 1."""
    return float(special.ndtri(probability))
