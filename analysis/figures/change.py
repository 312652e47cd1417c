"""Change-point detection: steps and slides of a daily figure, under equal conditions.

Regress the figure on its conditions plus one step or one ramp, tried on every day (Quandt 1960; Andrews 1993
for the higher threshold of the best of many days).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.statistics.distributions import inflation
from fieldfare.analysis.statistics.quantiles import median, running_median

Floats = NDArray[np.float64]

FEWEST_EACH_SIDE = 10
"""Days on each side of a change, before it is believed (common practice: a week and a half of weather)."""
_RAMPS = (15, 30, 45, 60, 90, 120)
# Largest of a chi-square(1) process over the middle 70 % of a span, 1 % level: 12.2 (Andrews 1993, Table I, p
# = 1).
_SURE = 12.2
_CHI2_95 = 3.84
# Best of six ramps on many days against the best step: 1 % level with one degree of freedom.
_CHI2_RAMP = 6.63
# A step fitted to a slide leaves an autocorrelated residual.
_MOST_INFLATED = 3.0
# Means of so many days on both sides of a change; a slide of 15 days would hold four tenths of itself between
# them.
_JUMP_DAYS, _MOST_AT_ONCE = 5, 0.7
_LEAST_ERROR = 1e-4
"""Minimum scatter of a daily figure; avoids a division by zero."""


@dataclass(frozen=True)
class DetectedChange:
    """A detected change.

    kind : a step, or a slide over `days`. at : index of its first day; low, high : 95 % interval of that
        index.
    size, error : change of the figure and its standard error; score : chi-square of the change (1 degree of
        freedom)
    """

    kind: Literal["step", "slide"]
    at: int
    low: int
    high: int
    days: int
    size: float
    error: float
    score: float

    @property
    def is_sure(self) -> bool:
        return self.score > _SURE


def find_change(
    figure: Floats, conditions: Floats, weight: Floats, day: NDArray[np.int64], *, slides: bool = True
) -> DetectedChange | None:
    """Find the step or slide that explains most of the residual after the conditions.

    figure : float64 (n,), finite. conditions : float64 (n, k), finite, without a constant. weight : float64
        (n,), above 0
    day : int64 (n,), day numbers, ascending (gaps allowed)
    slides : bool, default True. Also try ramps
    Returns DetectedChange, significant or not; None with too few days. Errors allow for autocorrelation.
    """
    n = len(figure)
    if n < 2 * FEWEST_EACH_SIDE + conditions.shape[1] + 2:
        return None
    root = np.sqrt(weight / weight.mean())
    base = np.column_stack([np.ones(n), _scaled(conditions)]) * root[:, None]
    basis, _ = np.linalg.qr(base)
    value = _tamed(figure * root, basis)
    value = value - basis @ (basis.T @ value)
    trial = _Trial(day, root, basis, value)
    best: tuple[float, int, int] | None = None
    for length in (0, *(_RAMPS if slides else ())):
        gain = trial.gains(length, 0.02 * n / 10.0)
        if length == 0:
            steps = gain
        at = int(np.argmax(gain))
        if best is None or gain[at] > best[0] * (1.0 + 1e-9):  # on a tie, the shorter
            best = (float(gain[at]), at, length)
    assert best is not None
    squares = float(value @ value)
    spread = max(squares - best[0], 1e-12) / max(n - base.shape[1] - 2, 1)
    # A ramp must explain clearly more than a step, because days are autocorrelated and
    # ramps many; and where most of it came within days it was a step, whatever the weather did about it.
    at = int(np.argmax(steps))
    if best[2]:
        rest = trial.residual(at, 0)
        clearly = _CHI2_RAMP * spread * min(_inflation(rest, day), _MOST_INFLATED)
        if best[0] - float(steps[at]) < clearly or trial.jump(at) > _MOST_AT_ONCE:
            best = (float(steps[at]), at, 0)
    if not best[2]:
        at = trial.sharpest(best[1])
        best = (float(steps[at]), at, 0)
    return _described(trial, *best)


@dataclass(frozen=True)
class _Trial:
    """Trial of steps and ramps on every day, weighted and orthogonal to the conditions, against a constant.

    A shape that begins on day d is a mean of steps on the days d, d + 1, ..: its products with anything are
    cumulative sums, so all days are tried in the time of one.

    day : int64 (n,), ascending. root : float64 (n,), of the weights. basis : float64 (n, k), orthonormal.
        value : float64 (n,), already orthogonal to the basis
    """

    day: NDArray[np.int64]
    root: Floats
    basis: Floats
    value: Floats

    def shape(self, at: int, length: int) -> Floats:
        """float64 (n,): 0 before row `at`, then 1, reached at once or over `length` days."""
        since = (self.day - self.day[at]).astype(np.float64)
        bare = since >= 0 if length == 0 else np.clip((since + 1.0) / length, 0.0, 1.0)
        shape = bare * self.root
        return np.asarray(shape - self.basis @ (self.basis.T @ shape))

    def size(self, at: int, length: int) -> float:
        """Change of the value by that shape."""
        shape = self.shape(at, length)
        return float(shape @ self.value) / max(float(shape @ shape), 1e-12)

    def residual(self, at: int, length: int) -> Floats:
        """float64 (n,): the value without that shape."""
        return np.asarray(self.value - self.size(at, length) * self.shape(at, length))

    def jump(self, at: int) -> float:
        """Share of a step's size in the difference of the days just after and just before it [-]."""
        size = self.size(at, 0)
        level = self.residual(at, 0) / self.root + size * (self.day >= self.day[at])
        before, after = level[max(at - _JUMP_DAYS, 0) : at], level[at : at + _JUMP_DAYS]
        return float(after.mean() - before.mean()) / size if len(before) and size else 0.0

    def sharpest(self, at: int) -> int:
        """The day near a step that best separates its neighbours, as weather shifts the best fit."""
        size = self.size(at, 0)
        level = self.residual(at, 0) / self.root + size * (self.day >= self.day[at])
        first, end = max(at - 2 * _JUMP_DAYS, 0), min(at + 2 * _JUMP_DAYS, len(level))
        near = level[first:end]
        days = np.arange(
            max(at - _JUMP_DAYS, FEWEST_EACH_SIDE), min(at + _JUMP_DAYS, len(level) - FEWEST_EACH_SIDE) + 1
        )
        if not len(days):
            return at
        cost = [
            float(np.abs(part - median(part)).sum())
            for parts in (np.split(near, [d - first]) for d in days)
            for part in parts
        ]
        return int(days[np.argmin(np.add(cost[::2], cost[1::2]))])

    def gains(self, length: int, least: float) -> Floats:
        """Squares explained by the shape at each day, float64 (n,).

        0 near both ends, and where the conditions leave less than `least` of the shape.
        """
        n, days = len(self.day), self.day - self.day[0]
        columns = np.column_stack([self.value * self.root, self.basis * self.root[:, None], self.root**2])
        dense = np.zeros((int(days[-1]) + 1 + max(length, 1), columns.shape[1]))
        dense[days] = columns
        after = np.cumsum(dense[::-1], axis=0)[::-1]  # what a step on each day gathers
        if length > 1:
            # (m / L)^2 is the sum of 2 s + 1 over the s below m, divided by L^2: a ramp's own square is steps
            # too.
            number = np.arange(len(after), dtype=np.float64)
            running = np.vstack([np.zeros(after.shape[1]), np.cumsum(after, axis=0)])
            sloped = np.concatenate([[0.0], np.cumsum(number * after[:, -1])])
            upto = days + length
            plain = running[upto] - running[days]
            own = (2.0 * (sloped[upto] - sloped[days]) - (2.0 * days - 1.0) * plain[:, -1]) / length**2
            gathered = plain / length
        else:
            gathered, own = after[days], after[days, -1]
        across = own - np.sum(gathered[:, 1:-1] ** 2, axis=1)
        gain = np.divide(gathered[:, 0] ** 2, across, out=np.zeros(n), where=across > least)
        gain[:FEWEST_EACH_SIDE] = gain[n - FEWEST_EACH_SIDE + 1 :] = 0.0
        return gain


def _described(trial: _Trial, gain: float, at: int, length: int) -> DetectedChange | None:
    value, day = trial.value, trial.day
    n, k = trial.basis.shape
    shape = trial.shape(at, length)
    across = float(shape @ shape)
    if across <= 0.0:
        return None
    size = float(shape @ value) / across
    residual = value - size * shape
    spread = float(residual @ residual) / max(n - k - 2, 1)
    inflation = _inflation(residual, day)
    error = max(float(np.sqrt(spread * inflation / across)), _LEAST_ERROR)
    near = np.flatnonzero(trial.gains(length, 1e-9) >= gain - _CHI2_95 * spread * inflation)
    return DetectedChange(
        "slide" if length else "step",
        at,
        min(at, int(near.min())),
        max(at, int(near.max())),
        length,
        size,
        error,
        (size / error) ** 2,
    )


def _scaled(conditions: Floats) -> Floats:
    centred = conditions - conditions.mean(axis=0)
    size = centred.std(axis=0)
    return centred[:, size > 1e-9] / size[size > 1e-9]


def _tamed(value: Floats, basis: Floats) -> Floats:
    """The figure with outlier days clipped to four spreads from their fortnight."""
    residual = value - basis @ (basis.T @ value)
    off = residual - running_median(residual, 7, 7)
    spread = 1.4826 * median(np.abs(off)) or 1e-12
    return value - off + np.clip(off, -4.0 * spread, 4.0 * spread)


def _inflation(residual: Floats, day: NDArray[np.int64]) -> float:
    """Variance inflation by the autocorrelation of consecutive days."""
    pairs = np.diff(day) == 1
    if pairs.sum() < 8:
        return 1.0
    first, second = residual[:-1][pairs], residual[1:][pairs]
    scale = float(np.mean(residual**2))
    return inflation(float(np.clip(np.mean(first * second) / max(scale, 1e-12), 0.0, 0.9)))
