"""Findings about the water: hot water, the cylinder, the circuit."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.electric import immersion
from fieldfare.analysis.findings.flow import expansion_vessel, freezing, pressure
from fieldfare.analysis.findings.hot_water import (
    cylinder,
    diverter,
    hygiene,
    reheat,
    scald,
)

RULES: tuple[Rule, ...] = (
    *immersion.RULES,
    *reheat.RULES,
    *cylinder.RULES,
    *diverter.RULES,
    *scald.RULES,
    *hygiene.RULES,
    *pressure.RULES,
    *expansion_vessel.RULES,
    *freezing.RULES,
)
