"""Rules on defrosting."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.defrost import excess, without_frost

RULES: tuple[Rule, ...] = (
    *excess.RULES,
    *without_frost.RULES,
)
