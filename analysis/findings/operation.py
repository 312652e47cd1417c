"""Findings about the operation: how it starts, defrosts, what temperature and how much water it runs with, how it rests."""

from __future__ import annotations

from analysis.findings import (
    operation_curve,
    operation_cycling,
    operation_defrost,
    operation_flow,
    operation_idle,
)
from analysis.findings.context import Rule

RULES: tuple[Rule, ...] = (
    *operation_cycling.RULES,
    *operation_defrost.RULES,
    *operation_curve.RULES,
    *operation_flow.RULES,
    *operation_idle.RULES,
)
