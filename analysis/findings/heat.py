"""Findings about the heat: whether it is enough, what makes it, and how well."""

from __future__ import annotations

from analysis.findings import heat_backup, heat_change, heat_efficiency, heat_house, heat_rooms, promise
from analysis.findings.context import Rule

RULES: tuple[Rule, ...] = (
    *heat_backup.RULES,
    *heat_efficiency.RULES,
    *heat_change.RULES,
    *heat_house.RULES,
    *heat_rooms.RULES,
    *promise.RULES,
)
