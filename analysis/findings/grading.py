"""One mapping from probability and size to severity.

A finding grades itself by what it costs. Whether the departure is real decides, in this one place, if it may
be more than
a note. Harm is told in doubt: safety and a unit that does not run are not weighed.
"""

from __future__ import annotations

from dataclasses import replace

from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.excuses import FAMILY_OF
from fieldfare.analysis.findings.model import Finding

WEIGHED = frozenset({"rooms", "capacity", "curve", "operation", "efficiency", "house"})
"""Families whose findings must be probable to be more than a note."""


def by_chance(context: Context, finding: Finding) -> Finding:
    """The finding, a note where its departure is not probable enough.

    Its words for the householder go with its severity: a note has none.
    """
    if FAMILY_OF.get(finding.code) not in WEIGHED or finding.severity == "note":
        return finding
    if finding.confidence >= context.limit("finding_chance"):
        return finding
    return replace(finding, severity="note", home="", visit="none")
