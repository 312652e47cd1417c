"""Episodes: runs of days on which a condition held, with their start, end and share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.minutes.rolling import true_runs


@dataclass(frozen=True)
class Episode:
    """A period in which a condition held on most observed days.

    since, until : local ISO dates, until None while it is ongoing. days : observed days in it.
    share : share of these days with the condition
    """

    since: str
    until: str | None
    days: int
    share: float

    def covers(self, day: NDArray[Any]) -> NDArray[np.bool_]:
        """Days within the episode. day : datetime64 (n,). Returns bool (n,)."""
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
    """Latest run of days on which a condition held.

    day : datetime64 (n,), local dates, ascending. condition : bool (n,).
    observed : bool (n,), days on which the condition could be assessed
    hold_days : int, default 3. Fewest observed days with the condition
    gone_days : int, default 7. Observed days in a row without the condition that end the episode
    Returns Episode, or None where no run is long enough.
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


def as_cold(condition: Flags, outdoor: Floats, observed: Flags, room: Floats | None = None) -> Flags:
    """Observed days at least as cold as the median day with the condition: mild weather ends no episode.

    condition, observed : bool (n,). outdoor : float64 (n,) [°C]. Returns bool (n,)
    room : float64 (n,) [°C]. With it, days count too on which the house held a difference to outdoors as wide
        as on the days with the condition: what kept the rooms cold then does so no more
    """
    if not condition.any() or not np.isfinite(outdoor[condition]).any():
        return observed | condition
    usual = float(np.nanmedian(outdoor[condition]))
    like = fill_nan(outdoor, usual) <= usual
    if room is not None and np.isfinite((room - outdoor)[condition]).any():
        like |= fill_nan(room - outdoor, -np.inf) >= float(np.nanmedian((room - outdoor)[condition]))
    return condition | (observed & like)


def runs_of(flags: Flags) -> list[tuple[int, int]]:
    """Runs of True as (first, last) indices, both inclusive."""
    return [(int(a), int(b) - 1) for a, b in zip(*true_runs(flags), strict=True)]
