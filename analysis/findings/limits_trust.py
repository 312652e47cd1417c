"""Limits of the findings about the trust."""

from __future__ import annotations

from analysis.findings.limit import Limit

LIMITS_TRUST: dict[str, Limit] = {}
