"""Probability that a room without a set temperature is cooler than the design by choice.

Two hypotheses: a wish, or any of the causes of a cold room. How far below the design it is, how hard the unit
works and whether its water reaches what is asked are more or less likely under each.
"""

from __future__ import annotations

from dataclasses import asdict
from math import log

from fieldfare.analysis.expectation.cold_room import CAUSES, ColdRoom, signature
from fieldfare.analysis.expectation.hypotheses import Spread, log_likelihood, log_odds, probability_of, shares
from fieldfare.analysis.statistics.distributions import t_log_density

# Rooms that people keep, below the design's temperature: half a kelvin, within one and a half; a bedroom
# beside rooms that are warm, two kelvin, within two (common practice).
WISHED_HOUSE_K, WISHED_ROOM_K = Spread(0.5, 1.5), Spread(2.0, 2.0)
# Rooms that lack heat are anything from one to seven kelvin below it (common practice).
_LACKING_DENSITY = 1.0 / 6.0
# One home in ten has rooms that lack heat (common practice).
_PRIOR_LACKING = 0.1
_TAIL_DF, _NORMAL_DF = 4, 1000
# A unit whose rooms are as warm as wanted rests and reaches its target flow. A low curve may be intended, so
# it is no evidence.
_WISHED = {"running": Spread(0.5, 0.25), "output_share": Spread(0.5, 0.25), "lacking": Spread(0.05, 0.10)}


def chance_of_lacking(below_k: float, facts: ColdRoom, *, others_warm: bool) -> float:
    """Probability that a room below the design temperature lacks heat, rather than being kept cool by choice
    [0 to 1].

    below_k : design less room [K]. facts : of the days on which it was so
    others_warm : another zone is about as warm as designed, so that the house can be heated
    Source: Bayes' rule; spreads are common practice.
    """
    wished = WISHED_ROOM_K if others_warm else WISHED_HOUSE_K
    size = log(_LACKING_DENSITY) - (
        t_log_density((below_k - wished.mean) / wished.sd, _NORMAL_DF) - log(wished.sd)
    )
    measured = {name: value for name, value in asdict(facts).items() if name in _WISHED}
    by_cause = {
        cause: log_likelihood(measured, {n: signature(cause)[n] for n in _WISHED}, _TAIL_DF)
        for cause in CAUSES
    }
    # Mean likelihood of all causes: that of the most probable one over its share.
    best = max(by_cause, key=lambda cause: by_cause[cause])
    lacking = by_cause[best] - log(shares(by_cause)[best] * len(CAUSES))
    return probability_of(
        log_odds(_PRIOR_LACKING) + size + lacking - log_likelihood(measured, _WISHED, _TAIL_DF)
    )
