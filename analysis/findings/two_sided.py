"""Evidence that may deviate to either side of a reference value."""

from __future__ import annotations

from fieldfare.analysis.findings.model import Evidence, EvidenceCode


def two_sided_evidence(
    label: str,
    value: float,
    unit: str,
    name: str,
    allowed: float,
    *,
    about: float = 0.0,
    code: EvidenceCode | None = None,
) -> Evidence:
    """Evidence whose limit lies on the side of `about` to which the value deviates.

    name : of the limit in the limits table. allowed : distance from `about` at which the limit lies, in
        `unit`
    """
    above = value >= about
    return Evidence(
        label,
        value,
        unit,
        about + allowed if above else about - allowed,
        name,
        "above" if above else "below",
        code,
    )
