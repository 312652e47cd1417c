"""Probability of a cause of defrosting other than frost: air flow, refrigerant charge, melting heat.

Each hypothesis has a signature over several facts; its weight is the likelihood of what was measured, times
prior odds. Coils, coats and controls of units differ by more than a plain fault adds to the number of
defrosts, so the number alone never settles it. What parts them is the pattern: a sound control waits in dry
air until the coat is there, a starved coil defrosts as soon as the unit's own lock ends, on little ice. A
unit that changed against its own earlier days, at like frost, has lost something whatever its coil is like.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import hypot, isfinite, log, sqrt
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.hypotheses import (
    Spread,
    log_likelihood,
    log_odds,
    probability_of,
    shares,
)
from fieldfare.analysis.statistics.distributions import t_log_densities, t_log_density

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Signs:
    """Facts of the frosty days; nan where not measured.

    often : logarithm of defrosts over those that the frost asks for [-]. often_spread : its standard
        uncertainty [-]
    used : logarithm of heat and electricity of one over what a whole coat takes [-]
    locked : share of the defrosts that come as soon as the unit's lock ends [-].
        locked_spread : its standard uncertainty by the few days it was seen on [-]. locked_due,
        locked_due_spread : the share that coats of frost alone bring there [-]
    lock : logarithm of the shortest usual running time between two of them over a usual lock [-]
    follows : slope of the logarithm of their spacing over that of the frost rate [-]; -1 where a coat of
        frost decides. follows_clear : share of that rate's variation that is real [0 to 1]
    efficiency : steady heating over what is expected [-]
    dry : logarithm of the frost laid before the drier quarter of the defrosts over a whole coat [-].
        dry_spread : its standard uncertainty [-]
    penalty : logarithm of heat and electricity they take over all heat given, of no less than a usual
        winter's share [-]
    melted : logarithm of heat and electricity of all of them over what melting the frost laid takes [-].
        melted_spread : its standard uncertainty [-]
    fell : logarithm of the unit's efficiency over its own before they came more often [-]. fell_spread : its
        standard uncertainty [-]
    minutes : logarithm of their length over the usual one [-]. drawn : logarithm of the heat drawn over the
        usual one [-]
    """

    often: float
    often_spread: float
    used: float = np.nan
    locked: float = np.nan
    locked_spread: float = 0.0
    locked_due: float = 0.0
    locked_due_spread: float = 0.0
    lock: float = np.nan
    follows: float = np.nan
    follows_clear: float = 1.0
    efficiency: float = np.nan
    dry: float = np.nan
    dry_spread: float = 0.0
    penalty: float = np.nan
    melted: float = np.nan
    melted_spread: float = 0.0
    fell: float = np.nan
    fell_spread: float = 0.0
    minutes: float = np.nan
    drawn: float = np.nan


USUAL_LOCK_MIN = 38.0
"""Running time after a defrost before the next may begin (common practice: 30 to 50 minutes)."""
USUAL_PENALTY = 0.025
"""Heat and electricity of melting over all heat given on frosty days, of a sound unit in damp air (common
practice: 1 to 4 %)."""


# Signatures: common practice. What coils, coats and air leave open stands in the facts' own uncertainties and
# is not counted here again. Locks are 30 to 50 minutes.
_SOUND = {
    "lock": Spread(0.3, 0.35),
    "often": Spread(0.0, 0.1),
    "used": Spread(-0.15, 0.35),
    "locked": Spread(0.05, 0.15),
    "follows": Spread(-1.1, 0.6),
    "efficiency": Spread(1.02, 0.06),
    "dry": Spread(-0.15, 0.2),
    "penalty": Spread(0.1, 0.4),
    # Melting also warms the drain, the air and the pipes: 40 to 70 % reaches the ice in tests (common
    # practice).
    "melted": Spread(0.25, 0.25),
    "fell": Spread(0.0, 0.03),
    "minutes": Spread(-0.2, 0.4),
    "drawn": Spread(-0.3, 0.3),
}
_STARVED = {
    "lock": Spread(0.0, 0.2),
    "often": Spread(0.9, 0.55),
    "used": Spread(-0.7, 0.5),
    "locked": Spread(0.65, 0.22),
    "follows": Spread(-0.3, 0.5),
    "efficiency": Spread(0.94, 0.10),
    "dry": Spread(-1.6, 1.0),
    "penalty": Spread(0.6, 0.6),
    "melted": Spread(0.5, 0.6),
    "fell": Spread(-0.12, 0.08),
    "minutes": Spread(-0.4, 0.5),
    "drawn": Spread(-0.3, 0.3),
}
# A coil with very little air or refrigerant frosts within any minimum interval.
_CHOKED = {**_STARVED, "locked": Spread(0.95, 0.05), "follows": Spread(0.0, 0.15), "dry": Spread(-2.0, 1.5)}
# A coil with part of its air is colder and frosts faster, yet a demand control still waits for its coat: only
# the number of defrosts and the efficiency tell, against the unit's own earlier days.
_LESS_AIR = {
    **_SOUND,
    "often": Spread(0.6, 0.5),
    "efficiency": Spread(0.93, 0.08),
    "follows": Spread(-0.7, 0.6),
    "locked": Spread(0.2, 0.2),
    "penalty": Spread(0.5, 0.5),
    "fell": _STARVED["fell"],
}
# A coil sensor that reads too cold, or a wrong threshold, starts a demand control's defrosts on part of a
# coat. Their number still follows the frost, and there are more of them; the balance of heat tells: they take
# several times what the frost laid there can take.
_TOO_SOON = {
    **_SOUND,
    "often": Spread(0.7, 0.5),
    "lock": Spread(0.1, 0.3),
    "locked": Spread(0.25, 0.25),
    "follows": Spread(-0.6, 0.5),
    "efficiency": Spread(0.98, 0.1),
    "penalty": Spread(1.2, 0.6),
    "melted": Spread(1.4, 0.6),
}
# A timer counts running time, in fog as in dry frost. It wastes defrosts and is no fault. Timers of 60
# minutes and more are known by that alone where the unit is efficient; here are those of 45 to 55, and the
# longer ones of a unit that has lost efficiency for another reason.
_TIMED = {
    **_SOUND,
    "often": Spread(0.5, 0.5),
    "used": Spread(-0.5, 0.4),
    "locked": Spread(0.95, 0.05),
    "lock": Spread(0.27, 0.08),
    "follows": Spread(0.0, 0.15),
    "dry": Spread(-1.0, 1.5),
    "melted": Spread(0.8, 0.5),
    "minutes": Spread(-0.4, 0.4),
}
# Melting that lacks heat still clears the coil, so that all else is as with a sound unit, or it leaves ice,
# which blocks the air as dirt does.
_LONG_AND_WEAK = {"minutes": Spread(0.5, 0.4), "drawn": Spread(-1.3, 0.4)}
_SIGNATURES: Mapping[str, Mapping[str, Spread]] = MappingProxyType(
    {
        "sound": _SOUND,
        "timed": _TIMED,
        "timed, inefficient": {**_TIMED, "lock": Spread(0.55, 0.15), "efficiency": Spread(0.85, 0.1)},
        "starved": _STARVED,
        "choked": _CHOKED,
        "less air": _LESS_AIR,
        "too soon": _TOO_SOON,
        "melts slowly": {**_SOUND, **_LONG_AND_WEAK},
        "leaves ice": {
            **_CHOKED,
            **_LONG_AND_WEAK,
            "used": Spread(0.0, 0.5),
            "efficiency": Spread(0.9, 0.15),
        },
    }
)
_PRIOR: Mapping[str, float] = MappingProxyType(
    {
        "sound": 0.80,
        "timed": 0.04,
        "timed, inefficient": 0.01,
        "starved": 0.055,
        "choked": 0.035,
        "less air": 0.01,
        "too soon": 0.03,
        "melts slowly": 0.03,
        "leaves ice": 0.02,
    }
)
"""Prior weights: shares of air-source units whose defrosts are looked at, common practice."""
UNMELTED = ("melts slowly", "leaves ice")
_BEFORE_A_COAT = ("starved", "choked", "less air", "too soon")
_BY_TIMER = ("timed", "timed, inefficient")
_NO_FAULT = ("sound", *_BY_TIMER)
_FROST_GUESSES: Floats = 0.25 * np.arange(-16.0, 17.0)
"""Values of a standard normal variable, evenly from -4 to 4; their density is their weight."""
_UNCLEAR_SLOPE = 1.5
"""What a slope over a frost rate that is all error may be: 0 to -2 (the spacing stands on both sides)."""
_LEAST_LOCKED_SD = 0.05
"""Where nearly all are at the lock: stops and charges move some of them (common practice)."""
_ON_FROST = ("often", "dry", "melted", "locked", "follows")
"""Facts whose expectation `_in_air` moves."""
_TAIL_DF = 8
"""Degrees of freedom of the density: heavier tails than a normal's, so that one odd fact does not settle
it."""


def weights(signs: Signs, change: float = 0.0) -> dict[str, float]:
    """Probability of each hypothesis.

    signs : Signs. change : logarithm of the likelihood ratio that it changed against its own days, as
        `changed` has it
    Returns "sound", "starved", "melts slowly" and "leaves ice" (both: melting lacks heat) -> probability,
        together 1; and "timed", the part of "sound" in which a timer sets them. Source: Bayes' rule.
    """
    facts = asdict(signs)
    logs = {}
    for name, expected in _SIGNATURES.items():
        if name == "too soon" and not np.isfinite(signs.melted):
            continue  # only the heat balance can show it
        apart = {fact: spread for fact, spread in expected.items() if fact not in _ON_FROST}
        alone = log_likelihood(facts, {**apart, "fell": _fall(expected, signs.fell_spread)}, _TAIL_DF)
        fits = alone - _FROST_GUESSES**2 / 2.0
        for fact, (mean, sd) in _in_air(signs, expected).items():
            if isfinite(facts[fact]):
                fits += t_log_densities((facts[fact] - mean) / sd, _TAIL_DF) - np.log(sd)
        best = float(fits.max())
        logs[name] = log(_PRIOR[name]) + best + log(float(np.exp(fits - best).sum()))
        logs[name] += 0.0 if name in _NO_FAULT else change
    by_cause = shares(logs)
    return {
        "sound": sum(by_cause[name] for name in _NO_FAULT),
        "timed": sum(by_cause[name] for name in _BY_TIMER),
        "starved": sum(by_cause.get(name, 0.0) for name in _BEFORE_A_COAT),
        **{name: by_cause[name] for name in UNMELTED},
    }


def _in_air(signs: Signs, expected: Mapping[str, Spread]) -> dict[str, tuple[Floats, Floats | float]]:
    """What is expected of the facts that rest on the frost, were it so far off as each of `_FROST_GUESSES`.

    A guess is by how many standard deviations more frost came, on a thinner coat, than was estimated. Air,
    coil and coat are the same for all these facts: much frost explains many defrosts, defrosts at the lock
    and much melting at once, and is not counted against a sound unit three times.
    Returns of each fact the mean at each guess, float64 (33,), and its standard deviation.
    """
    more = _FROST_GUESSES * signs.often_spread
    often, dry, melted = (expected[fact] for fact in ("often", "dry", "melted"))
    due = np.clip(signs.locked_due + _FROST_GUESSES * signs.locked_due_spread, 0.0, 1.0)
    free = np.minimum((1.0 - due) / max(1.0 - signs.locked_due, _LEAST_LOCKED_SD), 1.0)
    slope = expected["follows"]
    return {
        "often": (often.mean + more, often.sd),
        "dry": (dry.mean - more, hypot(dry.sd, _beyond(signs.dry_spread, signs.often_spread))),
        "melted": (melted.mean + more, hypot(melted.sd, _beyond(signs.melted_spread, signs.often_spread))),
        "locked": _beside_frost(expected["locked"], due, signs.locked_spread),
        # A spacing set by the minimum interval does not depend on frost. If the frost rate hardly varies
        # except by its error, the slope may be anything.
        "follows": (
            slope.mean * signs.follows_clear * free,
            hypot(slope.sd, _UNCLEAR_SLOPE * (1.0 - signs.follows_clear)),
        ),
    }


def _fall(expected: Mapping[str, Spread], spread: float) -> Spread:
    """Fall of the efficiency under a hypothesis. spread : standard uncertainty of what was measured"""
    fell = expected["fell"]
    return Spread(fell.mean, hypot(fell.sd, spread))


def _beyond(spread: float, common: float) -> float:
    """A standard uncertainty without its shared part."""
    return sqrt(max(spread**2 - common**2, 0.0))


def _beside_frost(locked: Spread, due: Floats, spread: float) -> tuple[Floats, Floats]:
    """Share at the lock under a hypothesis, on top of the defrosts that frost alone brings there. spread : of
    what was seen"""
    left = 1.0 - due
    sd = np.hypot(locked.sd * left, hypot(_LEAST_LOCKED_SD, spread))
    return 1.0 - (1.0 - locked.mean) * left, sd


# Defrosts that find no frost. One unit in twenty has a sensor or a charge that makes them (common practice).
_DRY_PRIOR = 0.05
# Sleet, fog, a fan that draws its own cold air and an outdoor sensor on a warm wall explain some in a season,
# most of them in cool air: there each adds little, and only what melts nothing, comes at the lock or has cost
# efficiency settles it. In air that frosts no coil twenty do.
_WARM_EACH, _WARM_MOST, _COOL_EACH, _COOL_MOST = 0.25, 6.0, 0.04, 3.0
_EMPTY, _AT_LOCK, _LESS = 2.5, 2.0, 1.0
_LOCKED, _FOLLOWS, _LOST = 0.6, -0.4, 0.92
# How far above what frost asks for a faulty unit's number lies, in standard deviations of that: from just
# above it to far beyond (common practice).
_TOO_MANY = Spread(2.5, 1.5)


def dry_chance(
    warm: int,
    cool: int,
    *,
    empty: bool,
    locked: float,
    follows: float,
    efficiency: float,
    often: float = 0.0,
) -> float:
    """Probability that defrosts find no frost for a fault's sake [0 to 1].

    warm, cool : defrosts before which no frost can have settled, in air that frosts no coil whatever the
        sensor, and below
    empty : what they use is no more than the bare coil takes. locked, follows, efficiency : as `Signs` has
        them. often : how far all defrosts are beyond the number that the frost asks for [standard deviations]
    """
    odds = log_odds(_DRY_PRIOR)
    odds += min(_WARM_EACH * warm, _WARM_MOST) + min(_COOL_EACH * cool, _COOL_MOST)
    odds += _EMPTY + _surplus_odds(often) if empty else 0.0
    odds += _AT_LOCK if locked >= _LOCKED and follows > _FOLLOWS else 0.0
    odds += _LESS if efficiency < _LOST else 0.0
    return probability_of(odds)


def _surplus_odds(often: float) -> float:
    """Logarithm of the likelihood ratio that frost does not cause this many defrosts; 0 below the most that
    it may cause."""
    too_many = log_likelihood({"often": often}, {"often": _TOO_MANY}, _TAIL_DF)
    return max(too_many - log_likelihood({"often": often}, {"often": Spread(0.0, 1.0)}, _TAIL_DF), 0.0)


def fell_odds(fell: float, spread: float) -> float:
    """Logarithm of the likelihood ratio that a fall of efficiency about the same days is the coil's; 0 if
    unknown.

    fell : logarithm of the efficiency over its own before. spread : its standard uncertainty
    """
    if not np.isfinite(fell):
        return 0.0
    starved, sound = (
        log_likelihood({"fell": fell}, {"fell": _fall(expected, spread)}, _TAIL_DF)
        for expected in (_STARVED, _SOUND)
    )
    return min(starved - sound, _MOST_ODDS)


class Change(NamedTuple):
    """day : index of the first day of the new level. size : logarithm of new over old [-]. odds : log
    likelihood ratio"""

    day: int
    size: float
    odds: float


_FEWEST = 8
_DAY_SD, _DAYS_ALIKE = 0.2, 2.0
# Change that unmeasured humidity and habits may cause between two parts of a season of comparable weather.
_SEASON_SD = 0.2
# A change that matters adds half as many again; the day is searched for, which any noise can use (Bonferroni,
# common practice).
_CHANGE, _CHANGE_SD, _SEARCHED = 0.6, 0.35, 1.5
_MOST_ODDS = 5.0
_MANY_DAYS_DF = 30
_LEAST_ACROSS = 1e-9
"""Days that the weather leaves of a step; below it the two are the same."""


def changed(number: Floats, due: Floats, outdoor: Floats) -> Change | None:
    """Whether and when a unit began to defrost more often at like frost and weather.

    number, due : float64 (n,), defrosts counted and expected on frosty days, in their order. outdoor :
        float64 (n,) [C]
    Returns the step that explains the days best, where it leads upwards; None otherwise, or with fewer than 8
    days on either side.
    Method: least squares of the logarithm of the number on that of the expected one, on outdoor temperature
        and its square, and on a step. Coil and coat are the unit's own and cancel; so does how the
        expectation errs with temperature.
    """
    n = len(number)
    if n < 2 * _FEWEST:
        return None
    cold = np.where(np.isfinite(outdoor), outdoor, np.nanmean(outdoor)) / 5.0
    base = np.column_stack([np.ones(n), np.log(due + 0.5), cold, cold**2])
    if np.linalg.matrix_rank(base) < base.shape[1]:
        return None
    # What the base leaves of the days and of each step: a step's fit beside the base is its fit to that
    # (Frisch and Waugh 1933).
    q = np.linalg.qr(base).Q
    y = np.log(number + 0.5)
    y -= q @ (q.T @ y)
    steps = np.tri(n, n, dtype=np.float64)[:, _FEWEST : n - _FEWEST + 1]
    steps -= q @ (q.T @ steps)
    across = np.einsum("ij,ij->j", steps, steps)
    size = np.divide(steps.T @ y, across, out=np.zeros(len(across)), where=across > _LEAST_ACROSS)
    gain = size**2 * across
    best = int(np.argmax(gain))
    if size[best] <= 0.0:
        return None
    squares = max(float(y @ y - gain[best]), 0.0)
    sd = max(_DAY_SD, sqrt(squares / max(n - base.shape[1] - 1, 1)))
    error = sd * sqrt(_DAYS_ALIKE / across[best])
    return Change(best + _FEWEST, float(size[best]), _step_odds(float(size[best]), error))


def _step_odds(size: float, error: float) -> float:
    """Logarithm of the likelihood of a step of that size with a change over that without one."""
    still, moved = hypot(error, _SEASON_SD), hypot(error, _SEASON_SD, _CHANGE_SD)
    odds = t_log_density((size - _CHANGE) / moved, _MANY_DAYS_DF) - log(moved)
    odds -= t_log_density(size / still, _MANY_DAYS_DF) - log(still)
    return min(odds - _SEARCHED, _MOST_ODDS)
