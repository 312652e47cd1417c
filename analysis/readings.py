"""Readings in memory: times and values for each point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MS_PER_MINUTE = 60_000
MS_PER_DAY = 86_400_000


class Samples(NamedTuple):
    """Readings of one point, ascending in time, one for each time.

    time : int64 (n,) [ms since 1970-01-01 UTC]
    value : float64 (n,) in the point's declared unit, state codes for state points; object (n,) of str for
        text states (`fault_code`)
    """

    time: NDArray[np.int64]
    value: NDArray[Any]

    def between(self, start: int, end: int) -> Samples:
        """The samples with start <= time < end [ms]."""
        a, b = self.time.searchsorted((start, end))
        return Samples(self.time[a:b], self.value[a:b])


Readings: TypeAlias = dict[str, Samples]
"""Point id -> its samples."""


def is_thin(count: int, first: int, last: int) -> bool:
    """True for a point read less than daily, by hand as a rule. first, last : times [ms] of its `count`
    readings"""
    return count > 1 and (last - first) / (count - 1) > MS_PER_DAY


def ordered(time: NDArray[np.int64], value: NDArray[Any]) -> Samples:
    """Sort by time; of several values at one time keep the first given.

    time : int64 (n,) [ms]; value : (n,). Returns Samples with strictly ascending times.
    """
    import numpy as np

    if len(time) < 2 or bool(np.all(time[1:] > time[:-1])):
        return Samples(time, value)
    order = np.argsort(time, kind="stable")
    time, value = time[order], value[order]
    first = np.ones(len(time), dtype=bool)
    first[1:] = time[1:] != time[:-1]
    return Samples(time[first], value[first])
