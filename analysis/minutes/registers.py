"""Convert register readings to energy, across resets, rollovers, repeats, steps back, jumps and dropouts.

A register may reset, roll over, repeat, step back, jump, or show nothing for a while. Each case is handled,
counted and reported.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.rolling import running_total
from fieldfare.analysis.readings import Samples
from fieldfare.analysis.statistics.quantiles import median, quantile

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Totals at which registers roll over: full decimal displays, and 16 and 32 bit counters of whole, tenth,
# hundredth and thousandth units.
_FULL = np.array(
    sorted(
        [10.0**k for k in range(3, 10)] + [2.0**b / 10.0**k for b in (16, 32) for k in range(4)] + [np.inf]
    )
)
# A dropout ends within this time; a reset does not.
_DROPOUT_HOURS = 24.0
# Up to this many events of one kind are listed; more are summed every quarter of a day.
_LISTED_ONE_BY_ONE = 20


@dataclass(frozen=True)
class RegisterEvent:
    """An oddity in a register: when [ms], what, and by how much."""

    time: int
    kind: str
    amount: float


@dataclass(frozen=True)
class Total:
    """A corrected register: an energy that keeps growing through resets.

    time : int64 (n,) [ms]; value : float64 (n,), canonical unit, first value 0
    resolution : smallest step; events : what was corrected
    """

    time: NDArray[np.int64]
    value: Floats
    resolution: float
    events: list[RegisterEvent] = field(default_factory=list)

    def at(self, time: NDArray[np.int64]) -> Floats:
        """The total at any times, interpolated linearly, nan outside the readings."""
        if len(self.time) < 2:
            return np.full(len(time), np.nan)
        return np.interp(time, self.time, self.value, left=np.nan, right=np.nan)


def whole_total(samples: Samples, *, most_per_hour: float, may_fall: float = 0.0) -> Total:
    """Correct a register's readings to a continuous total.

    samples : Samples, canonical unit
    most_per_hour : float [unit/h], above any plant's rate; a faster rise is a jump, not energy
    may_fall : float [unit], default 0.0. Largest real fall between two readings (heat drawn back by a
        defrost)
    Returns Total. Events: rolled_over (amount: counted across it), reset (amount: total before it),
        stepped_back and jumped (amount: by how much), dropped_out (amount: readings left out).
    """
    time, value = _without_spikes(samples, may_fall)
    if len(time) < 2:
        return Total(time, np.zeros(len(time)), 0.0)
    time, value, events = _without_dropouts(time, value, most_per_hour, may_fall)
    step = np.diff(value)
    hours = np.diff(time) / 3_600_000.0
    fell = np.flatnonzero(step < -max(may_fall, _rounding(value)))
    if len(fell):
        before, after = value[fell], value[fell + 1]
        could = most_per_hour * np.maximum(hours[fell], 0.25)
        wrapped, rolled = _rolled_over(before, after, hours[fell], could)
        reset = ~rolled & (after >= 0.0) & (after < 0.9 * before)
        back = ~rolled & ~reset
        events += _events("rolled_over", time[fell + 1][rolled], wrapped[rolled])
        events += _events("reset", time[fell + 1][reset], before[reset])
        events += _events("stepped_back", time[fell + 1][back], (before - after)[back])
        # A reset register shows what it has counted since; a replaced meter starts at a total
        # of its own.
        step[fell] = np.where(rolled, wrapped, np.where(reset & (after <= could), after, 0.0))
    jumped = _jumps(step, hours, value, most_per_hour)
    events += _events("jumped", time[1:][jumped], step[jumped])
    step[jumped] = 0.0
    events.sort(key=lambda e: e.time)
    return Total(time, running_total(step), _resolution(step), events)


def odd_steps(samples: Samples, *, most_per_hour: float, may_fall: float = 0.0) -> list[RegisterEvent]:
    """What a register shows that no plant does: the events of `whole_total`, and each reading that stands
    alone by more than an hour can count (kind: spike; amount: the reading)."""
    found = whole_total(samples, most_per_hour=most_per_hour, may_fall=may_fall).events
    time, value = _without_spikes(samples, may_fall)
    if len(time) > 1:
        beside = np.interp(samples.time, time, value)
        alone = ~np.isin(samples.time, time) & (np.abs(samples.value - beside) > most_per_hour)
        found = [*found, *_events("spike", samples.time[alone], samples.value[alone])]
    return sorted(found, key=lambda e: e.time)


def _rolled_over(before: Floats, after: Floats, hours: Floats, could: Floats) -> tuple[Floats, Flags]:
    """Energy counted across a rollover, and the total at which it rolled over."""
    span = _next_full(before)
    wrapped = span - before + after
    # With frequent readings the last one is close to the end; with monthly ones it may be further away.
    near = np.where(hours > 48.0, 0.85, 0.99)
    return wrapped, (before > near * span) & (after < (1.0 - near) * span) & (wrapped <= could)


def _next_full(value: Floats) -> Floats:
    """Smallest rollover total above each value; inf above all of them."""
    return np.asarray(_FULL[np.searchsorted(_FULL, value, side="right")], dtype=np.float64)


def _jumps(step: Floats, hours: Floats, value: Floats, most_per_hour: float) -> Flags:
    """Rises above any plant's energy: neither since the last reading, nor as one step of a coarse register.

    A register with a coarse last digit stays constant and then moves by a whole digit: its rate is over the
    time since its last move.
    """
    fast = step > most_per_hour * np.maximum(hours, 1.0 / 60.0) + _rounding(value)
    if not fast.any():
        return fast
    clock = running_total(hours)
    moved = np.concatenate(([0], np.where(step > 0.0, np.arange(1, len(step) + 1), 0)))
    since = clock[1:] - clock[np.maximum.accumulate(moved)[:-1]]
    digit = float(np.median(step[step > 0.0]))
    return fast & ((step > 2.5 * digit) | (step > most_per_hour * since))


def _without_spikes(samples: Samples, may_fall: float) -> tuple[NDArray[np.int64], Floats]:
    """Drop single readings that differ from both neighbours, which agree with each other."""
    time, value = samples.time, np.asarray(samples.value, dtype=np.float64)
    keep = np.isfinite(value)
    time, value = time[keep], value[keep]
    if len(value) < 3:
        return time, value
    before, here, after = value[:-2], value[1:-1], value[2:]
    dip = (here < before - may_fall) & (after >= before - may_fall) & (after - here > 0)
    bump = (here > after + may_fall) & (after >= before - may_fall) & (here - before > after - before)
    spikes = np.zeros(len(value), dtype=bool)
    spikes[1:-1] = dip | bump
    # A deviation of one rounding step is harmless.
    return (time[~spikes], value[~spikes]) if spikes.any() else (time, value)


def _without_dropouts(
    time: NDArray[np.int64], value: Floats, most_per_hour: float, may_fall: float
) -> tuple[NDArray[np.int64], Floats, list[RegisterEvent]]:
    """Drop stretches in which a register showed another value before returning to its total."""
    step = np.diff(value)
    falls = np.flatnonzero(step < -max(may_fall, 10.0 * _rounding(value)))
    rises = np.flatnonzero(step > most_per_hour * np.maximum(np.diff(time) / 3_600_000.0, 1.0 / 60.0))
    if not len(falls) or not len(rises):
        return time, value, []
    keep = np.ones(len(time), dtype=bool)
    events: list[RegisterEvent] = []
    done = -1
    for i in falls:
        nearest = int(np.searchsorted(rises, i + 1))
        if i < done or nearest == len(rises):
            continue
        j = int(rises[nearest]) + 1
        hours = float(time[j] - time[i]) / 3_600_000.0
        gained = float(value[j] - value[i])
        if hours <= _DROPOUT_HOURS and 0.0 <= gained <= most_per_hour * max(hours, 1.0 / 60.0):
            keep[i + 1 : j] = False
            events.append(RegisterEvent(int(time[i + 1]), "dropped_out", float(j - i - 1)))
            done = j
    return time[keep], value[keep], events


def _events(kind: str, time: NDArray[np.int64], amount: Floats) -> list[RegisterEvent]:
    """One event each; if there are many, one per quarter of a day with their sum (resets: the maximum)."""
    if len(time) <= _LISTED_ONE_BY_ONE:
        return [RegisterEvent(int(t), kind, float(a)) for t, a in zip(time, amount, strict=True)]
    _, first = np.unique(time // 21_600_000, return_index=True)
    merged = (np.maximum if kind == "reset" else np.add).reduceat(amount, first)
    return [RegisterEvent(int(time[i]), kind, float(a)) for i, a in zip(first, merged, strict=True)]


def _rounding(value: Floats) -> float:
    return 1e-6 * max(1.0, float(np.abs(value).max()))


def _resolution(step: Floats) -> float:
    rises = step[step > 1e-9]
    return quantile(rises, 0.02) if len(rises) else 0.0


@dataclass(frozen=True)
class RegisterShape:
    """Points of a register's total between which the power is taken as constant.

    time : int64 (k,) [ms]. value : float64 (k,), canonical unit
    spacing : minutes between two changes of power that the register can show while it counts
    step : its step, canonical unit; 0 where it moves with every reading
    """

    time: NDArray[np.int64]
    value: Floats
    spacing: float
    step: float


# A pause of this many usual moves and this many minutes is a rest (common practice: no run has such
# pauses).
_REST_MOVES, _REST_SPACINGS, _REST_MIN = 6.0, 3.0, 20.0
# Steps that may be counted between the end of a rest and its first reading, over those to the next one.
_MOST_AT_ONCE = 4.0


def change_points(
    time: NDArray[np.int64], value: Floats, usual: float, held: float = np.inf
) -> RegisterShape:
    """Convert the steps of a coarse register to slopes.

    time, value : of `Total`. usual : minutes between readings. held : minutes without readings that are no
        gap
    After a rest, the first step is counted at the power of the next one, so that a run begins near its true
    start; a time without readings is no rest, and what it counted is spread over it. A single step between
    two rests is spread over the time since the previous step: standby counted in steps is a small constant
    load, not a run of one minute.
    """
    if len(time) < 3:
        return RegisterShape(time, value, usual, 0.0)
    change = np.diff(value)
    moved = np.flatnonzero(change != 0.0) + 1
    if len(moved) < 3:
        return RegisterShape(time, value, usual, 0.0)
    if len(moved) == len(change):
        # Read as it counts, each time by one step: coarse, though it moves with every reading.
        step = counting_step(change)
        counts = np.isclose(change, step, rtol=0.01).mean() > 0.5
        return RegisterShape(time, value, usual, step if counts else 0.0)
    gaps = np.diff(time[moved]) / 60_000.0
    # During runs the register moves often: rests are long compared with the fastest quarter of its moves.
    longest = max(_REST_MOVES * quantile(gaps, 0.25), _REST_SPACINGS * usual, _REST_MIN)
    working = gaps[gaps <= longest]
    spacing = max(median(working) if len(working) else float("inf"), usual)
    flags = np.zeros(len(time), dtype=bool)
    flags[moved] = flags[0] = flags[-1] = True
    step = counting_step(change)
    # A rise of several steps after a reading without one: the run began at that reading.
    jumped = np.flatnonzero(change[1:] > 1.5 * step) + 1
    flags[jumped[change[jumped - 1] == 0.0]] = True
    # Nobody saw a rest where nothing was read: what was counted meanwhile may be of any minute of it.
    silent = np.diff(time) / 60_000.0 > max(longest, held)
    flags[:-1][silent & (change != 0.0)] = True
    rows = np.flatnonzero(flags)
    starts = _starts_after_rest(time, value, rows, longest, silent[rows[1:] - 1])
    at = np.concatenate((time[flags], starts[0]))
    order = np.argsort(at, kind="stable")
    return RegisterShape(at[order], np.concatenate((value[flags], starts[1]))[order], spacing, step)


def counting_step(change: Floats) -> float:
    """Counting step of a register: the smallest rise, or the smallest difference between two rises.

    change : from reading to reading. Returns float, the unit of `change`; 0 without a rise
    """
    rises = np.unique(np.round(change[change > 1e-9], 6))
    if not len(rises):
        return 0.0
    return float(min(rises[0], np.diff(rises).min(initial=np.inf)))


def _starts_after_rest(
    time: NDArray[np.int64], value: Floats, rows: NDArray[np.intp], longest: float, silent: Flags
) -> tuple[NDArray[np.int64], Floats]:
    """Times and totals at which counting resumed after a rest, from the power of the next step.

    A rise of many steps is no rest: it was counted meanwhile, and no reading came.
    silent : of each step but the first, whether it follows on a time without readings
    """
    gap = np.diff(time[rows]) / 60_000.0
    rise = np.abs(np.diff(value[rows]))
    after = np.append(gap[1:], np.inf)
    following = np.append(rise[1:], 0.0)
    begun = np.flatnonzero(
        (gap > longest)
        & ~silent
        & (after <= longest)
        & (rise > 0.0)
        & (following > 0.0)
        & (rise <= _MOST_AT_ONCE * following)
    )
    if not len(begun):
        return time[:0], value[:0]
    length = after[begun] * np.maximum(rise[begun] / rise[begun + 1], 0.25)
    last = time[rows[begun + 1]]
    at = np.maximum(last - (length * 60_000.0).astype(np.int64), time[rows[begun]] + 1)
    return at, value[rows[begun]]
