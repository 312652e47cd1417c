"""Mistaken units, and the days on which they show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fieldfare.analysis.findings.confidence import Flags, Floats


@dataclass(frozen=True)
class Slip:
    """A mistaken unit: the unit really sent, the declared one, and the conversion back."""

    sends: str
    declared: str
    back: Callable[[Floats], Floats]


def times(sends: str, declared: str, factor: float) -> Slip:
    """The reading came out `factor` times the truth."""
    return Slip(sends, declared, lambda shown: shown / factor)


@dataclass(frozen=True)
class SlipDays:
    """fits_slip : days whose readings fit a wrong unit and not their own. judged : days with evidence"""

    slip: Slip
    fits_slip: Flags
    judged: Flags
