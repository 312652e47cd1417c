"""Limits of the findings about the heat."""

from __future__ import annotations

from analysis.findings.limit import Limit

LIMITS_HEAT: dict[str, Limit] = {}
