"""Limits of the findings about the water."""

from __future__ import annotations

from analysis.findings.limit import Limit

LIMITS_WATER: dict[str, Limit] = {}
