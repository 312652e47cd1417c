"""Data classes of a finding: code, severity, confidence, evidence, causes, next step, cost."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from math import isfinite
from typing import Literal

from fieldfare.analysis.findings.limit import Side

Setting = Literal["flow_temperature", "hot_water_setpoint"]
Direction = Literal["raise", "lower"]
Severity = Literal["note", "watch", "act", "urgent"]
EvidenceCode = Literal["heat_meter_ratio", "apparent_performance", "apparent_heat_loss"]
SEVERITIES: tuple[Severity, ...] = ("note", "watch", "act", "urgent")


@dataclass(frozen=True)
class Evidence:
    """One number behind a finding, and the limit it is compared with.

    limit_name : the limit's name in the limits table. side : the side of the limit that is the fault.
    code : name of the number where code reads it, None otherwise
    """

    label: str
    value: float | str | None
    unit: str = ""
    limit: float | None = None
    limit_name: str | None = None
    side: Side | None = None
    code: EvidenceCode | None = None

    def as_dict(self) -> dict[str, object]:
        """The evidence as JSON; `code` only where it has one."""
        document = asdict(self)
        if self.code is None:
            del document["code"]
        return document


@dataclass(frozen=True)
class Cause:
    """A possible cause with its weight [0 to 1, of all causes together] and why."""

    cause: str
    weight: float
    because: str


@dataclass(frozen=True)
class Finding:
    """One finding of the contract's section 6.

    since, until : local dates as ISO text; until None while it goes on. confidence [0 to 1].
    cost_kwh, cost_money : a year's, None where it has no price. home : a sentence for the householder, or
        empty
    changes : settings that the next step changes, each with "raise" or "lower", so that advice can be checked
        for conflicts
    undecided : a note of something large enough to matter that is more likely than not, yet not sure enough
        to be told as wrong: nobody can call the home in order meanwhile
    as_designed : the plant has stood so since its first day, as its site file has it: it asks for a decision
        once, and comes after the faults of the day
    """

    code: str
    severity: Severity
    since: str
    confidence: float
    headline: str
    evidence: tuple[Evidence, ...] = ()
    causes: tuple[Cause, ...] = ()
    next_step: str = ""
    caution: str = ""
    home: str = ""
    until: str | None = None
    cost_kwh: float | None = None
    cost_money: float | None = None
    visit: Literal["none", "call", "setting", "drive"] = "none"
    bring: tuple[str, ...] = field(default=())
    changes: tuple[tuple[Setting, Direction], ...] = ()
    undecided: bool = False
    as_designed: bool = False

    def as_dict(self) -> dict[str, object]:
        cost = None
        if self.cost_kwh is not None:
            cost = {"electricity_kwh": self.cost_kwh, "money": self.cost_money}
        return {
            "code": self.code,
            "severity": self.severity,
            "since": self.since,
            "until": self.until,
            "confidence": round(self.confidence, 3),
            "headline": self.headline,
            "evidence": [e.as_dict() for e in self.evidence],
            "causes": [
                {"cause": c.cause, "weight": round(c.weight, 3), "because": c.because} for c in self.causes
            ],
            "next_step": self.next_step,
            "caution": self.caution,
            "cost_per_year": cost,
            "home": self.home,
            "visit": self.visit,
            "bring": list(self.bring),
            "changes": [list(c) for c in self.changes],
            "undecided": self.undecided,
            "as_designed": self.as_designed,
        }


def rounded(value: float, digits: int = 1) -> float | None:
    """A value for evidence; None where it is not known. value : nan where not known"""
    return round(value, digits) if isfinite(value) else None


@dataclass(frozen=True)
class NotAssessedCode:
    """A rule that could not decide: reason as text and `errors.NotAssessed` code."""

    code: str
    reason: str
    reason_code: str


CHANGED_HABIT = "changed_habit"
"""Kind of what the plant does otherwise than before; its home can't be called in order."""


@dataclass(frozen=True)
class Recognised:
    """Something unusual that is no fault, and the days it covers."""

    kind: str
    since: str
    until: str
    words: str
