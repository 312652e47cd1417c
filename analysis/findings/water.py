"""Findings about the water: hot water, the cylinder, the circuit."""

from __future__ import annotations

from analysis.findings import (
    water_circuit,
    water_cylinder,
    water_diverter,
    water_hygiene,
    water_immersion,
    water_pressure,
    water_reheat,
    water_scald,
)
from analysis.findings.context import Rule

RULES: tuple[Rule, ...] = (
    *water_immersion.RULES,
    *water_reheat.RULES,
    *water_cylinder.RULES,
    *water_diverter.RULES,
    *water_scald.RULES,
    *water_hygiene.RULES,
    *water_pressure.RULES,
    *water_circuit.RULES,
)
