"""Night set-back: its depth from the days' targets, and rooms that it keeps below their target by day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table

USUAL_HOURS = 7.0
"""Length of a night's set-back (common practice)."""
PLAIN = 0.9
"""Weight of a cause with direct evidence of its own (common practice)."""


@dataclass(frozen=True)
class Recovery:
    """Rooms after a night's set-back; nan where not known.

    spare : heat that they get meanwhile over what the house needs at their target [-]
    rise, needed : rise of the rooms [K/h], and the rise that brings them back in time
    fell : fall by night [K]. lacks : target less room in the cold time [K]
    """

    spare: float
    rise: float
    needed: float
    fell: float
    lacks: float

    def fell_enough(self, limit: Callable[[str], float]) -> bool:
        """Whether most of what the rooms lack was lost by night."""
        return self.fell >= limit("answer_fell_share") * self.lacks

    def is_late(self, limit: Callable[[str], float]) -> bool:
        """Whether the rooms are on their way back: the set-back alone leaves them cold.

        limit : name -> value for the site. Unknown facts say no.
        Source: balance of heat; with more than it needs at its target a room comes up.
        """
        return (
            self.spare >= limit("answer_rising_share")
            and self.rise >= limit("answer_rise_over_needed") * self.needed
            and self.fell_enough(limit)
        )


def with_set_back(weights: dict[str, float]) -> dict[str, float]:
    """Weights of other causes where the set-back explains the cold rooms: all together 1."""
    return {cause: weight * (1.0 - PLAIN) for cause, weight in weights.items()} | {"deep_set_back": PLAIN}


def depth_now(days: Table) -> tuple[float, float]:
    """Depth [K] and length [h] of the set-back by the targets; depth 0 if they are constant.

    Raises NotAssessed without targets.
    """
    if not (days.knows("target") and days.knows("target_max")):
        raise NotAssessed("needs target_room_temperature", "missing_quantity")
    lowered = days.floats("target_max") - days.floats("target")
    return float(np.nanmedian(lowered)) * 24.0 / USUAL_HOURS, USUAL_HOURS
