"""A home's line in the winter list."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.reports.fleet import open_findings
from fieldfare.analysis.reports.verdict import given_verdict
from fieldfare.analysis.reports.winter import winter_checks
from fieldfare.analysis.reports.winter_forecast import forecast
from fieldfare.dashboards.checks.sheet import TITLES
from fieldfare.dashboards.fleet.entries import visit_of
from fieldfare.dashboards.rows.days import rows_of_result
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.units import in_sentence

_ORDERING = ("code", "severity", "since", "until", "confidence", "evidence", "cost_per_year")
"""What the order of homes needs of a finding."""


def winter_entry(row: dict[str, Any]) -> dict[str, Any]:
    """A home in the list, small enough to store for a whole fleet; `given`, its verdict, is None without a
    result.

    row : id, name, site, result. Its `season` is the year of the sign-off that belongs to it
    """
    result, site = row["result"], row["site"]
    entry: dict[str, Any] = {"id": row["id"], "name": row["name"], "given": None, "season": ""}
    if result is None:
        return entry
    rows = rows_of_result(result)
    checks, expected = winter_checks(site, result, rows), forecast(site, result, rows)
    found = open_findings(result)
    return entry | {
        "given": given_verdict(result),
        "season": result["period"]["to"][:4],
        "brief": {
            "period": {"to": result["period"]["to"]},
            "findings": [{k: f.get(k) for k in _ORDERING} for f in found],
        },
        "lines": [
            {"title": TITLES[c.key], "says": words.reason(c.says)}
            for c in checks
            if c.verdict in ("not in order", "attention")
        ],
        "unknown": [TITLES[c.key] for c in checks if c.verdict == "can't tell"],
        "visit": visit_of(found),
        "bring": sorted({b for f in found if f["severity"] != "note" for b in f.get("bring", [])}),
        "electricity": (
            words.interval(expected.electricity_kwh.__dict__, "kWh", 0) if expected.electricity_kwh else ""
        ),
        "cost": words.money(expected.cost.value, result["cost"]["currency"], 0) if expected.cost else "",
    }


def in_readers_units(entry: dict[str, Any]) -> dict[str, Any]:
    """Convert a stored entry from default units to the reader's."""
    lines = [{"title": c["title"], "says": in_sentence(c["says"])} for c in entry.get("lines", ())]
    given = entry.get("given")
    if given:
        because = [b | {"says": in_sentence(b["says"])} for b in given["because"]]
        entry = entry | {"given": given | {"because": because}}
    return entry | {"lines": lines, "electricity": in_sentence(entry.get("electricity", ""))}
