"""Probability that a unit cannot cover its house, from rating, load and cold days."""

from __future__ import annotations

from fieldfare.analysis.expectation.hypotheses import log_odds, probability_of

# One plant in ten is too small where neither load nor output can be told (common practice).
_PRIOR = 0.1
# Rating and load together are never surer than this: declared outputs, extrapolated loads (common practice).
# So what no cold day has shown stays worth a note.
_SUREST, _LEAST = 0.88, 0.05
# Each day flat out with the rooms short raises the odds by two thirds; one is a long set-back, guests or a
# door left open.
_A_DAY, _FIRST, _MOST_DAYS = 0.5, 0.5, 14
# Days as cold as the design's on which rooms held and the unit had reserve speak against a reckoned shortage.
_HELD, _FEWEST_HELD = 2.5, 3


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
