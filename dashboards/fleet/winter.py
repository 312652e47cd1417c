"""A home's line in the winter list."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.reports.fleet import open_findings
from fieldfare.dashboards.checks.sheet import sheet
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
    made = sheet(site, result, rows_of_result(result))
    found = open_findings(result)
    forecast = made["forecast"]
    cost = forecast.cost
    return entry | {
        "given": made["given"],
        "season": result["period"]["to"][:4],
        "brief": {
            "period": {"to": result["period"]["to"]},
            "findings": [{k: f.get(k) for k in _ORDERING} for f in found],
        },
        "lines": [
            {"title": c.title, "says": c.says}
            for c in made["lines"]
            if c.verdict in ("not in order", "attention")
        ],
        "unknown": [c.title for c in made["lines"] if c.verdict == "can't tell"],
        "visit": visit_of(found),
        "bring": sorted({b for f in found if f["severity"] != "note" for b in f.get("bring", [])}),
        "electricity": (
            words.interval(forecast.electricity_kwh.__dict__, "kWh", 0) if forecast.electricity_kwh else ""
        ),
        "cost": words.money(cost.value, result["cost"]["currency"], 0) if cost else "",
    }


def in_readers_units(entry: dict[str, Any]) -> dict[str, Any]:
    """Convert a stored entry from default units to the reader's."""
    lines = [{"title": c["title"], "says": in_sentence(c["says"])} for c in entry.get("lines", ())]
    given = entry.get("given")
    if given:
        because = [b | {"says": in_sentence(b["says"])} for b in given["because"]]
        entry = entry | {"given": given | {"because": because}}
    return entry | {"lines": lines, "electricity": in_sentence(entry.get("electricity", ""))}
