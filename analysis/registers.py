"""Running totals: from what a register showed to the energy between two times.

A register may reset, roll over, repeat, step back or jump. Each case is handled, counted and told.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.readings import Samples

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Event:
    """Something odd in a register: when [ms], what, and by how much."""

    time: int
    kind: str
    amount: float


@dataclass(frozen=True)
class Total:
    """A register made whole: an energy that grows through resets.

    time : int64 (n,) [ms]; value : float64 (n,), canonical unit, first value 0
    resolution : smallest step seen; events : what was mended
    """

    time: NDArray[np.int64]
    value: Floats
    resolution: float
    events: list[Event] = field(default_factory=list)

    def at(self, time: NDArray[np.int64]) -> Floats:
        """The total at any times, linear between readings, nan outside them."""
        if len(self.time) < 2:
            return np.full(len(time), np.nan)
        return np.interp(time, self.time, self.value, left=np.nan, right=np.nan)


def whole_total(samples: Samples, *, most_per_hour: float, may_fall: float = 0.0) -> Total:
    """Make a register's total whole.

    samples : Samples, canonical unit
    most_per_hour : float [unit/h]. More than any plant's meter can count; a faster rise is a jump, not energy
    may_fall : float [unit], default 0.0. The largest true fall in one reading (heat drawn back by a defrost)
    Returns Total.
    """
    time, value = _without_spikes(samples, may_fall)
    if len(time) < 2:
        return Total(time, np.zeros(len(time)), 0.0)
    step = np.diff(value)
    hours = np.diff(time) / 3_600_000.0
    events: list[Event] = []
    for i in np.flatnonzero(step < -max(may_fall, _rounding(value))):
        before, after = float(value[i]), float(value[i + 1])
        span = 10.0 ** np.ceil(np.log10(max(before, 1.0)))
        if before > 0.95 * span and span - before + after <= most_per_hour * max(hours[i], 1.0):
            step[i] = span - before + after
            events.append(Event(int(time[i + 1]), "rolled_over", step[i]))
        elif 0.0 <= after <= most_per_hour * max(hours[i], 1.0) and after < 0.9 * before:
            step[i] = after
            events.append(Event(int(time[i + 1]), "reset", before))
        else:
            events.append(Event(int(time[i + 1]), "stepped_back", -float(step[i])))
            step[i] = 0.0
    for i in np.flatnonzero(step > most_per_hour * np.maximum(hours, 1.0 / 60.0) + _rounding(value)):
        events.append(Event(int(time[i + 1]), "jumped", float(step[i])))
        step[i] = 0.0
    return Total(time, np.concatenate(([0.0], np.cumsum(step))), _resolution(step), events)


def _without_spikes(samples: Samples, may_fall: float) -> tuple[NDArray[np.int64], Floats]:
    """Leave out single readings that stand apart from both neighbours, which agree with each other."""
    time, value = samples.time, np.asarray(samples.value, dtype=np.float64)
    keep = np.isfinite(value)
    time, value = time[keep], value[keep]
    if len(value) < 3:
        return time, value
    before, here, after = value[:-2], value[1:-1], value[2:]
    dip = (here < before - may_fall) & (after >= before - may_fall) & (after - here > 0)
    bump = (here > after + may_fall) & (after >= before - may_fall) & (here - before > after - before)
    odd = np.zeros(len(value), dtype=bool)
    odd[1:-1] = dip | bump
    # A bump or dip of one rounding step is the meter's own and does no harm either way.
    return time[~odd], value[~odd]


def _rounding(value: Floats) -> float:
    return 1e-6 * max(1.0, float(np.nanmax(np.abs(value))))


def _resolution(step: Floats) -> float:
    rises = step[step > 1e-9]
    return float(np.quantile(rises, 0.02)) if len(rises) else 0.0
