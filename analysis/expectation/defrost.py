"""Expected number, energy and duration of defrosts.

A unit defrosts when its coat of frost blocks the air. Frequent defrosts on thin coats show twice: there are
more of them than the frost asks for, and each of them melts less than a coat.
"""

from __future__ import annotations

from functools import cache
from math import hypot

import numpy as np

from fieldfare.analysis.expectation.uncertain import Lognormal, joint_score
from fieldfare.analysis.statistics.distributions import normal_probability

FUSION_WH_PER_G = 0.0928
"""Heat that melts ice: 334 J/g (textbook)."""

# Coils laid out for 8 K carry 150 to 250 g of frost a kilowatt before their air falls off (cold-room coils);
# controls that go by time and coil temperature defrost on less (common practice).
COAT_G_PER_KW = Lognormal(165.0, 0.35)
# 2 kJ/K a kilowatt warmed by 20 K (common practice).
COIL_WH_PER_KW = Lognormal(11.0, 0.4)
# A fifth of the heat goes to the air while it melts (common practice).
REACHES_ICE = Lognormal(0.8, 0.1)
# 5 minutes cleared the coil of an 8 kW unit in all conditions tested (reference 9.2); usual are 2 to 10
# (common practice).
LENGTH_MIN = Lognormal(4.0, 0.35)
# A reversed compressor draws half to all of the rated output out of the water (common practice).
DRAWN_SHARE = Lognormal(0.6, 0.35)
# Both criteria depend on the same coat of frost.
_SAME_COAT = 0.4


def defrosts_due(frost: Lognormal) -> Lognormal:
    """Number of defrosts needed for this much frost [-].

    frost : Lognormal [g/kW], of the period
    """
    return frost.over(COAT_G_PER_KW)


@cache
def one_defrost() -> Lognormal:
    """Heat out of the water and electricity that one defrost of a whole coat takes [Wh/kW]."""
    melted = COAT_G_PER_KW.middle * FUSION_WH_PER_G
    warmed = COIL_WH_PER_KW.middle
    own = hypot(melted * COAT_G_PER_KW.spread, warmed * COIL_WH_PER_KW.spread) / (melted + warmed)
    return Lognormal((melted + warmed) / REACHES_ICE.middle, hypot(own, REACHES_ICE.spread))


def defrosts_take(frost: Lognormal) -> Lognormal:
    """Heat and electricity of all defrosts needed for this much frost [Wh/kW].

    frost : Lognormal [g/kW], of the period
    """
    each = one_defrost()
    return Lognormal(defrosts_due(frost).middle * each.middle, hypot(frost.spread, each.spread))


def too_often(count: float, frost: Lognormal, used_wh_per_kw: float = np.nan) -> float:
    """Score of the departure "more defrosts than the frost asks for" [standard deviations].

    Either there are far more of them, whatever each melts (a coil too cold), or somewhat more that melt less
    than a coat (a coil without air, a sensor that reads too cold).

    count : float [-]. Defrosts of the period. frost : Lognormal [g/kW], of the same period
    used_wh_per_kw : float [Wh/kW], default nan. Heat and electricity of one defrost, where it is measured
    """
    rate = defrosts_due(frost).score(count)
    if not np.isfinite(used_wh_per_kw):
        return rate
    return max(rate, joint_score((rate, -one_defrost().score(used_wh_per_kw)), _SAME_COAT))


def too_long(minutes: float, drawn_share: float = np.nan) -> float:
    """Score of the departure "melting lacks heat" [standard deviations].

    minutes : float [min]. Length of a defrost
    drawn_share : float [-], default nan. Heat power drawn out of the water over the rated output, where it is
        measured
    """
    scores = [LENGTH_MIN.score(minutes)]
    if np.isfinite(drawn_share):
        scores.append(-DRAWN_SHARE.score(drawn_share))
    return joint_score(scores)


def coat_share(used_wh_per_kw: float) -> float:
    """Frost that one defrost melted over a whole coat [-], at least 0; nan where not measured.

    used_wh_per_kw : float [Wh/kW]. Heat out of the water and electricity of one defrost
    """
    to_ice = used_wh_per_kw * REACHES_ICE.middle - COIL_WH_PER_KW.middle
    return float(np.maximum(to_ice / FUSION_WH_PER_G / COAT_G_PER_KW.middle, 0.0))


def needless_share(count: float, frost: Lognormal, used_wh_per_kw: float = np.nan) -> float:
    """Share of the defrosts' energy that full coats at the expected rate would save [0 to 1].

    count, frost, used_wh_per_kw : as `too_often` has them
    """
    fewer = 1.0 - defrosts_due(frost).middle / max(count, 1.0)
    if not np.isfinite(used_wh_per_kw):
        return max(fewer, 0.0)
    beyond = 1.0 - defrosts_take(frost).middle / max(count * used_wh_per_kw, 1e-9)
    thin = 1.0 - coat_share(used_wh_per_kw)
    return float(np.clip(max(beyond, 0.5 * (max(fewer, 0.0) + thin)), 0.0, 1.0))


def chance(score: float) -> float:
    """Probability that a departure is real [0 to 1]."""
    return normal_probability(score)
