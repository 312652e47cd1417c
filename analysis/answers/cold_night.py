"""Rooms that are cold after the night: a set-back too deep to recover from in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.answers.cold_measures import FEWEST_COLD_MIN, ColdZone, need_kw, space_kw
from fieldfare.analysis.answers.hours import Flags, Hours, Step, Value
from fieldfare.analysis.expectation.set_back import Recovery
from fieldfare.analysis.facts.segments import held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.rolling import true_runs, window_sum

_RAISED_K = 0.3
_LATE_MIN = 120  # before a set-back begins, when the rooms had the day to follow (common practice)
_SETTLED_MIN = 30  # after a set-back ends, until the water is warm (common practice)


@dataclass(frozen=True)
class _Night:
    """fell : by night [K]. reached : share of the last hours before a set-back at target. spare : heat over
    the need and rise : of the room [K/h] while it comes back, in the hours asked about. needed [K/h]"""

    fell: float
    reached: float
    spare: float
    rise: float
    needed: float

    def values(self) -> tuple[Value, ...]:
        return (
            Value("share_reached_later", self.reached, "-"),
            Value("night_fall", self.fell, "K"),
            Value("rising_share", self.spare, "-", limit="answer_rising_share"),
            Value("rise", self.rise, "K/h"),
            Value("needed_rise", self.needed, "K/h"),
        )


def _night_of(hours: Hours, cold: ColdZone, lowered: Flags, coming_back: Flags, highest: float) -> _Night:
    fell = _fell(cold, lowered)
    return _Night(
        fell,
        _reached(hours, cold, highest),
        _spare(hours, cold, coming_back),
        _rise(cold, coming_back),
        fell / (hours.limit("answer_recovery_min") / 60.0),
    )


def set_back_step(hours: Hours, cold: ColdZone) -> Step:
    """The hours lie in a set-back, or in the hours in which the rooms come back from it.

    The room falls by night with its target, and by day it takes more heat than the house needs at that
    target: it would come up, only too late. Where it takes less, something else holds it down, with or
    without a set-back. Rooms that are not back when the next set-back begins are colder for it in any case.
    The state rests on the hours asked about; depth, fall by night and rooms back later are of the whole days.
    """
    target = cold.target
    if not np.isfinite(target[hours.inside]).any():
        return Step("set_back", "unknown", (), "no_target")
    highest = float(np.nanmax(target[hours.inside]))
    depth = highest - float(np.nanmin(target[hours.inside]))
    lowered = hours.inside & (fill_nan(target, highest) <= highest - hours.limit("answer_setback_k"))
    below = hours.in_question & (fill_nan(highest - cold.room, 0.0) > hours.limit("answer_cold_k"))
    comes_back, share = _coming_back(hours, cold, lowered), hours.limit("answer_set_back_share")
    night = _night_of(hours, cold, lowered, comes_back & ~lowered & hours.in_question, highest)
    lacks = hours.mean(highest - cold.room, below)
    recovery = Recovery(night.spare, night.rise, night.needed, night.fell, lacks)
    fell_enough = recovery.fell_enough(hours.limit)
    never_back = night.reached < hours.limit("answer_reached_share")
    lags = cold.gap >= hours.limit("answer_gap_k") and never_back
    rising = recovery.is_late(hours.limit) and not lags
    follows = lowered | (comes_back if rising else _soon_after(hours, cold, lowered))
    in_set_back = _share(below, follows)
    values = (
        Value("set_back_depth", depth, "K", limit="answer_setback_k"),
        Value("share_in_set_back", in_set_back, "-"),
        *night.values(),
    )
    deep = depth >= hours.limit("answer_setback_k") and below.sum() >= FEWEST_COLD_MIN
    holds = deep and in_set_back > share
    late = deep and never_back and fell_enough and not night.rise >= night.needed
    if not holds:
        return Step("set_back", "adds", values, "not_back") if late else Step("set_back", "fine", values)
    reason = "lowered" if _share(below, lowered) > share else "not_back" if late and not rising else ""
    if rising:
        return Step("set_back", "binds", values, reason)
    # Rooms that are cold at other hours too, or still in the evening, have another cause, if one is found.
    other = hours.inside & ~follows & np.isfinite(cold.room)
    short = fill_nan(target, highest) - cold.room > hours.limit("answer_cold_k")
    elsewhere = float(short[other].mean()) if other.any() else 0.0
    also = never_back or elsewhere > hours.limit("answer_cold_elsewhere")
    return Step("set_back", "adds" if also else "binds", values, reason)


def _share(rows: Flags, of: Flags) -> float:
    """Share of those rows that the other flags mark [-]; 0 where there are none."""
    return float((rows & of).sum()) / max(float(rows.sum()), 1.0)


def _soon_after(hours: Hours, cold: ColdZone, lowered: Flags) -> Flags:
    """The hours that radiators usually need after a target was raised: bool (n,)."""
    raised = np.concatenate(([0.0], np.diff(fill_nan(cold.target, 0.0)))) > _RAISED_K
    return ~held_for(~raised, int(hours.limit("answer_recovery_min"))) & ~lowered


def _coming_back(hours: Hours, cold: ColdZone, lowered: Flags) -> Flags:
    """From each end of a set-back until the room is back at its target, or until it is evening or the next
    begins: bool (n,)."""
    longest = int(hours.limit("answer_longest_recovery_min"))
    short = fill_nan(cold.target - cold.room, 0.0) > hours.limit("answer_cold_k")
    out = np.zeros(len(short), dtype=np.bool_)
    begin, end = true_runs(~lowered & hours.inside)
    for a, b in zip(begin, end, strict=True):
        if a == 0 or not lowered[a - 1]:
            continue
        b = min(b, a + longest)
        warm = np.flatnonzero(~short[a:b])
        out[a : a + warm[0] if len(warm) else b] = True
    return out


def _spare(hours: Hours, cold: ColdZone, rows: Flags) -> float:
    """Heat that the rooms get while they come back, over what the house needs at their target [-]; nan if
    unknown."""
    if rows.sum() < FEWEST_COLD_MIN:
        return float("nan")
    need = need_kw(hours, cold, designed=False, rows=rows)[0]
    given = hours.mean(space_kw(hours), rows)
    return given / need if need > 0.0 else float("nan")


def _rise(cold: ColdZone, rows: Flags) -> float:
    """Rise of the room while it comes back [K/h]; nan where it never takes long."""
    gained, took = 0.0, 0.0
    for a, b in zip(*true_runs(rows), strict=True):
        first = a + _SETTLED_MIN
        if b > first + 1 and np.isfinite(cold.room[first] + cold.room[b - 1]):
            gained += float(cold.room[b - 1] - cold.room[first])
            took += (b - 1 - first) / 60.0
    return gained / took if took > 0.0 else float("nan")


def _fell(cold: ColdZone, lowered: Flags) -> float:
    """Usual fall of the room from the beginning of a set-back to its lowest [K]; nan without one."""
    fell = []
    for a, b in zip(*true_runs(lowered), strict=True):
        night = cold.room[a:b]
        if np.isfinite(night).any() and np.isfinite(cold.room[a]):
            fell.append(float(cold.room[a] - np.nanmin(night)))
    return float(np.median(fell)) if fell else float("nan")


def _reached(hours: Hours, cold: ColdZone, highest: float) -> float:
    """Share of the last hours before a set-back in which the room is at its target; nan where none begins."""
    target = cold.target
    falls = np.concatenate((np.diff(fill_nan(target, 0.0)), [0.0])) < -_RAISED_K
    late = (
        hours.inside
        & (window_sum(falls, 0, _LATE_MIN) > 0)
        & ~(fill_nan(target, 0.0) < highest - _RAISED_K)
        & np.isfinite(cold.room)
    )
    if not late.any():
        return float("nan")
    return float((cold.room[late] >= target[late] - hours.limit("answer_cold_k")).mean())
