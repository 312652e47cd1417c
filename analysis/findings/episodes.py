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
    so: NDArray[np.bool_],
    judged: NDArray[np.bool_],
    *,
    hold_days: int = 3,
    gone_days: int = 7,
) -> Episode | None:
    """The newest stretch in which something was so on most judged days.

    day : datetime64 (n,), local dates, ascending. so : bool (n,). judged : bool (n,), days on which it could
        be told
    hold_days : int, default 3. It must have been so on so many judged days of the stretch
    gone_days : int, default 7. So many judged days in a row without it end the stretch
    Returns Spell, or None.
    """
    index = np.flatnonzero(judged)
    flags = so[index]
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
