"""Limits that the facts themselves are made with."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_FACTS: dict[str, Limit] = {
    "running_above_w": Limit(
        0.0,
        "W",
        "0: half of the least output over the best COP (the whole of it where readings are 10 minutes apart"
        " or more)",
        "electricity above which the compressor is taken to run",
    ),
}
