"""Stops that come back: the unit rests for half a day again and again while rooms are cold.

One of them is over before anybody looks; together they are a fault that goes on.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

import numpy as np

from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.findings.stopped.heat_due import is_powerless, reasons
from fieldfare.analysis.findings.stopped.rests import Rest, local
from fieldfare.analysis.findings.stopped.texts import caution
from fieldfare.analysis.statistics.quantiles import nan_median

# A clock starts and stops a unit within some minutes of the same hour; its own pauses before and after differ
# by half an hour (common practice).
_SAME_HOUR_MIN = 45.0
_BY_CLOCK, _AT_RANDOM = 0.85, 0.15


def coming_back(context: Context, past: Iterable[Rest]) -> Finding | None:
    """Rests that ended, with heat due in each, so often of late that they go on; None where they are few.

    past : ended rests of the whole unit, newest first
    """
    limit = context.limit
    newest_day = context.all_days.days.day(len(context.all_days.days) - 1)
    mine: list[Rest] = []
    sure: list[float] = []
    for rest in past:
        ended = local(context, rest.end).date()
        last = local(context, mine[-1].start).date() if mine else newest_day
        if last - ended > timedelta(limit("stopped_past_days")):
            break
        if not _cold(context, rest):
            continue
        # Each look costs; beyond what makes it certain the rooms tell how long it has gone on.
        if len(sure) < limit("stopped_again_times"):
            if not (found := reasons(context, rest)):
                continue
            sure.append(max(r.strength for r in found))
        mine.append(rest)
    if len(sure) < limit("stopped_again_times"):
        return None
    return _finding(context, mine, float(np.mean(sure)))


def _cold(context: Context, rest: Rest) -> bool:
    """Rooms under their target for an hour and at the end, in weather in which heat is due."""
    short = rest["room_short_last_k"] >= context.limit("stopped_room_short_k")
    cold = not rest["outdoor_mean_c"] > context.limit("stopped_mild_c")
    return bool(short and rest["minutes_room_short"] >= 60.0 and cold)


def _finding(context: Context, mine: list[Rest], sure: float) -> Finding:
    newest, hours = mine[0], nan_median(np.array([r.hours for r in mine]))
    since = local(context, mine[-1].start).date().isoformat()
    short = nan_median(np.array([r["room_short_last_k"] for r in mine]))
    causes = _causes(context, mine)
    main = causes[0].cause
    return Finding(
        "unit_stopped",
        "act",
        since,
        min(sure, context.limit("surest")),
        f"The heat pump has stopped {len(mine)} times since {day_text(since)}, for {hours:.0f} hours each,"
        " while the rooms were cold.",
        evidence=(
            context.evidence("stops with heat due", len(mine), "", "stopped_again_times"),
            Evidence("length of one of them", round(hours, 1), "h"),
            context.evidence(
                "room below its target at their end", round(short, 1), "K", "stopped_room_short_k"
            ),
            Evidence("the newest ended", f"{local(context, newest.end):%Y-%m-%d %H:%M}"),
        ),
        causes=causes,
        next_step=(
            "Ask what switches it: a time programme, a tariff's or a grid lock, a room controller or its"
            " wiring. Set it so that it runs when rooms call."
            if main == "switched_off"
            else "Read the unit's fault memory and count its resets; check flow, pressure switches, coil and"
            " fan as its codes say."
        ),
        caution=caution(context, "unit"),
        home=(
            "Your heat pump stops for hours again and again and starts by itself. Your installer will find"
            " out why; please tell them when it happens."
        ),
        visit="setting" if main == "switched_off" else "drive",
        bring=() if main == "switched_off" else ("multimeter", "the maker's fault list"),
    )


def _causes(context: Context, mine: list[Rest]) -> tuple[Cause, ...]:
    if sum(is_powerless(context, rest) for rest in mine) > len(mine) / 2:
        return ranked({"no_power": (1.0, "it draws nothing in them, not even for its controls")})
    begins, ends = [local(context, r.start) for r in mine], [local(context, r.end) for r in mine]
    apart = [_apart([60.0 * t.hour + t.minute for t in clock]) for clock in (begins, ends)]
    faults = sum(rest["minutes_fault"] >= 30.0 for rest in mine)
    by_clock = max(apart) <= _SAME_HOUR_MIN and not faults
    off = _BY_CLOCK if by_clock else _AT_RANDOM
    hours = f"from about {begins[0]:%H:%M} to {ends[0]:%H:%M}"
    return ranked(
        {
            "switched_off": (
                off,
                f"it rests {hours} each time: a clock does that" if by_clock else "nobody does that so often",
            ),
            "locked_out": (
                1.0 - off,
                "a lock-out comes at any hour"
                if by_clock
                else f"it stops at any hour and starts by itself; it reports a fault in {faults} of them",
            ),
        }
    )


def _apart(minutes: list[float]) -> float:
    """Median distance of moments of the day from their middle [min], round midnight."""
    angle = np.array(minutes) * 2.0 * np.pi / 1440.0
    middle = np.angle(np.exp(1j * angle).mean())
    return nan_median(np.abs(np.angle(np.exp(1j * (angle - middle))))) * 1440.0 / (2.0 * np.pi)
