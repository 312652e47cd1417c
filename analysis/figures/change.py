"""When did a daily figure step or begin to slide, conditions being equal?

A plain statistic: the figure is explained by its conditions and, on top, by one step or one ramp whose day is tried over
the whole span (Quandt 1960; Andrews 1993 for why the best of many days must clear a higher bar than a single test).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.medians import median, running_median

Floats = NDArray[np.float64]

FEWEST_EACH_SIDE = 10
"""Days on each side of a change, before it is believed (common practice: a week and a half of weather)."""
_RAMPS = (15, 30, 45, 60, 90, 120)
# Largest of a chi-square(1) process over the middle 70 % of a span, 1 % level: 12.2 (Andrews 1993, Table I, p = 1).
_SURE = 12.2
_CHI2_95 = 3.84
_LEAST_ERROR = 1e-4
"""No daily figure repeats better than this; keeps a figure without any scatter finite."""


@dataclass(frozen=True)
class Change:
    """kind : a step, or a slide over `days`. at : index of its first day; low, high : 95 % interval of that index.
    size, error : change of the figure and its standard error; score : chi-square of the change (1 degree of freedom)"""

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
) -> Change | None:
    """The step or slide that explains most of what the conditions leave unexplained.

    figure : float64 (n,), finite. conditions : float64 (n, k), finite, without a constant. weight : float64 (n,), above 0
    day : int64 (n,), day numbers, ascending (gaps allowed)
    slides : bool, default True. Try ramps as well
    Returns Change, sure or not; None where there are too few days. Errors allow for days being like their neighbours.
    """
    n = len(figure)
    if n < 2 * FEWEST_EACH_SIDE + conditions.shape[1] + 2:
        return None
    root = np.sqrt(weight / weight.mean())
    base = np.column_stack([np.ones(n), _scaled(conditions)]) * root[:, None]
    basis, _ = np.linalg.qr(base)
    value = _tamed(figure * root, basis)
    value = value - basis @ (basis.T @ value)
    best: tuple[float, int, int, Floats] | None = None
    step_gain: Floats | None = None
    for length in (0, *(_RAMPS if slides else ())):
        shapes = _shapes(day, length) * root[:, None]
        shapes = shapes - basis @ (basis.T @ shapes)
        size2 = np.einsum("ij,ij->j", shapes, shapes)
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = np.where(size2 > 0.02 * n / 10.0, (shapes.T @ value) ** 2 / size2, 0.0)
        gain[:FEWEST_EACH_SIDE] = gain[n - FEWEST_EACH_SIDE + 1 :] = 0.0
        if length == 0:
            step_gain = gain
        at = int(np.argmax(gain))
        if best is None or gain[at] > best[0]:
            best = (float(gain[at]), at, length, shapes[:, at])
    assert best is not None
    assert step_gain is not None
    squares = float(value @ value)
    spread = max(squares - best[0], 1e-12) / max(n - base.shape[1] - 2, 1)
    # A ramp must explain clearly more than a step to be called one.
    if best[2] and best[0] - float(step_gain.max()) < _CHI2_95 * spread:
        at = int(np.argmax(step_gain))
        shape = _shapes(day, 0)[:, at] * root
        best = (float(step_gain[at]), at, 0, shape - basis @ (basis.T @ shape))
    return _described(best, value, day, squares, base.shape[1], basis, root)


def _described(
    best: tuple[float, int, int, Floats], value: Floats, day: NDArray[np.int64], squares: float, k: int,
    basis: Floats, root: Floats,
) -> Change | None:  # fmt: skip
    gain, at, length, shape = best
    n = len(value)
    across = float(shape @ shape)
    if across <= 0.0:
        return None
    size = float(shape @ value) / across
    residual = value - size * shape
    spread = float(residual @ residual) / max(n - k - 2, 1)
    inflation = _inflation(residual, day)
    error = max(float(np.sqrt(spread * inflation / across)), _LEAST_ERROR)
    shapes = _shapes(day, length) * root[:, None]
    shapes = shapes - basis @ (basis.T @ shapes)
    size2 = np.maximum(np.einsum("ij,ij->j", shapes, shapes), 1e-12)
    gains = (shapes.T @ value) ** 2 / size2
    gains[:FEWEST_EACH_SIDE] = gains[n - FEWEST_EACH_SIDE + 1 :] = 0.0
    near = np.flatnonzero(gains >= gain - _CHI2_95 * spread * inflation)
    return Change(
        "slide" if length else "step", at, int(near.min()), int(near.max()), length, size, error, (size / error) ** 2
    )  # fmt: skip


def _shapes(day: NDArray[np.int64], length: int) -> Floats:
    """Column j: nothing before row j, then one, reached at once or over so many days."""
    since = (day[:, None] - day[None, :]).astype(np.float64)
    if length == 0:
        return (since >= 0).astype(np.float64)
    return np.clip((since + 1.0) / length, 0.0, 1.0)


def _scaled(conditions: Floats) -> Floats:
    centred = conditions - conditions.mean(axis=0)
    size = centred.std(axis=0)
    return centred[:, size > 1e-9] / size[size > 1e-9]


def _tamed(value: Floats, basis: Floats) -> Floats:
    """The figure with single wild days brought in to four spreads from what their fortnight shows."""
    residual = value - basis @ (basis.T @ value)
    off = residual - running_median(residual, 7, 7)
    spread = 1.4826 * median(np.abs(off)) or 1e-12
    return value - off + np.clip(off, -4.0 * spread, 4.0 * spread)


def _inflation(residual: Floats, day: NDArray[np.int64]) -> float:
    """How much a variance grows because a day is like the day before: (1 + r) / (1 - r)."""
    pairs = np.diff(day) == 1
    if pairs.sum() < 8:
        return 1.0
    first, second = residual[:-1][pairs], residual[1:][pairs]
    scale = float(np.mean(residual**2))
    r = float(np.clip(np.mean(first * second) / max(scale, 1e-12), 0.0, 0.9))
    return (1.0 + r) / (1.0 - r)
