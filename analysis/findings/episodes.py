"""Since when, and is it still going on: stretches of days on which something was so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Episode:
    """since, until : local dates as ISO text, until None while it goes on. days : judged days in it;
    share : share of them on which it was so"""

    since: str
    until: str | None
    days: int
    share: float

    def covers(self, day: NDArray[Any]) -> NDArray[np.bool_]:
        """Which of these days (datetime64, n) lie in it: bool (n,)."""
        inside = day >= np.datetime64(self.since)
        return inside if self.until is None else inside & (day <= np.datetime64(self.until))


def latest_episode(
    day: NDArray[Any],
    condition: NDArray[np.bool_],
    observed: NDArray[np.bool_],
    *,
    hold_days: int = 3,
    gone_days: int = 7,
) -> Episode | None:
    """The newest stretch in which a condition held on most observed days.

    day : datetime64 (n,), local dates, ascending. condition : bool (n,). observed : bool (n,), days on which
        it could be judged
    hold_days : int, default 3. Minimum of observed days with the condition
    gone_days : int, default 7. Observed days in a row without it that end the stretch
    Returns Episode, or None.
    """
    index = np.flatnonzero(observed)
    flags = condition[index]
    hits = np.flatnonzero(flags)
    if len(hits) < hold_days:
        return None
    breaks = np.flatnonzero(np.diff(hits) > gone_days)
    begins = np.concatenate(([0], breaks + 1))
    ends = np.concatenate((breaks, [len(hits) - 1]))
    for a, b in zip(begins[::-1], ends[::-1], strict=True):
        if b - a + 1 < hold_days:
            continue
        first, last = hits[a], hits[b]
        ongoing = len(flags) - 1 - last < gone_days
        since, until = np.datetime_as_string(day[index[[first, last]]], unit="D").tolist()
        return Episode(
            since,
            None if ongoing else until,
            int(last - first + 1),
            float(flags[first : last + 1].mean()),
        )
    return None
