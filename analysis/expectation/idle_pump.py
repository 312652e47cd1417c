"""Probability that an idling pump is a fault and not part of the heating concept.

Units led by their curve alone keep their water moving all the season, some also between the room's calls: the
water must pass a sensor for the unit to know what it is asked. Such a pump rests once the season is over. A
pump that is wired to permanent live, or left in hand mode, rests at no time.
"""

from __future__ import annotations

from math import log

from fieldfare.analysis.expectation.hypotheses import probability_of

# One plant in twenty has such a pump; of sound ones a fifth keep their water moving in the season (common
# practice).
_PRIOR_ODDS = 0.05 / 0.2
# Likelihood of what was seen with such a pump over that with a sound one. In weather without heating a sound
# pump turns for minutes a day; a pump that once rested between calls was not meant to turn on.
_TURNS_IN_SUMMER, _RESTS_IN_SUMMER = 200.0, 0.02
_RESTED_BEFORE = 60.0
# Calls that are measured and absent for hours, while the pump turns, speak against heating by the curve
# alone.
_WITHOUT_CALL = 3.0
_MOSTLY, _HARDLY = 0.5, 0.2


def chance(*, summer: float | None, before: float | None, without_call: bool) -> float:
    """Probability that a pump runs needlessly [0 to 1].

    summer : share of the time it turns on days too warm to heat [-], None without such days
    before : earlier share of the time it turned without demand, in comparable weather [-], None without
        such days
    without_call : room calls are measured and absent
    """
    odds = log(_PRIOR_ODDS)
    if summer is not None:
        odds += log(_TURNS_IN_SUMMER) if summer >= _MOSTLY else 0.0
        odds += log(_RESTS_IN_SUMMER) if summer < _HARDLY else 0.0
    if before is not None and before < _HARDLY:
        odds += log(_RESTED_BEFORE)
    if without_call:
        odds += log(_WITHOUT_CALL)
    return probability_of(odds)
