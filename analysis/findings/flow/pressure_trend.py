"""Trends of circuit pressure between refills, at like water temperature."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.pressure import ATMOSPHERE_BAR, COLD_C, expansion
from fieldfare.analysis.figures.estimate import robust_fit, robust_spreads
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.statistics.quantiles import robust_sd, running_median

FEWEST_DAYS = 10
# A slope of a level line, in bar/week, is rounding: no gauge shows a millionth.
_LEVEL = 1e-6
# The slope less twice its error must be a good part of the least one that matters.
_SURE_OF = 0.3
# The day after a refill has lost a little of it already. A fall of which so much is left has not come back.
_STAYS = 0.7
# The days after a refill show that a loss is over where they lose surely less than this share of it.
_OVER = 0.5
# A dependence, a refill or a fall counts beyond two standard deviations (common practice).
_BEYOND = 2.0
# Water that varies by less from day to day shows no dependence of its own.
_WARMS_K = 0.5


@dataclass(frozen=True)
class Drift:
    """A steady change of pressure, over the refills that parted it.

    slope : of its newest part [bar/week], with its error. first, last : rows. change : in all [bar], without
    refills
    refills_within : refills in it and since. refills : in all days
    over : the days since show the level steady
    """

    slope: float
    error: float
    first: int
    last: int
    change: float
    refills_within: int
    refills: int
    over: bool


@dataclass
class Stretch:
    """Days between refills, or several such spans joined with their refills taken off.

    rows : int (n,), of the days. number : float64 (n,) [days]. level : float64 (n,) [bar], at like water
    temperature. warm : float64 (n,) [°C]. joined : days from the first at which a span was joined
    refills : in all stretches
    """

    rows: NDArray[np.intp]
    number: Floats
    level: Floats
    warm: Floats
    joined: tuple[int, ...]
    refills: int

    @cached_property
    def trend(self) -> tuple[float, float, int] | None:
        """Slope [bar/week], its error and the day it began; None without one."""
        return _hinge(self.number, self.level, self.warm)

    @cached_property
    def line(self) -> tuple[float, float]:
        """Slope of all its days [bar/week] and its error."""
        return _slope(self.number, self.level, self.warm, 0)


def stretches(
    day: NDArray[Any],
    pressure: Floats,
    loop: Floats,
    topped: Floats,
    *,
    refill_bar: float,
    empty_bar: float,
) -> list[Stretch]:
    """The days' stretches, the newest first; none where there are too few days.

    day : datetime64 (n,). pressure : float64 (n,) [bar], a day's. loop : float64 (n,) [°C], the water's mean
    topped : float64 (n,) [bar], sudden rises of a day that stay; nan where not known
    refill_bar : least jump of level that is a refill [bar]. empty_bar : below this the circuit is empty

    Refills part the days into stretches. A stretch too short for a slope of its own is joined to the one
    before, its refill taken off: a circuit topped up every week loses water all the while. A refill counts
    where the level at like water temperature jumped and stayed.
    """
    added = np.nan_to_num(topped)
    # The day of a refill holds both levels.
    rows = np.flatnonzero(np.isfinite(pressure) & (pressure > empty_bar) & (added == 0.0))
    if len(rows) < FEWEST_DAYS:
        return []
    here = loop[rows]
    usual = float(np.median(here[np.isfinite(here)])) if np.isfinite(here).any() else 0.0
    warm = np.where(np.isfinite(here), here, usual)
    value = at_like_temperature(pressure[rows], warm)
    number = (day[rows] - day[rows[0]]) / np.timedelta64(1, "D")
    sudden = np.diff(np.cumsum(added)[rows], prepend=np.cumsum(added)[rows[0]])
    sudden = _stayed(number, value, sudden)
    refills = {i for i in _refills(value, refill_bar) if not sudden[max(i - 1, 0) : i + 2].any()}
    jumps = sorted(refills | set(np.flatnonzero(sudden > 0.0).tolist()))
    moves = np.delete(np.diff(value), [at - 1 for at in jumps])
    daily = float(np.median(moves)) if len(moves) else 0.0
    out = []
    for span in _groups([0, *jumps, len(value)])[::-1]:
        a, b = span[0], span[-1]
        level = value[a:b].copy()
        for at in span[1:-1]:
            level[at - a :] -= sudden[at] if sudden[at] > 0.0 else value[at] - value[at - 1] - daily
        joined = tuple(at - a for at in span[1:-1])
        out.append(Stretch(rows[a:b], number[a:b], level, warm[a:b], joined, len(jumps)))
    return out


def drift(newest_first: Iterable[Stretch], *, sign: int, least: float, least_change: float) -> Drift | None:
    """The newest steady fall (sign -1) or rise (+1), from the day it began.

    least : slope [bar/week], and least_change : change in all [bar], below which a stretch is level
    A fall counts where the level at like water temperature is still lower at its end, beyond its scatter.
    A refill mends no leak: a fall that went on from refill to refill is one, and it is over only where the
    days since its last refill are known to be level.
    """
    known = list(newest_first)
    found = [_fall(stretch, sign, least, least_change) for stretch in known]
    newest = next((i for i, fall in enumerate(found) if fall is not None), None)
    if newest is None:
        return None
    falls = list(_unbroken(known[newest:], found[newest:]))
    oldest = known[newest + len(falls) - 1]
    within = sum(at > falls[-1].start for at in oldest.joined)
    within += sum(1 + len(stretch.joined) for stretch in known[: newest + len(falls) - 1])
    return Drift(
        sign * falls[0].slope,
        falls[0].error,
        int(oldest.rows[falls[-1].start]),
        int(known[newest].rows[-1]),
        sign * float(sum(fall.change for fall in falls)),
        within,
        known[newest].refills,
        _is_over(known[:newest], sign, falls[0].slope),
    )


class _Fall(NamedTuple):
    """A stretch's change in the direction asked for: slope [bar/week], its error, its first place in the
    stretch, change in all [bar]"""

    slope: float
    error: float
    start: int
    change: float


def _fall(stretch: Stretch, sign: int, least: float, least_change: float) -> _Fall | None:
    """The stretch's steady change; None where it is level, unsure or did not last."""
    if stretch.trend is None or sign * stretch.trend[0] <= _LEVEL:
        return None
    slope, error, start = sign * stretch.trend[0], *stretch.trend[1:]
    number, level = stretch.number, stretch.level
    # A line goes on below nothing; the level does not.
    change = min(slope * (number[-1] - number[start]) / 7.0, float(np.ptp(level[start:])))
    sure = slope >= least and slope - 2.0 * error >= _SURE_OF * least and change >= least_change
    if not sure or not _lasts(sign * level, start, least_change):
        return None
    return _Fall(slope, error, start, change)


def _unbroken(known: list[Stretch], found: list[_Fall | None]) -> Iterator[_Fall]:
    """The newest fall, and those before it that led to it from refill to refill."""
    for stretch, fall in zip(known, found, strict=True):
        if fall is None:
            return
        yield fall
        if stretch.number[fall.start] - stretch.number[0] > FEWEST_DAYS:
            return  # level at first: it began here


def _is_over(since: list[Stretch], sign: int, slope: float) -> bool:
    """Whether the days since, newest first, surely change by less than half of the slope [bar/week]."""
    for stretch in since:
        now, error = sign * stretch.line[0], stretch.line[1]
        if now + _BEYOND * error < _OVER * slope:
            return True
        if now - _BEYOND * error > _OVER * slope:
            return False
    return False


def at_like_temperature(pressure: Floats, warm: Floats) -> Floats:
    """The days' pressures as they would be at the median water temperature.

    pressure : float64 (n,) [bar gauge]. warm : float64 (n,) [°C], the water's mean, both finite
    Returns float64 (n,) [bar gauge]; as it came where the pressure does not follow the temperature.

    Boyle's law: the inverse of the vessel's absolute pressure falls in proportion to the water's growth. The
    factor comes from the changes from day to day, in which neither a slow loss nor a refill shows.
    Source: EN 12828 Annex D (from memory), as in `analysis.expectation.pressure`.
    """
    grown = np.asarray(expansion(COLD_C, np.maximum(warm, COLD_C)), dtype=np.float64)
    steps = np.diff(grown)
    if len(steps) < FEWEST_DAYS or not steps.any():
        return pressure
    inverse = 1.0 / (pressure + ATMOSPHERE_BAR)
    fit = robust_fit(np.column_stack((np.ones(len(steps)), steps / steps.std())), np.diff(inverse))
    follows, error = -float(fit.coefficients[1]), float(np.sqrt(max(fit.covariance[1, 1], 0.0)))
    if follows <= _BEYOND * error:
        return pressure
    inverse += follows / steps.std() * (grown - np.median(grown))
    return np.asarray(1.0 / inverse - ATMOSPHERE_BAR)


def _stayed(number: Floats, value: Floats, sudden: Floats) -> Floats:
    """The sudden rises that the level at like temperature shows too [bar]; 0 elsewhere.

    number : float64 (n,) [days]. value : float64 (n,) [bar], at like temperature. sudden : float64 (n,) [bar]
    """
    out = np.zeros(len(value))
    at = np.flatnonzero(sudden > 0.0)
    quiet = np.delete(np.diff(value) / np.diff(number), at - 1)
    if not len(at) or not len(quiet):
        return out
    daily, scatter = float(np.median(quiet)), robust_sd(quiet)
    for i in at:
        rise = value[i] - value[i - 1] - daily * (number[i] - number[i - 1])
        if rise >= max(_STAYS * sudden[i], _BEYOND * scatter):
            out[i] = sudden[i]
    return out


def _lasts(level: Floats, start: int, least: float) -> bool:
    """Whether a rise of `level` is still there on its last days, beyond the days' scatter.

    level : float64 (n,) [bar], at like temperature and without refills. start : row where it begins
    least : rise that matters [bar]. A circuit that has run empty falls no further: it has not come back.
    """
    few = FEWEST_DAYS // 3
    before = float(np.median(level[max(start - few, 0) : start + few]))
    after = float(np.median(level[-few:]))
    most = float(running_median(level, few // 2, few // 2)[start:].max())
    scatter = robust_sd(np.diff(level))
    return bool(after - before >= max(_STAYS * least, _STAYS * (most - before), _BEYOND * scatter))


def _refills(value: Floats, least: float) -> list[int]:
    """Days on which the level jumps up from the day before, and stays."""
    before = np.concatenate((value[:1], running_median(value, 1, 0)[:-1]))
    after = running_median(value, 0, 1)
    rise, stays = np.diff(value, prepend=value[0]), after - before
    return [i for i in range(1, len(value)) if rise[i] >= least and stays[i] >= _STAYS * least]


def _groups(bounds: list[int]) -> list[list[int]]:
    """Segments between bounds; short ones are merged with the one before where there is one."""
    groups: list[list[int]] = []
    for a, b in pairwise(bounds):
        short = b - a < FEWEST_DAYS
        if groups and (short or groups[-1][-1] - groups[-1][-2] < FEWEST_DAYS):
            groups[-1].append(b)
        else:
            groups.append([a, b])
    return [g for g in groups if g[-1] - g[0] >= FEWEST_DAYS]


def _hinge(number: Floats, value: Floats, warm: Floats) -> tuple[float, float, int] | None:
    """Constant, then a slope: (slope [bar/week], its error, index of the change); None with too few days."""
    n, use_warm = len(number), float(warm.std()) > _WARMS_K
    spread: dict[int, float] = {}

    def look(starts: Iterable[int]) -> int:
        if new := [at for at in starts if at not in spread]:
            models = np.stack([_columns(number, warm, at, use_warm=use_warm) for at in new])
            spread.update(zip(new, robust_spreads(models, value).tolist(), strict=True))
        return min(spread, key=lambda at: (spread[at], at))

    last = n - FEWEST_DAYS
    if last < 0:
        return None
    wide, near = max(1, n // 15), max(1, n // 60)  # first far apart, then closer about the best
    coarse = look(range(0, last + 1, wide))
    best = look(range(max(coarse - wide, 0), min(coarse + wide, last) + 1, near))
    return *_slope(number, value, warm, best), best


def _slope(number: Floats, value: Floats, warm: Floats, start: int) -> tuple[float, float]:
    """Slope from a place on [bar/week], and its error."""
    use_warm = float(warm.std()) > _WARMS_K
    fit = robust_fit(_columns(number, warm, start, use_warm=use_warm), value)
    return float(fit.coefficients[1]), float(np.sqrt(max(fit.covariance[1, 1], 0.0)))


def _columns(number: Floats, warm: Floats, at: int, *, use_warm: bool) -> Floats:
    columns = [np.ones(len(number)), np.maximum(number - number[at], 0.0) / 7.0]
    if use_warm:
        columns.append(warm - warm.mean())
    return np.column_stack(columns)
