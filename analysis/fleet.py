"""A firm's systems beside each other: worst first, and what the next design should learn from them."""

from __future__ import annotations

from typing import Any

SEVERITIES = ("urgent", "act", "watch", "note")
"""Gravest first."""


def gravity(severity: str | None) -> int:
    """Rank of a severity: 0 is the gravest; nothing found ranks last."""
    return SEVERITIES.index(severity) if severity in SEVERITIES else len(SEVERITIES)


def standing(result: dict[str, Any] | None) -> dict[str, Any]:
    """What a fleet list shows of a site's result document; every value is null where there is no result.

    severity, headline, code : of the gravest finding, of several the one that costs most
    findings : dict severity -> how many. money_per_year, kwh_per_year : what all findings cost
    """
    found = (result or {}).get("findings") or []
    first = min(
        found,
        key=lambda f: (gravity(f["severity"]), -_cost(f, "money"), -_cost(f, "electricity_kwh")),
        default=None,
    )
    performance = (result or {}).get("performance") or {}
    counted = {s: sum(f["severity"] == s for f in found) for s in SEVERITIES}
    return {
        "severity": first["severity"] if first else None,
        "code": first["code"] if first else None,
        "headline": first["headline"] if first else None,
        "since": first["since"] if first else None,
        "findings": counted,
        "kwh_per_year": sum(_cost(f, "electricity_kwh") for f in found) if result else None,
        "money_per_year": sum(_cost(f, "money") for f in found) if result else None,
        "currency": ((result or {}).get("cost") or {}).get("currency"),
        "H4": _value(performance, "H4") or _value(performance, "H3") or _value(performance, "H2"),
        "coverage": ((result or {}).get("coverage") or {}).get("share"),
        "from": ((result or {}).get("period") or {}).get("from"),
        "to": ((result or {}).get("period") or {}).get("to"),
    }


def worst_first(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Fleet rows by the gravest finding, then by how many of each severity, then by what they cost a year."""
    return sorted(
        rows,
        key=lambda row: (
            gravity(row["severity"]),
            [-row["findings"][s] for s in SEVERITIES],
            -(row["money_per_year"] or 0.0),
            -(row["kwh_per_year"] or 0.0),
            row["id"],
        ),
    )


def _cost(finding: dict[str, Any], key: str) -> float:
    return float((finding.get("cost_per_year") or {}).get(key) or 0.0)


def _value(performance: dict[str, Any], key: str) -> float | None:
    return (performance.get(key) or {}).get("value")
