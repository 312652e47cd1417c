"""Rules on electricity beside the compressor: direct heaters, standby and idle pumps."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.electric import backup_heater, idle, immersion

RULES: tuple[Rule, ...] = (
    *backup_heater.RULES,
    *immersion.RULES,
    *idle.RULES,
)
