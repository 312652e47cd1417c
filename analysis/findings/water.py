"""Findings about the water."""

from __future__ import annotations

from analysis.findings.context import Rule

RULES: tuple[Rule, ...] = ()
