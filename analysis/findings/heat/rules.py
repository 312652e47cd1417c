"""Findings about the heat: whether it is enough, what makes it, and how well."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.electric import backup_heater
from fieldfare.analysis.findings.heat import (
    efficiency,
    efficiency_change,
    house,
    promise,
    rooms,
)

RULES: tuple[Rule, ...] = (
    *backup_heater.RULES,
    *efficiency.RULES,
    *efficiency_change.RULES,
    *house.RULES,
    *rooms.RULES,
    *promise.RULES,
)
