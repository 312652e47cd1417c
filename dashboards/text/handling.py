"""Texts of decisions about findings: in hand, muted, closed by a job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from fieldfare.analysis.reports.fleet import NOTE, home_urgency
from fieldfare.analysis.reports.verdict import VERDICTS, harm_of
from fieldfare.dashboards.text import words

DEFAULT_DAYS = 14
"""Days offered at first for "until": a fortnight, as between two rounds (common practice)."""
MOST = 0.5
"""A finding follows another that explains more than this share of it."""
SHORT = {
    "in_hand": "in hand",
    "muted": "muted",
    "no_fault": "not a fault",
    "done": "job done",
    "seen": "seen",
}


def sinks(handled: Mapping[str, Any] | None, code: str) -> bool:
    """Whether a decision lowers a finding's rank. Muting a finding that may harm people or the plant does
    not."""
    if not handled or not handled["holds"] or handled["state"] == "seen":
        return False
    return not (handled["state"] in ("muted", "no_fault") and harm_of(code) == "danger")


def in_order(findings: Iterable[dict[str, Any]], handled: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Findings in order, those in hand or muted last.

    A muted finding that may harm and sets the verdict keeps its place. One that does no harm itself follows
    the finding in hand that explains most of it: nothing else is left to do for it.
    """
    found = list(findings)
    worst = min((VERDICTS.index(f["severity"]) for f in found if f["severity"] in VERDICTS), default=0)
    at_work = {code for code, own in handled.items() if own["holds"] and own["state"] in ("in_hand", "done")}
    return sorted(found, key=lambda f: _goes_down(handled.get(f["code"]), f, worst) or _explained(f, at_work))


def _explained(finding: Mapping[str, Any], at_work: set[str]) -> bool:
    weight = sum(c["weight"] for c in finding.get("causes", ()) if c["cause"] in at_work)
    return weight > MOST and harm_of(finding["code"]) == "none"


def _goes_down(handled: Mapping[str, Any] | None, finding: Mapping[str, Any], worst: int) -> bool:
    """Whether a decision moves a finding behind the open ones.

    worst : index in VERDICTS of the home's gravest finding
    """
    if sinks(handled, finding["code"]):
        return True
    is_muted = handled is not None and handled["holds"] and handled["state"] in ("muted", "no_fault")
    return is_muted and finding["severity"] != VERDICTS[worst]


def is_put_aside(handled: Mapping[str, Any] | None, code: str) -> bool:
    """Whether a finding needs no action for now."""
    return sinks(handled, code) and handled is not None and handled["state"] != "in_hand"


def urgency_of(
    result: dict[str, Any] | None, given: dict[str, Any], handled: Mapping[str, Any]
) -> tuple[Any, ...]:
    """Rank of a home in lists: by its unassigned findings. Homes with none follow the others; the verdict is
    unchanged."""
    dealt = dealt_with(handled)
    if not dealt or result is None or given["verdict"] in ("not_known", "in_order"):
        return home_urgency(result, given)
    rest = {**result, "findings": [f for f in result["findings"] if f["code"] not in dealt]}
    because = [b for b in given["because"] if b["code"] not in dealt]
    if any(b["severity"] for b in because):
        return home_urgency(rest, {**given, "because": because})
    return NOTE, 0.0, 0.0


def dealt_with(handled: Mapping[str, Any]) -> frozenset[str]:
    """Codes of findings with a rank lowered by a decision."""
    return frozenset(code for code, own in handled.items() if sinks(own, code))


def decision_sentences(handled: Mapping[str, Any], code: str) -> str:
    """Describe a decision.

    handled : state, who, by (names), until and decided (local days as text, until may be None), reason,
        holds, worse
    """
    state, until = handled["state"], words.day(handled["until"]) if handled["until"] else ""
    by, decided = handled["by"], words.day(handled["decided"])
    held = handled["holds"] or handled["worse"]
    said = {
        "seen": f"Seen by {by} on {decided}",
        "in_hand": (
            f"{'In' if held else 'Was in'} hand: {handled['who']}{f', until {until}' if until else ''}"
        ),
        "muted": f"{'Muted' if held else 'Was muted'} until {until} by {by}",
        "no_fault": f"Not a fault, says {by} ({decided})",
        "done": f"Job done, logged by {by} on {decided}",
    }[state]
    said += f": {handled['reason'].rstrip('.')}." if handled["reason"] else "."
    return " ".join([said, *_consequences(handled, code, until)])


def _consequences(handled: Mapping[str, Any], code: str, until: str) -> list[str]:
    state = handled["state"]
    if handled["worse"]:
        return ["It has got worse since, so it is open again."]
    if not handled["holds"]:
        return [
            "The readings still show it, so it is open again." if state == "done" else "It is open again."
        ]
    if state == "done":
        return [f"If the readings still show it after {until}, it opens again."]
    if state not in ("muted", "no_fault"):
        return []
    if harm_of(code) == "danger":
        return [
            "People or the plant can come to harm: it still counts in the verdict, and the home keeps its"
            " place in the list."
        ]
    return ["The verdict comes from the readings and stays as it is."]


def short(handled: Mapping[str, Any]) -> str:
    """Describe a decision briefly, such as: in hand, Kim until 3 Dec."""
    until = f" until {words.day(handled['until'], year=False)}" if handled["until"] else ""
    who = f", {handled['who']}" if handled["state"] in ("in_hand", "done") else ""
    until = "" if handled["state"] == "done" else until
    return f"{SHORT[handled['state']]}{who}{until}"


def cards(findings: Iterable[dict[str, Any]], handled: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Findings with their decisions, handled ones last."""
    out = []
    for f in in_order(findings, handled):
        own = handled.get(f["code"])
        out.append(
            f
            | {
                "handled": {"text": decision_sentences(own, f["code"]), "holds": own["holds"]}
                if own
                else None
            }
        )
    return out


def form_values(today: date, values: Mapping[str, str] | None = None) -> dict[str, str]:
    """Initial values of a card's forms."""
    until = (today + timedelta(days=DEFAULT_DAYS)).isoformat()
    return {"who": "", "until": until, "reason": "", "today": today.isoformat(), **(values or {})}
