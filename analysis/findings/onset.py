"""Start of a change: the day a value left its former level, not the day it passed a limit."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.episodes import Episode

_FEWEST_BEFORE = 5
"""Days of the former level that are needed to speak of a change."""
_BETTER = 0.8
"""A gradual change must fit at least a fifth better than a step at the episode's first day."""


def onset(day: NDArray[Any], value: Floats, episode: Episode) -> str:
    """Local date on which a slow rise towards an episode began; the episode's start if it was sudden.

    day : datetime64 (n,). value : float64 (n,), one number a day that is higher the worse it is, nan where
        not known
    Returns ISO text. A level and then a line from each possible day are laid through the days up to the
    episode's end; the day with the least mean distance is taken.
    """
    last = (
        len(day)
        if episode.until is None
        else int(np.searchsorted(day, np.datetime64(episode.until), side="right"))
    )
    rows = np.flatnonzero(np.isfinite(value[:last]))
    first = int(np.searchsorted(day[rows], np.datetime64(episode.since)))
    if first < _FEWEST_BEFORE or len(rows) - first < 2:
        return episode.since
    number = (day[rows] - day[rows[0]]) / np.timedelta64(1, "D")
    known = value[rows]
    best, least = first, _BETTER * _misfit(known, number, first, slides=False)
    for at in range(_FEWEST_BEFORE, first):
        misfit = _misfit(known, number, at, slides=True)
        if misfit < least:
            best, least = at, misfit
    return str(np.datetime_as_string(day[rows[best]], unit="D"))


def _misfit(value: Floats, number: Floats, at: int, *, slides: bool) -> float:
    """Mean distance from a constant level up to a day and a line or new level after it."""
    level = float(np.median(value[:at]))
    before = np.abs(value[:at] - level)
    if slides:
        over = number[at:] - number[at]
        slope = max(float(np.sum(over * (value[at:] - level)) / max(float(np.sum(over**2)), 1e-9)), 0.0)
        after = np.abs(value[at:] - level - slope * over)
    else:
        after = np.abs(value[at:] - float(np.median(value[at:])))
    return float(np.concatenate((before, after)).mean())
