"""Rules on hot water."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.hot_water import cylinder, diverter, hygiene, reheat, scald

RULES: tuple[Rule, ...] = (
    *reheat.RULES,
    *cylinder.RULES,
    *diverter.RULES,
    *scald.RULES,
    *hygiene.RULES,
)
