"""Rules on the heating circuit: water flow, pressure and freezing."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.flow import (
    buffer,
    expansion_vessel,
    falling_flow,
    freezing,
    pressure,
    water_flow,
)

RULES: tuple[Rule, ...] = (
    *water_flow.RULES,
    *falling_flow.RULES,
    *buffer.RULES,
    *pressure.RULES,
    *expansion_vessel.RULES,
    *freezing.RULES,
)
