"""Rests longer than the unit's own rhythm explains, for homes without signals from the controls.

The chance that a healthy rest lasts so long (`fieldfare.analysis.expectation.rest`) is held against the
chance of a stop, by Bayes' rule. What is only likely is reported as such; each look adds certainty.

What can be known so: of lock-outs at random moments of simulated homes with electricity and outdoor
temperature alone, one in twenty-five is likely within an hour, one in six within two hours and half within
six, at one wrong word in some fifteen weeks of a healthy home's winter. No method on these meters does much
better within the hour: 19 in 20 of these units rest longer than 45 minutes in comparable weather if healthy.
A heat call, a target flow temperature, a mode or a fault code tells within the hour; so does a supply that
fails.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime

import numpy as np

from fieldfare.analysis.expectation.rest import (
    Beginnings,
    Floats,
    chance_of_rest,
    chance_of_room,
    is_switched_by_room,
    oddness,
    rests_a_running_day,
)
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.stopped.rests import Rest

# A unit that ran for days hardly rested, so few rests are informative (common practice).
_FEWEST_RESTS, _LEAST_RUNNING_DAYS = 8, 2.0
_USUAL_RESTS = 4.0
"""Rests for each day of running, for which `stopped_chance` holds (common practice: 3 to 8 starts a day)."""


@dataclass(frozen=True)
class Rhythm:
    """longer : probability of a healthy rest this long [0 to 1]. stopped : probability of a stop."""

    longer: float
    stopped: float


def rhythm(context: Context, rest: Rest) -> Rhythm | None:
    """The rest compared with the unit's earlier rests; None with too few runs or without a run before."""
    runs = context.all_days.runs
    if not rest.begun or not len(runs):
        return None
    before = runs.where(runs["start"] < rest.start)
    if len(before) < 2 or before.total("minutes") < _LEAST_RUNNING_DAYS * 1440.0:
        return None
    ends = before["start"] + before["minutes"] * 60_000
    if abs(int(ends[-1]) - rest.start) > 5 * 60_000:
        return None
    began = _beginnings(context, before, ends)
    lengths = before.floats("pause")[1:]
    cut = before["cut"].astype(bool)
    cut[0] = False  # it began before these days: the rest after it is known all the same
    is_whole = np.isfinite(lengths) & ~cut[1:] & ~cut[:-1]
    past, now = _rows(began, np.flatnonzero(is_whole)), _rows(began, np.array(len(before) - 1))
    a_day = rests_a_running_day(lengths[is_whole], past, now, began)
    if is_whole.sum() < _FEWEST_RESTS and not a_day < _USUAL_RESTS:
        return None
    days = len(np.unique(before["day"]))
    longer = chance_of_rest(rest["minutes"], lengths[is_whole], past, now, days)
    if "room_temperature" not in context.unreliable:
        starts = before.floats("room_start")
        room = chance_of_room(rest["room_last_c"], starts)
        # A thermostat waits for its room, however long the sun, a fire or a mild night keeps it warm.
        waits = is_switched_by_room(starts, before.floats("room_end")) and np.isfinite(rest["room_last_c"])
        longer = room if waits else min(longer, room)
    chance = context.limit("stopped_chance") * _USUAL_RESTS / a_day
    odds = chance * oddness(past, now) / max(longer, 1e-9)
    return Rhythm(longer, odds / (1.0 + odds))


def _beginnings(context: Context, runs: Table, ends: np.ndarray) -> Beginnings:
    """How the rest after each run began."""
    zone = context.site.zone
    local = [datetime.fromtimestamp(t / 1000, zone) for t in ends.tolist()]
    nothing = np.full(len(runs), np.nan)
    return Beginnings(
        outdoor=nothing if "outdoor_temperature" in context.unreliable else runs.floats("outdoor"),
        room=nothing if "room_temperature" in context.unreliable else runs.floats("room_end"),
        run=np.maximum(runs.floats("minutes"), 1.0),
        use=runs.floats("use"),
        minute=np.array([60.0 * t.hour + t.minute for t in local]),
    )


def _rows(began: Beginnings, rows: np.ndarray) -> Beginnings:
    """Some of them, or one."""
    parts: dict[str, Floats] = {f.name: getattr(began, f.name)[rows] for f in fields(Beginnings)}
    return Beginnings(**parts)
