"""Findings about the trust."""

from __future__ import annotations

from analysis.findings.context import Rule

RULES: tuple[Rule, ...] = ()
