"""Causes of a cold room, weighed by operation, water temperatures and the other rooms.

Each cause is a hypothesis with a signature over several facts. Its weight is the likelihood of the
measurements times prior odds. Facts that were not measured have no influence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import log
from types import MappingProxyType

from fieldfare.analysis.expectation.hypotheses import Spread, log_likelihood, shares


@dataclass(frozen=True)
class ColdRoom:
    """Facts of the days on which a room stayed cold; None where not measured.

    running : share of the time the unit ran [-]
    output_share : heat over rated output at the same temperatures, in steady heating [-]
    lacking : share of steady heating with the flow 2 K or more under what was asked [-]
    emission : heat given over what the emitters give at the measured water and room temperatures (EN 442) [-]
    gap : how much more this zone lacks than the best of the others [K]
    below_curve : designed less measured flow temperature [K]
    spread : flow less return while heating over what the rated output makes of the pump's flow [-]
    """

    running: float | None = None
    output_share: float | None = None
    lacking: float | None = None
    emission: float | None = None
    gap: float | None = None
    below_curve: float | None = None
    spread: float | None = None


# Signatures, common practice unless said. A unit at its limit runs without a rest at its rated output and
# misses the flow asked. Water too cool: the unit has reserve and reaches what is asked, which lies under the
# design. Emitters too small: the same with the flow at the design. A closed valve: one zone lags, or warm
# water passes emitters that take little. Valves that shut off most emitters leave so little flow that water
# comes back far colder at part load; a pump that follows the load keeps that of the rated output.
_SIGNATURES: Mapping[str, Mapping[str, Spread]] = MappingProxyType(
    {
        "capacity_short": {
            "running": Spread(0.95, 0.10),
            "output_share": Spread(0.95, 0.15),
            "lacking": Spread(0.75, 0.25),
            "emission": Spread(0.95, 0.25),
            "gap": Spread(0.2, 0.7),
            "below_curve": Spread(3.0, 4.0),
            "spread": Spread(1.00, 0.30),
        },
        "curve_too_low": {
            "running": Spread(0.60, 0.25),
            "output_share": Spread(0.50, 0.20),
            "lacking": Spread(0.10, 0.15),
            "emission": Spread(0.95, 0.25),
            "gap": Spread(0.2, 0.7),
            "below_curve": Spread(4.0, 2.5),
            "spread": Spread(0.70, 0.30),
        },
        "emitters_small": {
            "running": Spread(0.70, 0.25),
            "output_share": Spread(0.55, 0.20),
            "lacking": Spread(0.10, 0.15),
            "emission": Spread(1.00, 0.20),
            "gap": Spread(0.7, 1.0),
            "below_curve": Spread(-0.5, 1.2),
            "spread": Spread(0.70, 0.30),
        },
        "zone_not_opening": {
            "running": Spread(0.60, 0.25),
            "output_share": Spread(0.50, 0.20),
            "lacking": Spread(0.10, 0.15),
            "emission": Spread(0.60, 0.25),
            "gap": Spread(2.5, 1.3),
            "below_curve": Spread(0.0, 2.0),
            "spread": Spread(1.30, 0.50),
        },
    }
)
_PRIOR: Mapping[str, float] = MappingProxyType({"emitters_small": 0.3})
"""Prior odds against the other causes: a design that was checked at hand-over seldom has emitters too small
(common practice). 1 where none is named."""
_TAIL_DF = 4
"""Degrees of freedom of the density: heavier tails than a normal's, so that one odd fact does not settle
it."""


def cause_weights(
    measured: ColdRoom, *, shut_below: float = 0.0, emitters_known: bool = True
) -> dict[str, float]:
    """Weight of each cause of a cold room.

    measured : ColdRoom
    shut_below : emission [-] below which warmer water would pass the emitters too: then no low curve is a
        cause
    emitters_known : without the emitters' output small ones look like a low curve, which stands for both
    Returns cause -> weight, of all causes together 1. The prior odds where nothing was measured.
    Source: Bayes' rule, facts taken as independent; signatures are common practice.
    """
    facts = asdict(measured)
    weights = shares(
        {
            cause: log(_PRIOR.get(cause, 1.0)) + log_likelihood(facts, expected, _TAIL_DF)
            for cause, expected in _SIGNATURES.items()
        }
    )
    if not emitters_known:
        weights["curve_too_low"] += weights.pop("emitters_small")
    if measured.emission is not None and measured.emission < shut_below:
        weights["zone_not_opening"] += weights["curve_too_low"]
        weights["curve_too_low"] = 0.0
    return weights


def signature(cause: str) -> Mapping[str, Spread]:
    """Expected facts of `ColdRoom` under a cause. Raises KeyError for an unknown cause."""
    return _SIGNATURES[cause]


CAUSES = tuple(_SIGNATURES)
"""The causes that are distinguished."""
