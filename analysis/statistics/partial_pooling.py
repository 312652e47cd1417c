"""Means of groups of unlike size: each pulled toward the common mean as far as the groups are alike.

Normal model with three levels (Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 5): a value is its
group's mean plus what homes of a group differ by plus its own measurement error;
group means spread around a common one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

_STEPS = 40
_REACH = 4.0  # of the grid of each standard deviation, over the spread of the values
_HALVINGS = 40


@dataclass(frozen=True)
class Pooled:
    """A group. n : values in it. mean, low, high : of the group, 95 %. next_low, next_high : of one more
    value of it, 80 %: nine in ten lie below `next_high`"""

    n: int
    mean: float
    low: float
    high: float
    next_low: float
    next_high: float


def pooled_means(
    values: Mapping[Any, Sequence[tuple[float, float]]],
    *,
    within: bool = True,
    between_scale: float | None = None,
) -> dict[Any, Pooled]:
    """Posterior of each group's mean.

    values : group -> (value, its standard error), at least one group with a value
    within : bool, default True. Whether values of a group differ by more than their errors; False: never
    between_scale : scale of the half-Cauchy prior of the spread of group means [unit of the values], as
        Gelman (2006) advises for few groups; None: uniform
    Raises ValueError without any value. Source: BDA3 5.4: the common mean is integrated out under a flat
    prior, the two standard deviations on a grid, here with a uniform prior on the one within groups.
    """
    groups = {name: np.array(list(rows), dtype=float) for name, rows in values.items() if len(rows)}
    if not groups:
        raise ValueError("needs at least one value")
    everything = np.concatenate(list(groups.values()))
    size = max(float(np.std(everything[:, 0])), float(np.median(everything[:, 1])), 1e-6)
    edge = np.linspace(0.0, _REACH * size, _STEPS + 1)
    middles = (edge[1:] + edge[:-1]) / 2.0
    inner = middles if within and len(everything) > len(groups) else np.zeros(1)
    outer = middles if len(groups) > 1 else np.zeros(1)
    sigma, tau = (grid.ravel() for grid in np.meshgrid(inner, outer, indexing="ij"))
    mean, variance = _group_means(groups, sigma)
    weight = _weights(mean, variance, tau, _prior(tau, between_scale))
    weight = weight * _within_likelihood(groups, sigma)
    weight /= weight.sum()
    return {
        name: _pooled(len(groups[name]), *_posterior(n, mean, variance, tau), sigma, weight)
        for n, name in enumerate(groups)
    }


def _group_means(groups: Mapping[Any, Floats], sigma: Floats) -> tuple[Floats, Floats]:
    """Weighted mean of each group and its variance, (groups, grid)."""
    means, variances = [], []
    for rows in groups.values():
        mean, variance = _common(rows[:, 0, None], _variance(rows, sigma))
        means.append(mean)
        variances.append(variance)
    return np.array(means), np.array(variances)


def _variance(rows: Floats, sigma: Floats) -> Floats:
    """Variance of each value of a group about the group's mean, (values, grid)."""
    return np.asarray(rows[:, 1, None] ** 2 + sigma[None, :] ** 2 + 1e-18)


def _common(values: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Mean of values weighted by inverse variance, and its variance, (grid)."""
    w = 1.0 / variance
    return (w * values).sum(axis=0) / w.sum(axis=0), 1.0 / w.sum(axis=0)


def _log_likelihood(values: Floats, variance: Floats) -> Floats:
    """Logarithm of the likelihood of values about their common mean, integrated over it, up to a constant."""
    w = 1.0 / variance
    mean, _ = _common(values, variance)
    scatter = (np.log(variance) + w * (values - mean) ** 2).sum(axis=0)
    return np.asarray(-0.5 * scatter - 0.5 * np.log(w.sum(axis=0)))


def _within_likelihood(groups: Mapping[Any, Floats], sigma: Floats) -> Floats:
    """Likelihood of the scatter about each group's own mean, up to a factor."""
    log = np.zeros_like(sigma)
    for rows in groups.values():
        log += _log_likelihood(rows[:, 0, None], _variance(rows, sigma))
    return np.asarray(np.exp(log - log.max()))


def _weights(mean: Floats, variance: Floats, tau: Floats, prior: Floats) -> Floats:
    """Marginal posterior of the spread of group means, up to a factor (BDA3, equation 5.21)."""
    log = _log_likelihood(mean, variance + tau[None, :] ** 2)
    return np.asarray(np.exp(log - log.max()) * prior)


def _prior(tau: Floats, scale: float | None) -> Floats:
    return np.ones_like(tau) if scale is None else 1.0 / (1.0 + (tau / scale) ** 2)


def _posterior(n: int, mean: Floats, variance: Floats, tau: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of one group's mean at each point of the grid (BDA3, equations 5.17 and 5.20)."""
    common, doubt = _common(mean, variance + tau[None, :] ** 2)
    if mean.shape[0] == 1:
        return mean[0], variance[0]
    between = np.maximum(tau, 1e-9) ** 2
    pull = variance[n] / (variance[n] + between)
    return (1.0 - pull) * mean[n] + pull * common, (1.0 - pull) * variance[n] + pull**2 * doubt


def _pooled(n: int, mean: Floats, variance: Floats, sigma: Floats, weight: Floats) -> Pooled:
    spread = np.sqrt(variance)
    low, middle, high = _quantiles(mean, spread, weight, (0.025, 0.5, 0.975))
    next_low, next_high = _quantiles(mean, np.hypot(spread, sigma), weight, (0.1, 0.9))
    return Pooled(n, middle, low, high, next_low, next_high)


def _quantiles(mean: Floats, spread: Floats, weight: Floats, shares: tuple[float, ...]) -> list[float]:
    """Quantiles of a mixture of normals, by halving."""
    counts = weight > 1e-6 * weight.max()
    mean, spread, weight = mean[counts], np.maximum(spread[counts], 1e-12), weight[counts]
    weight = weight / weight.sum()
    probabilities = np.array(shares)
    low = np.full(len(shares), float((mean - 8.0 * spread).min()))
    high = np.full(len(shares), float((mean + 8.0 * spread).max()))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        below = weight @ ndtr((middle[None, :] - mean[:, None]) / spread[:, None])
        low, high = (
            np.where(below < probabilities, middle, low),
            np.where(below < probabilities, high, middle),
        )
    return [float(x) for x in (low + high) / 2.0]
