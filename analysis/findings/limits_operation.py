"""Limits of the findings about the operation."""

from __future__ import annotations

from analysis.findings.limit import Limit

LIMITS_OPERATION: dict[str, Limit] = {}
