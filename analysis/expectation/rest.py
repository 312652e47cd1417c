"""Probability that a healthy unit rests this long, from its own earlier rests.

Two views are taken, and the longer rest counts. By state: rests that began alike (outdoor temperature, the
room at the stop, the run before). By the clock: how much oftener than at other hours it rested so long from
about this hour on, as a set-back or a tariff's lock makes it. Rests in other weather are first scaled to this
weather's need: a rest goes on until the house has lost a certain heat, and in the cold it loses it sooner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.statistics.distributions import normal_probabilities, normal_probability

Floats = NDArray[np.float64]

VARIES = 0.15
"""Standard deviation of the logarithm by which one rest stands for others that began alike [-] (common
practice)."""
_LEAST_WIDTH = {"outdoor": 2.0, "room": 0.05, "run": 0.3}
"""Least width of each kernel [K, K, logarithm of minutes]: what sensors and days blur (common practice)."""
_WIDTH_SHARE = 0.35
"""Width of a kernel over the standard deviation of what was seen [-]; Silverman's rule for some dozens of
values."""
_UNLIKE_USE = 0.2
"""Weight of a rest after a run for another use."""
_SELDOM = 0.15
"""Weight of what was not seen yet, in rests."""
_BROAD_MIN, _BROAD = 60.0, 1.5
"""Rests of any unit: middle [minutes], and standard deviation of the logarithm (common practice)."""
_SAME_HOUR_MIN = 40.0
_DAY_MIN = 1440.0
_FEWEST = 8
# Most starts of one thermostat agree within half of its band: the others are hot water, a set-back's end or a
# stop in mid-run (common practice).
_MOST_STARTS, _OF_BAND = (0.2, 0.8), 0.5
_NEED_ENDS_C, _LEAST_NEED_K = 17.0, 2.0
"""Houses need no heat above: EN 14825 ends the heating season at 16 °C, and a kelvin for the sensor."""
_LEAST_SPAN_K = 0.1
_MOST_UNLIKE = 8.0
"""How far one sign of an odd stop can be trusted, as a ratio of likelihoods [-]."""


@dataclass(frozen=True)
class Beginnings:
    """How rests began: arrays float64 (n,), nan where not known; one number each for a single rest.

    outdoor, room [°C] : outdoors, and the coldest room as the run before ended
    run [minutes], use : length of that run, and the code of its use
    minute : local minute of day
    """

    outdoor: Floats
    room: Floats
    run: Floats
    use: Floats
    minute: Floats


def chance_of_rest(minutes: float, lengths: Floats, past: Beginnings, now: Beginnings, days: int) -> float:
    """Probability that a healthy rest lasts at least this long [0 to 1].

    lengths : float64 (n,), past rests [minutes]; may be empty. past : how they began. days : on how many days
        they lie
    A kernel estimate of a survival function: each past rest counts by its likeness, its length spread by
        `VARIES`.
    """
    in_this_weather = np.maximum(lengths * _need(past.outdoor, now.outdoor), 1.0)
    longer = normal_probabilities((np.log(in_this_weather) - np.log(max(minutes, 1.0))) / VARIES)
    any_unit = normal_probability(float(np.log(_BROAD_MIN) - np.log(max(minutes, 1.0))) / _BROAD)
    weather = _likeness(past.outdoor, now.outdoor, _LEAST_WIDTH["outdoor"])
    state = weather * _kernel("room", past.room, now.room)
    state *= _kernel("run", np.log(past.run), np.log(now.run))
    state *= np.where(past.use == now.use, 1.0, _UNLIKE_USE)
    in_weather = _mean(longer, weather, any_unit)
    by_state = _mean(longer, state, in_weather)
    return float(min(max(by_state, _by_clock(longer, past.minute, now.minute, days)), 1.0))


def rests_a_running_day(lengths: Floats, past: Beginnings, now: Beginnings, runs: Beginnings) -> float:
    """Number of rests per day of running in comparable weather [1/day].

    lengths : float64 (n,), past rests [minutes]. past : how they began. runs : every run before, with its
        minutes in `run` and the weather in `outdoor`
    A unit that hardly rests is missed sooner than one that rests every hour: the same chance of a stop a day
    is shared among fewer rests.
    """
    width = _LEAST_WIDTH["outdoor"]
    similar_minutes = float(_likeness(past.outdoor, now.outdoor, width).sum()) if len(lengths) else 0.0
    running = float((runs.run * _likeness(runs.outdoor, now.outdoor, width)).sum()) / _DAY_MIN
    return (similar_minutes + _SELDOM) / max(running, 1.0 / _DAY_MIN)


def _need(then: Floats, now: Floats) -> Floats:
    """The house's heat need in past weather over that in this weather [-]; 1 if either is unknown."""
    ratio = np.maximum(_NEED_ENDS_C - then, _LEAST_NEED_K) / np.maximum(_NEED_ENDS_C - now, _LEAST_NEED_K)
    return np.where(np.isfinite(ratio), ratio, 1.0)


def _by_clock(longer: Floats, past: Floats, now: Floats, days: int) -> float:
    """Number of such rests per day that begin at about this hour, in excess of chance."""
    apart = np.abs((past - now + _DAY_MIN / 2) % _DAY_MIN - _DAY_MIN / 2)
    here = float(longer[apart <= _SAME_HOUR_MIN].sum())
    anywhere = float(longer.sum()) * 2.0 * _SAME_HOUR_MIN / _DAY_MIN
    return max(here - anywhere, 0.0) / max(days, 1)


def oddness(past: Beginnings, now: Beginnings) -> float:
    """Likelihood ratio: stop at a random moment against the unit's usual way of stopping.

    Returns a ratio [-], 1 where nothing tells. A unit stops where its room or water is warm enough, or a run
    has lasted as usual; a lock-out comes at any moment.
    """
    ratio = 1.0
    rooms = past.room[np.isfinite(past.room)]
    if len(rooms) >= _FEWEST and np.isfinite(now.room):
        low, high = (float(q) for q in np.quantile(rooms, (0.05, 0.95)))
        span = max(high - min(low, float(now.room)), _LEAST_SPAN_K)
        ratio *= _bounded(1.0 / span, _density(rooms, float(now.room), "room"))
    if len(past.run) >= _FEWEST:
        run = float(now.run)
        at_any_moment = run * float((past.run > run).mean()) / float(past.run.mean())
        ratio *= _bounded(at_any_moment, _density(np.log(past.run), float(np.log(run)), "run"))
    return ratio


def _bounded(by_chance: float, by_itself: float) -> float:
    return float(np.clip(by_chance / max(by_itself, 1e-9), 1.0 / _MOST_UNLIKE, _MOST_UNLIKE))


def _density(values: Floats, at: float, name: str) -> float:
    """Kernel density of past values at one [per unit]."""
    width = _width(name, values)
    near = np.exp(-0.5 * ((values - at) / width) ** 2).sum() / (width * np.sqrt(2.0 * np.pi))
    return float(near) / len(values)


def _width(name: str, values: Floats) -> float:
    known = values[np.isfinite(values)]
    return max(_LEAST_WIDTH[name], _WIDTH_SHARE * float(known.std()) if len(known) else 0.0)


def _kernel(name: str, past: Floats, now: Floats) -> Floats:
    return _likeness(past, now, _width(name, past))


def _mean(longer: Floats, weight: Floats, otherwise: float) -> float:
    """Weighted mean, shrunk towards a default with little similar data."""
    return float(((longer * weight).sum() + _SELDOM * otherwise) / (weight.sum() + _SELDOM))


def _likeness(past: Floats, now: Floats, width: float) -> Floats:
    """Similarity of each past value [0 to 1]; 1 if either is unknown."""
    apart = (past - now) / width
    return np.where(np.isfinite(apart), np.exp(-0.5 * apart**2), 1.0)


def chance_of_room(room: float, restarts: Floats) -> float:
    """Probability that a healthy unit lets the room fall this far before it starts again [0 to 1].

    room [°C] : as it is. restarts : float64 (n,), as it was when runs began [°C], nan where not known
    """
    known = restarts[np.isfinite(restarts)]
    if len(known) < _FEWEST or not np.isfinite(room):
        return 1.0
    width = _width("room", known)
    return float((normal_probabilities((room - known) / width).sum() + _SELDOM) / (len(known) + _SELDOM))


def is_switched_by_room(starts: Floats, ends: Floats) -> bool:
    """Whether a room thermostat starts and stops the unit: runs begin at one room temperature and end at
    another.

    starts, ends : float64 (n,) [°C], of the room as each run began and ended, nan where not known
    """
    known = np.isfinite(starts) & np.isfinite(ends)
    if known.sum() < _FEWEST:
        return False
    spread = float(np.ptp(np.quantile(starts[known], _MOST_STARTS)))
    return spread < _OF_BAND * float(np.median(ends[known] - starts[known]))
