"""Evidence that may stray to either side of what is right."""

from __future__ import annotations

from fieldfare.analysis.findings.model import Evidence


def strays(label: str, value: float, unit: str, name: str, allowed: float, *, about: float = 0.0) -> Evidence:
    """A number beside the limit on the side to which it strays.

    name : of the limit in the limits table. allowed : distance from `about` at which the limit lies, in
        `unit`
    """
    above = value >= about
    return Evidence(
        label, value, unit, about + allowed if above else about - allowed, name, "above" if above else "below"
    )
