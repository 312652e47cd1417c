"""Attribution of each minute's heat and electricity to a use, and the electricity of no use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.segments import Segments
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import DEFROST, FINE_MIN, HEATING, OFF, UNKNOWN, within
from fieldfare.analysis.minutes.rolling import forward_fill, true_runs

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class UseAttribution:
    """Attribution of minutes to uses, common to energies and performance.

    heat : int8 (n,), use of a minute's heat; the water of a run still flows after it. use : int8 (n,), use of
        its electricity; OFF or DEFROST stay. own, resting : Wh (n,), without the heaters: what belongs to
        `use`, and what is drawn at rest. Both add up to the electricity without the heaters.
    """

    heat: NDArray[np.int8]
    use: NDArray[np.int8]
    own: Floats
    resting: Floats

    def spent_on(self, code: int) -> Floats:
        """Electricity of a use, without the heaters [Wh], (n,)."""
        return np.where(self.use == code, self.own, 0.0)


def attribute_to_uses(minutes: Minutes, rest: Floats) -> UseAttribution:
    """Share out the minutes. rest : electricity without the heaters [Wh], (n,), nan where not known

    A meter read every few minutes spreads a run's first and last energy over minutes in which the unit
    already rests: both sides of the meters then still belong to the run, but for what the unit draws in the
    same rest away from its runs.
    """
    use = minutes.use
    idle = use.code == OFF
    apart = minutes.grid.spacing.get("heat_pump_electricity", 1.0)
    heat = np.where(idle, use.serves, minutes.serving).astype(np.int8)
    if apart <= FINE_MIN or not idle.any():
        return UseAttribution(heat, use.code, np.where(idle, 0.0, rest), np.where(idle, rest, 0.0))
    edge = idle & within(use.running, round(apart))
    nearest = _nearest(minutes)
    heat = np.where(edge, nearest, heat).astype(np.int8)
    standby = np.minimum(rest, _draw_away(idle, edge, rest))
    resting = np.where(edge, standby, np.where(idle, rest, 0.0))
    return UseAttribution(heat, np.where(edge, nearest, use.code).astype(np.int8), rest - resting, resting)


def _nearest(minutes: Minutes) -> NDArray[np.int8]:
    """Use of the run before or after a resting minute, whichever is nearer; int8 (n,)."""
    code, n = minutes.use.code, len(minutes.use.code)
    works = ~np.isin(code, (OFF, UNKNOWN, DEFROST))
    place = np.arange(n)
    ended = forward_fill(place, works, -n)
    begins = n - 1 - forward_fill(place, works[::-1], -n)[::-1]
    coming = forward_fill(code[::-1], works[::-1], HEATING)[::-1]
    return np.where(begins - place < place - ended, coming, minutes.use.serves).astype(np.int8)


def _draw_away(idle: NDArray[np.bool_], edge: NDArray[np.bool_], rest: Floats) -> Floats:
    """Mean draw of each rest away from its runs [Wh a minute], (n,); 0 in a rest too short to tell."""
    away = idle & ~edge & np.isfinite(rest)
    gaps = Segments.of(idle)
    drawn, minutes_away = gaps.sum(np.where(away, fill_nan(rest, 0.0), 0.0)), gaps.count(away)
    out = np.zeros(len(rest))
    level = np.where(minutes_away > 0, drawn / np.maximum(minutes_away, 1), 0.0)
    for begin, end, value in zip(*true_runs(idle), level, strict=True):
        out[begin:end] = value
    return out


__all__ = ["UseAttribution", "attribute_to_uses"]
