"""Probability that a unit cannot cover its house, from rating, load and cold days."""

from __future__ import annotations

from math import hypot

from fieldfare.analysis.expectation.hypotheses import log_odds, probability_of
from fieldfare.analysis.statistics.distributions import normal_probability

# One plant in ten is too small where neither load nor output is known (common practice).
_PRIOR = 0.1
# Where no full work has shown the output: outputs between rated points, with defrosts, and the load of a day
# colder than any seen are a tenth off (common practice). Of a hundred loads some have a stove beside them.
_UNSEEN = 0.10
_SUREST, _LEAST = 0.97, 0.05
# Each day at full output with cold rooms raises the odds by two thirds; a single one may be a long set-back,
# guests or an open door.
_A_DAY, _FIRST, _MOST_DAYS = 0.5, 0.5, 14
# Three days as cold as the design's with warm rooms and reserve are forty to one against a calculated
# shortage.
_HELD, _FEWEST_HELD = 3.6, 3


def by_rating_and_load(margin: float, spread: float, *, measured: bool) -> float:
    """Probability that output over load lies below 1 [0 to 1].

    margin, spread : output over load on the design day and its standard uncertainty [-]
    measured : full work has shown the output
    Source: GUM (JCGM 100:2008) 5.1.2, independent contributions.
    """
    doubt = hypot(spread, 0.0 if measured else _UNSEEN * margin)
    return normal_probability((1.0 - margin) / max(doubt, 1e-6))


def chance(by_margin: float | None, failed_days: int, held_days: int) -> float:
    """Probability that the output falls short on the design day [0 to 1].

    by_margin : probability by output over load alone, None without one
    failed_days : days milder than the design's, flat out and short. held_days : days as cold as it without
        either
    """
    p = _PRIOR if by_margin is None else min(max(by_margin, _LEAST), _SUREST)
    odds = log_odds(p)
    if failed_days > 0:
        odds += _A_DAY * min(failed_days, _MOST_DAYS) - _FIRST
    elif held_days >= _FEWEST_HELD:
        odds -= _HELD
    return probability_of(odds)
