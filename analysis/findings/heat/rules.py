"""Rules on heat: heating curve, efficiency, heat loss, rooms and the design's promise."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.heat import (
    cool_water,
    curve,
    efficiency,
    efficiency_change,
    house,
    promise,
    rooms,
)

RULES: tuple[Rule, ...] = (
    *curve.RULES,
    *cool_water.RULES,
    *efficiency.RULES,
    *efficiency_change.RULES,
    *house.RULES,
    *rooms.RULES,
    *promise.RULES,
)
