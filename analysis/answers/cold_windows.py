"""Rooms that are cold because of open windows: they fall faster than a closed house can, though they are
heated."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.cold_measures import FEWEST_COLD_MIN, ColdZone, extra_loss, space_kw
from fieldfare.analysis.answers.hours import Hours, Step, Value
from fieldfare.analysis.facts.segments import held_for
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.minutes.rolling import true_runs

Floats = NDArray[np.float64]

_FALL_MIN = 30  # an open window shows within half an hour (common practice)
_BACK_MIN = 60  # once it is shut, warm walls bring the air back within the hour (common practice)
_BACK_SHARE = 0.4  # of what the room lost (common practice)
_STAYS = 0.8  # heat meanwhile over the heat before: a heating that was turned down explains a fall


def windows_step(hours: Hours, cold: ColdZone) -> Step:
    """A room that cools far faster than a closed one can, or takes far more heat than it loses."""
    room = cold.room
    if not np.isfinite(room[hours.inside]).any():
        return Step("windows", "unknown", (), "no_room_sensor")
    fall = _fall_rate(room)
    heated = held_for(hours.minutes.use.code == HEATING, _FALL_MIN) & hours.in_question
    closed = _closed_rate(hours, fall)
    falls = np.where(heated, fall, 0.0)
    begin, end = true_runs(falls > min(hours.limit("answer_window_k_per_h"), _over_own(hours, closed)))
    heat = space_kw(hours)
    opened = [_is_window(hours, room, heat, fall, int(a), int(b)) for a, b in zip(begin, end, strict=True)]
    a_day = sum(opened) / hours.nights
    extra = extra_loss(hours, cold)
    values = (
        Value("steepest_fall", float(falls.max()) if hours.in_question.any() else 0.0, "K/h"),
        Value("closed_fall", closed, "K/h"),
        Value("falls_a_day", a_day, "1/d", limit="answer_falls_a_day"),
        Value("extra_loss", extra, "-", limit="answer_extra_loss"),
    )
    often = a_day >= hours.limit("answer_falls_a_day") or extra > hours.limit("answer_extra_loss")
    cold_enough = cold.cold.sum() >= FEWEST_COLD_MIN
    return Step("windows", "binds" if often and cold_enough else "adds" if often else "fine", values)


def _fall_rate(room: Floats) -> Floats:
    """Fall over the last half hour [K/h], 0 where it is not known: float64 (n,)"""
    fall = np.zeros(len(room))
    fall[_FALL_MIN:] = fill_nan((room[:-_FALL_MIN] - room[_FALL_MIN:]) * 60.0 / _FALL_MIN, 0.0)
    return fall


def _closed_rate(hours: Hours, fall: Floats) -> float:
    """How fast the closed house cools by itself: most falls without heat are slower [K/h]; nan where it is
    hardly ever unheated."""
    still = held_for((hours.minutes.use.code >= 0) & ~hours.minutes.use.running, _FALL_MIN) & hours.inside
    if still.sum() < hours.limit("answer_fewest_still_min"):
        return float("nan")
    return float(np.quantile(fall[still], 0.9))


def _over_own(hours: Hours, closed: float) -> float:
    if not np.isfinite(closed):
        return np.inf
    return max(hours.limit("answer_window_times") * closed, hours.limit("answer_window_least_k_per_h"))


def _is_window(hours: Hours, room: Floats, heat: Floats, fall: Floats, a: int, b: int) -> bool:
    """Whether one steep fall is a window: beyond what any closed room does; or the heat stayed and the room
    came back fast."""
    if float(fall[a:b].max()) > hours.limit("answer_window_k_per_h"):
        return True
    before, during = heat[max(a - 2 * _FALL_MIN, 0) : max(a - _FALL_MIN, 1)], heat[a:b]
    stays = not np.nanmean(during) < _STAYS * np.nanmean(before) if _known(before, during) else True
    low = float(np.nanmin(room[a : min(b + _FALL_MIN, len(room))]))
    lost = float(room[max(a - _FALL_MIN, 0)]) - low
    after = room[b : min(b + _FALL_MIN + _BACK_MIN, len(room))]
    back = float(np.nanmax(after)) - low if np.isfinite(after).any() else 0.0
    return stays and back >= _BACK_SHARE * lost


def _known(*parts: Floats) -> bool:
    return all(np.isfinite(part).any() for part in parts)
