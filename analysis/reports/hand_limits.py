"""Limits of values that are read by hand, where no finding has one already."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_BY_HAND: dict[str, Limit] = {
    "precharge_low": Limit(
        0.7,
        "bar",
        "EN 12828 (from memory): static height plus a margin, 0.7 bar at least",
        "pre-charge of the expansion vessel",
        "below",
    ),
    "antifreeze_short": Limit(
        2.0,
        "%",
        "common practice: a refractometer and its reader err by one or two percent",
        "antifreeze strength below the designed one",
    ),
}
