"""Shares of a difference that has several causes at once: the Shapley value, which adds up exactly."""

from __future__ import annotations

from math import factorial

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def shapley(values: Floats, players: int) -> Floats:
    """Each cause's share of the difference between all causes at work and none.

    values : float64 (2, ..., 2, d), `players` axes of length two (0: as before, 1: as now), then d draws
    Returns float64 (players, d); the sum over players is values[1, ..., 1] - values[0, ..., 0].
    Source: Shapley (1953): the mean of a cause's effect over every order in which the causes may come.
    """
    out = np.empty((players, values.shape[-1]))
    for player in range(players):
        effect = np.take(values, 1, axis=player) - np.take(values, 0, axis=player)
        out[player] = np.tensordot(_weights(players), effect, axes=players - 1)
    return out


def _weights(players: int) -> Floats:
    """Share of the orders in which exactly these other causes come before: float64 (2, ..., 2), one axis
    fewer."""
    others = players - 1
    before = np.zeros((2,) * others, dtype=np.int64)
    for axis in range(others):
        before += np.arange(2).reshape([2 if a == axis else 1 for a in range(others)])
    share = np.array([factorial(k) * factorial(others - k) / factorial(players) for k in range(players)])
    return np.asarray(share[before])
