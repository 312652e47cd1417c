"""Wait before another try of a server that failed."""

from __future__ import annotations

import random

_MOST_DOUBLINGS = 20  # a float overflows after a thousand


def back_off(failures: int, limits: tuple[float, float]) -> float:
    """Seconds to wait: doubled with each failure, shortened at random so that clients do not return together.

    failures : in a row, 1 or more. limits : wait after the first failure, and the longest wait [s]
    """
    low, high = limits
    wait = min(high, low * 2.0 ** min(failures - 1, _MOST_DOUBLINGS))
    return wait * random.uniform(0.5, 1.0)  # noqa: S311
