"""Findings about the operation: how it starts, defrosts, what temperature and how much water it runs with, how it rests."""

from __future__ import annotations

from analysis.findings import operation_cycling
from analysis.findings.context import Rule

RULES: tuple[Rule, ...] = (*operation_cycling.RULES,)
