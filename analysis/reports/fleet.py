"""Fleet summary: one row for each system, sorted by urgency."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, TypeVar

from fieldfare.analysis.reports.verdict import given_verdict, harm_of

SEVERITIES = ("urgent", "act", "watch", "note")
"""Gravest first."""
UNPRICED_KWH = {"urgent": 300.0, "act": 300.0, "watch": 50.0, "note": 0.0}
"""A finding without a price counts as so much electricity a year: about what a visit, or a look, is worth
(common practice)."""
URGENT, DANGER, DISCOMFORT, HARM_AHEAD, COST, STANDING, NOTE, NOT_KNOWN, IN_ORDER = range(9)
"""Tiers of harm, the worst first."""

SUMMARIES = frozenset({"performance_below_promise"})
"""Findings that point at others: they cost what these cost, and come after them."""

_LITTLE_WATER = ("low_flow", "falling_flow")
_WORK = ("short_cycling", "excessive_defrost", "defrost_without_frost", "buffer_mixing", *_LITTLE_WATER)
EXPLAINED_BY: dict[str, tuple[str, ...]] = {
    "room_below_target": ("unit_stopped", "heat_loss_above_design", "diverter_passing", *_LITTLE_WATER),
    "capacity_short": ("diverter_passing", *_LITTLE_WATER),
    "hot_water_shortfall": (
        "unit_stopped",
        "diverter_passing",
        "high_standing_loss",
        "reheat_incomplete",
        "slow_reheat",
        *_LITTLE_WATER,
    ),
    "high_standing_loss": ("diverter_passing",),
    "efficiency_fell": _WORK,
    "efficiency_below_expected": _WORK,
}
"""Findings that others may explain, which then come first: who mends these mends both (common practice)."""
SAME_ONSET_DAYS = 7
"""Two findings of one cause begin within a week of each other (common practice)."""

F = TypeVar("F", bound=Mapping[str, Any])


def urgency(finding: Mapping[str, Any], last: str | date) -> tuple[Any, ...]:
    """Sort key of a finding: worst first means harm first, then certainty times cost times age.

    finding : as in a result document. last : last day of its period

    1. what is open before what has ended;
    2. harm: urgent; danger (unsafe water, frost, pressure, a unit that does not run) that is there or
       expected before the next round; cold rooms or too little hot water; danger or discomfort to be
       watched; then what only costs. Severity does not order what only costs: a certain loss of 277 a year
       comes before a likely one of 27; last what has stood since the first day as the site file has it, which
       is decided once with the householder and must not hide a fault that came since;
    3. findings with a cause of their own before those that sum them up;
    4. confidence x electricity a year [kWh] x age [days]: what has been lost so far, as far as it is certain.
       Energy, not money, because fleets may have several currencies. Without a price: UNPRICED_KWH;
    5. the more certain, then the older.
    """
    age = _age_days(finding, last)
    return (
        bool(finding["until"]),
        tier(finding),
        finding["code"] in SUMMARIES,
        -float(finding["confidence"]) * _loss(finding) * age,
        -float(finding["confidence"]),
        -age,
        finding["code"],
    )


def tier(finding: Mapping[str, Any]) -> int:
    """Rank of present or expected harm of a finding: 0 is the worst."""
    severity, harm = finding["severity"], harm_of(finding["code"])
    if severity in ("urgent", "note"):
        return URGENT if severity == "urgent" else NOTE
    if finding.get("as_designed"):
        return STANDING
    if harm == "none":
        return COST
    if severity == "act":
        return DANGER if harm == "danger" else DISCOMFORT
    return DANGER if harm == "danger" and _is_near(finding) else HARM_AHEAD


def worst_findings_first(findings: Iterable[F], last: str | date) -> list[F]:
    """Findings in the order in which they are to be dealt with; those that have ended last."""
    return explained_after(sorted(findings, key=lambda f: urgency(f, last)))


def explained_after(findings: list[F]) -> list[F]:
    """Findings in their order, but for those that explain one before them: these move to just before it.

    One explains another where both go on, it is as grave, and did not begin after it.
    """
    out = list(findings)
    for symptom in findings:
        roots = [f for f in out[out.index(symptom) + 1 :] if _explains(f, symptom)]
        for root in roots:
            out.remove(root)
            out.insert(out.index(symptom), root)
    return out


def _explains(root: Mapping[str, Any], symptom: Mapping[str, Any]) -> bool:
    later = (date.fromisoformat(root["since"]) - date.fromisoformat(symptom["since"])).days
    return (
        root["code"] in EXPLAINED_BY.get(symptom["code"], ())
        and not root["until"]
        and not symptom["until"]
        and symptom["severity"] != "note"
        and SEVERITIES.index(root["severity"]) <= SEVERITIES.index(symptom["severity"])
        and later <= SAME_ONSET_DAYS
    )


def open_findings(result: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    """A result document's findings that go on, worst first."""
    if result is None:
        return []
    found = [f for f in result["findings"] if not f["until"]]
    return worst_findings_first(found, result["period"]["to"])


def decisive_first(
    found: list[dict[str, Any]], worst: list[dict[str, Any]], verdict: str
) -> list[dict[str, Any]]:
    """Findings with one that sets the verdict at the front where the worst has gone down, so that the reason
    in a list fits the home's mark.

    found : those that somebody deals with last. worst : the same, worst first
    """
    first = next((f for f in found if f["severity"] == verdict), None)
    if first is None or found[0]["code"] == worst[0]["code"]:
        return found
    return [first, *(f for f in found if f is not first)]


def home_urgency(result: Mapping[str, Any] | None, given: Mapping[str, Any]) -> tuple[Any, ...]:
    """Sort key of a home: worst finding, then the certain cost of findings of that severity.

    Homes whose verdict is not known come after all homes with a finding above a note, and before those in
    order.
    result : its result document, None where there is none. given : its verdict
    """
    findings = [f for f in open_findings(result) if f["severity"] != "note"]
    if given["verdict"] in ("not_known", "in_order"):
        return (NOT_KNOWN if given["verdict"] == "not_known" else IN_ORDER), 0.0, 0.0
    silence = [b["severity"] for b in given["because"] if b["code"] == "silence"]
    # A home without readings for days may be cold.
    at_most = DISCOMFORT if "act" in silence else COST
    if not findings or result is None:
        is_cold = any(b["matter"] == "rooms" for b in given["because"])
        return min(HARM_AHEAD, at_most) if is_cold else at_most, 0.0, 0.0
    worst = min(tier(f) for f in findings)
    alike = [urgency(f, result["period"]["to"])[3] for f in findings if tier(f) == worst]
    return min(worst, at_most) if silence else worst, sum(alike), -float(findings[0]["confidence"])


def fleet_summary(result: dict[str, Any] | None, dealt: frozenset[str] = frozenset()) -> dict[str, Any]:
    """A site's result document as a row of the fleet list; every value is null without a result.

    verdict, because, missing : the home's verdict, as everywhere
    severity, headline, code : of the finding that sets the verdict, else of the one to deal with first
    dealt : codes of findings that somebody deals with; they come after others that are as grave
    findings : dict severity -> how many go on. money_per_year, kwh_per_year : what they cost
    """
    given = given_verdict(result)
    worst = open_findings(result)
    found = decisive_first(sorted(worst, key=lambda f: f["code"] in dealt), worst, given["verdict"])
    first = found[0] if found else None
    performance = (result or {}).get("performance") or {}
    return {
        **given,
        "severity": first["severity"] if first else None,
        "code": first["code"] if first else None,
        "headline": _headline(first, given),
        "since": first["since"] if first else None,
        "findings": {s: sum(f["severity"] == s for f in found) for s in SEVERITIES},
        "kwh_per_year": sum(_cost(f, "electricity_kwh") for f in found) if result else None,
        "money_per_year": sum(_cost(f, "money") for f in found) if result else None,
        "currency": ((result or {}).get("cost") or {}).get("currency"),
        "H4": _value(performance, "H4") or _value(performance, "H3") or _value(performance, "H2"),
        "coverage": ((result or {}).get("coverage") or {}).get("share"),
        "from": ((result or {}).get("period") or {}).get("from"),
        "to": ((result or {}).get("period") or {}).get("to"),
    }


def _headline(first: Mapping[str, Any] | None, given: Mapping[str, Any]) -> str | None:
    """Headline of the first finding; if that is only a note, of what decides the verdict."""
    says = [b["says"] for b in given["because"] if b["severity"]]
    if first is None or first["severity"] == "note":
        return says[-1] if says else first["headline"] if first else None
    headline: str = first["headline"]
    return headline


def _is_near(finding: Mapping[str, Any]) -> bool:
    """Whether a falling pressure locks the unit out before the next round."""
    return any(e.get("limit_name") == "pressure_days_left" for e in finding["evidence"])


def days_left(finding: Mapping[str, Any]) -> float | None:
    """Days until a falling pressure locks the unit out; None where that is not known."""
    values = (e["value"] for e in finding["evidence"] if e.get("limit_name") == "pressure_days_left")
    return next((float(v) for v in values if v is not None), None)


def _age_days(finding: Mapping[str, Any], last: str | date) -> int:
    end = date.fromisoformat(last) if isinstance(last, str) else last
    return max((end - date.fromisoformat(finding["since"])).days + 1, 1)


def _loss(finding: Mapping[str, Any]) -> float:
    """Electricity a year [kWh]."""
    return _cost(finding, "electricity_kwh") or UNPRICED_KWH[finding["severity"]]


def _cost(finding: Mapping[str, Any], key: str) -> float:
    return float((finding.get("cost_per_year") or {}).get(key) or 0.0)


def _value(performance: dict[str, Any], key: str) -> float | None:
    return (performance.get(key) or {}).get("value")
