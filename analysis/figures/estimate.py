"""A number with its interval, or the reason why there is none; and robust straight-line fits with honest errors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.medians import median

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % interval in the unit of its name; all None and a reason where it can't be had."""

    value: float | None
    low: float | None = None
    high: float | None = None
    reason: str = ""

    @classmethod
    def around(cls, value: float, half: float, least: float = -math.inf) -> Estimate:
        return cls(value, max(value - half, least), value + half)

    @classmethod
    def none(cls, reason: str) -> Estimate:
        return cls(None, reason=reason)

    def __bool__(self) -> bool:
        return self.value is not None

    def times(self, factor: float) -> Estimate:
        """Scaled by a positive number that is known exactly."""
        if self.value is None:
            return self
        return Estimate(
            self.value * factor,
            None if self.low is None else self.low * factor,
            None if self.high is None else self.high * factor,
        )

    @property
    def half(self) -> float:
        """Half the width of the interval; 0 without one."""
        if self.low is None or self.high is None:
            return 0.0
        return (self.high - self.low) / 2.0

    def as_dict(self) -> dict[str, float] | None:
        if self.value is None:
            return None
        out = {"value": self.value}
        if self.low is not None and self.high is not None:
            out |= {"low": self.low, "high": self.high}
        return out


@dataclass(frozen=True)
class Fit:
    """Coefficients of a linear model with their covariance; `kept` marks rows that were not set aside as odd."""

    coefficients: Floats
    covariance: Floats
    residual_sd: float
    kept: NDArray[np.bool_]

    def combination(self, weights: Floats) -> tuple[float, float]:
        """Value and standard error of a weighted sum of the coefficients."""
        return float(weights @ self.coefficients), max(float(weights @ self.covariance @ weights), 0.0) ** 0.5


def robust_fit(x: Floats, y: Floats, *, lags: int = 5, tuning: float = 1.6) -> Fit:
    """Linear fit that odd rows don't pull, with errors that allow for neighbours being alike.

    x : float64 (n, k), all finite, n > k. y : float64 (n,)
    lags : int, default 5. Days over which residuals are taken to be correlated
    tuning : float [-], default 1.6. Residuals beyond so many standard deviations count less (Huber 1964)
    Returns Fit. Source: iteratively reweighted least squares; covariance after Newey and West (1987).
    """
    n, k = x.shape
    beta, weight, residual = _reweighted(x, y, tuning)
    bread = np.linalg.pinv((x * weight[:, None]).T @ x)
    score = x * (weight * residual)[:, None]
    meat = score.T @ score
    for lag in range(1, min(lags, n - 1) + 1):
        cross = score[lag:].T @ score[:-lag]
        meat += (1.0 - lag / (lags + 1.0)) * (cross + cross.T)
    covariance = bread @ meat @ bread * n / max(n - k, 1)
    return Fit(beta, covariance, _spread(weight, residual, k), weight > 0.4)


def robust_spread(x: Floats, y: Floats, *, tuning: float = 1.6) -> float:
    """The residual spread of `robust_fit` alone: for trying many models."""
    _, weight, residual = _reweighted(x, y, tuning)
    return _spread(weight, residual, x.shape[1])


def _reweighted(x: Floats, y: Floats, tuning: float) -> tuple[Floats, Floats, Floats]:
    """Coefficients, weights and residuals."""
    weight = np.ones(len(y))
    for _ in range(30):
        root = np.sqrt(weight)
        beta = np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0]
        residual = y - x @ beta
        scale = 1.4826 * median(np.abs(residual - median(residual))) or float(residual.std()) or 1e-12
        new = np.minimum(1.0, tuning * scale / np.maximum(np.abs(residual), 1e-12))
        settled = np.abs(new - weight).max() < 1e-4
        weight = new
        if settled:
            break
    return np.asarray(beta, dtype=np.float64), weight, residual


def _spread(weight: Floats, residual: Floats, k: int) -> float:
    return float(np.sqrt(np.sum(weight * residual**2) / max(np.sum(weight) - k, 1.0)))
