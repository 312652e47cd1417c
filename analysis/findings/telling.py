"""Small words and numbers that findings share: how a point is named, how sure a stretch makes one, days of a series."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from analysis.plant.site import Point
from analysis.windows import stretches

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

METER_CAUTION = "The meter stands in a mains circuit: only an electrician licensed for it opens the board, under the local code."


def named(point: Point) -> str:
    """A point as people meet it: its id and what it measures."""
    return f"{point.id} ({point.quantity.replace('_', ' ')})"


def listed(names: Iterable[str], most: int = 3) -> str:
    """Names in a row of words, the rest as a number."""
    given = list(names)
    if len(given) > most:
        return f"{', '.join(given[:most])} and {len(given) - most} more"
    return " and ".join([", ".join(given[:-1]), given[-1]] if len(given) > 1 else given)


def sure(over: float, days: float, share: float = 1.0) -> float:
    """How sure a finding is [0 to 1].

    over : value over its limit [-], above 1. days : on which it was seen. share : of the judged days on which it was so
    """
    size = 1.0 - math.exp(-1.6 * max(over - 1.0, 0.0) - 0.7)
    time = 1.0 - math.exp(-days / 4.0)
    return float(min(max(0.35 + 0.65 * size, 0.4) * (0.5 + 0.5 * time) * (0.6 + 0.4 * share), 0.99))


def runs_of(flags: Flags) -> list[tuple[int, int]]:
    """Stretches of True as (first, last), both inclusive."""
    return [(int(a), int(b) - 1) for a, b in zip(*stretches(flags), strict=True)]
