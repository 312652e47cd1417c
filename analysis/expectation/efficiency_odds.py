"""Probability that a unit below its expected efficiency has a fault.

Healthy units scatter around their expectation, as meters, ratings and part load are uncertain. A shortfall is
therefore weighed twice: how often healthy units show it by chance, and how often faulty ones do.
"""

from __future__ import annotations

from math import log

from fieldfare.analysis.statistics.distributions import normal_density, normal_probability

# One unit in five loses noticeably against its rating (common practice: field trials find a tail of that
# size).
_FAULTY = 0.2
# A fault takes between 6 and 40 % of the efficiency, one as probable as the other (common practice: lost
# refrigerant, dirt, a worn compressor; less is a change of weather, more is a stop).
_WORST, _LEAST = 0.6, 0.94


def chance_of_shortfall(measured: float, spread: float) -> float:
    """Probability that a unit is faulty rather than sound [0 to 1].

    measured : efficiency over the expected one [-], above 0. spread : standard uncertainty of the logarithm
        of both together [-], above 0
    Source: Bayes' theorem; the densities of a sound unit (normal about 0) and of a faulty one (even between
        two sizes, blurred by the same spread) at the logarithm of what was measured.
    """
    at = log(measured)
    sound = normal_density(at / spread) / spread
    inside = normal_probability((at - log(_WORST)) / spread) - normal_probability((at - log(_LEAST)) / spread)
    faulty = measured * inside / (_LEAST - _WORST)
    weight = _FAULTY * faulty
    total = weight + (1.0 - _FAULTY) * sound
    return weight / total if total > 0.0 else float(measured < 1.0)
