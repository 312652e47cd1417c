"""Rules on short cycling."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.cycling import starts

RULES: tuple[Rule, ...] = (*starts.RULES,)
