"""Competing explanations of a plant's facts, weighed by Bayes' rule.

A hypothesis has a signature: what each fact is expected to be under it, with its spread. Facts are taken as
independent; a fact that was not measured speaks neither for nor against any hypothesis.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from math import exp, isfinite, log
from typing import NamedTuple, TypeVar

from fieldfare.analysis.statistics.distributions import t_log_density

K = TypeVar("K", bound=Hashable)


class Spread(NamedTuple):
    """Expected value and its standard deviation."""

    mean: float
    sd: float


def log_likelihood(
    measured: Mapping[str, float | None], signature: Mapping[str, Spread], freedom: float
) -> float:
    """Natural logarithm of the likelihood of some facts under a hypothesis.

    measured : fact -> value; None or nan where not measured. signature : fact -> Spread, in the same units;
        facts that it does not name are left out
    freedom : degrees of freedom of Student's t [-]; few of them let one odd fact decide little
    """
    total = 0.0
    for fact, value in measured.items():
        if fact in signature and value is not None and isfinite(value):
            mean, sd = signature[fact]
            total += t_log_density((value - mean) / sd, freedom) - log(sd)
    return total


def shares(logs: Mapping[K, float]) -> dict[K, float]:
    """Probability of each of some hypotheses that exclude each other, together 1.

    logs : hypothesis -> logarithm of prior times likelihood, up to one common constant
    """
    top = max(logs.values())
    weights = {name: exp(value - top) for name, value in logs.items()}
    whole = sum(weights.values())
    return {name: weight / whole for name, weight in weights.items()}


def log_odds(probability: float) -> float:
    """Natural logarithm of the odds. probability : above 0, below 1"""
    return log(probability / (1.0 - probability))


def probability_of(log_odds: float) -> float:
    """Probability [0 to 1] of log odds; the inverse of `log_odds`."""
    return 1.0 / (1.0 + exp(-log_odds)) if log_odds >= 0.0 else 1.0 - 1.0 / (1.0 + exp(log_odds))
