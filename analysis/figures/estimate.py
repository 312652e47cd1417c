"""A number with its interval, or the reason why there is none; and robust linear fits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MOST_INFLATION = 1e6
"""Of a coefficient's variance by its column's likeness to others; beyond it a fit by normal equations is not
taken."""


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % interval in the unit of its name; all None with a reason if unavailable."""

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
        """Scale by an exactly known positive number."""
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
    """Coefficients of a linear model with their covariance; `kept` marks rows that are not outliers."""

    coefficients: Floats
    covariance: Floats
    residual_sd: float
    kept: NDArray[np.bool_]

    def combination(self, weights: Floats) -> tuple[float, float]:
        """Value and standard error of a weighted sum of the coefficients."""
        return float(weights @ self.coefficients), max(float(weights @ self.covariance @ weights), 0.0) ** 0.5


def robust_fit(x: Floats, y: Floats, *, lags: int = 5, tuning: float = 1.6) -> Fit:
    """Robust linear fit with errors that allow for autocorrelation.

    x : float64 (n, k), all finite, n > k. y : float64 (n,)
    lags : int, default 5. Days over which residuals are taken to be correlated
    tuning : float [-], default 1.6. Residuals beyond so many standard deviations count less (Huber 1964)
    Returns Fit. Source: iteratively reweighted least squares; covariance after Newey and West (1987).
    """
    n, k = x.shape
    beta, weight, residual = (found[0] for found in _reweighted(x[None], y, tuning))
    square = (x * weight[:, None]).T @ x
    inverse = _inverse(square[None])
    bread = np.linalg.pinv(square) if inverse is None else inverse[0]
    score = x * (weight * residual)[:, None]
    meat = score.T @ score
    for lag in range(1, min(lags, n - 1) + 1):
        cross = score[lag:].T @ score[:-lag]
        meat += (1.0 - lag / (lags + 1.0)) * (cross + cross.T)
    covariance = bread @ meat @ bread * n / max(n - k, 1)
    return Fit(beta, covariance, float(_spread(weight, residual, k)), weight > 0.4)


def robust_spreads(x: Floats, y: Floats, *, tuning: float = 1.6) -> Floats:
    """Residual spread of many models of one figure, as in `robust_fit`.

    x : float64 (m, n, k), a model each. y : float64 (n,). Returns float64 (m,)
    """
    _, weight, residual = _reweighted(x, y, tuning)
    return _spread(weight, residual, x.shape[2])


def _reweighted(x: Floats, y: Floats, tuning: float) -> tuple[Floats, Floats, Floats]:
    """Coefficients (m, k), weights (m, n) and residuals (m, n) of models (m, n, k)."""
    m, n, k = x.shape
    beta, weight, residual = np.empty((m, k)), np.ones((m, n)), np.empty((m, n))
    open_, models = np.arange(m), x
    for _ in range(30):
        now = weight[open_]
        fitted = _least_squares(models, y, now)
        off = y - (models @ fitted[:, :, None])[:, :, 0]
        scale = 1.4826 * _medians(np.abs(off - _medians(off)))
        if not scale.all():
            scale = np.where(scale > 0.0, scale, np.maximum(off.std(axis=1, keepdims=True), 1e-12))
        new = np.minimum(1.0, tuning * scale / np.maximum(np.abs(off), 1e-12))
        beta[open_], weight[open_], residual[open_] = fitted, new, off
        moved = np.abs(new - now).max(axis=1) >= 1e-4
        if not moved.any():
            break
        if not moved.all():
            open_, models = open_[moved], models[moved]
    return beta, weight, residual


def _least_squares(x: Floats, y: Floats, weight: Floats) -> Floats:
    """Coefficients (m, k) of weighted fits: by normal equations, unless these would lose digits."""
    weighted = (x * weight[:, :, None]).transpose(0, 2, 1)
    square, product = weighted @ x, weighted @ y
    if (inverse := _inverse(square)) is not None:
        return np.asarray((inverse @ product[:, :, None])[:, :, 0])
    root = np.sqrt(weight)
    each = [np.linalg.lstsq(a * r[:, None], y * r, rcond=None)[0] for a, r in zip(x, root, strict=True)]
    return np.asarray(each, dtype=np.float64)


def _inverse(square: Floats) -> Floats | None:
    """Inverses of normal equations (m, k, k), taken with columns of unit length; None where nearly collinear
    columns would lose digits."""
    size = np.sqrt(np.diagonal(square, axis1=1, axis2=2))
    if not (size > 0.0).all():
        return None
    unit = size[:, :, None] * size[:, None, :]
    try:
        inverse = np.linalg.inv(square / unit)
    except np.linalg.LinAlgError:
        return None
    return inverse / unit if np.abs(inverse).max() < _MOST_INFLATION else None


def _medians(values: Floats) -> Floats:
    """Median of each row: float64 (m, n) to (m, 1)."""
    n = values.shape[1]
    ordered = np.sort(values, axis=1)
    return (ordered[:, (n - 1) // 2, None] + ordered[:, n // 2, None]) / 2.0


def _spread(weight: Floats, residual: Floats, k: int) -> Floats:
    """Of each row."""
    squares = np.sum(weight * residual**2, axis=-1)
    return np.asarray(np.sqrt(squares / np.maximum(np.sum(weight, axis=-1) - k, 1.0)))
