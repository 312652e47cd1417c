"""Texts of commissioned values against today's: differences, then agreements, then manual items."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.formats import HARD

_WET = ("flow", "circuit_flows", "pressure")


def present_commissioned(document: dict[str, Any], site: Site) -> dict[str, Any]:
    """rows of differs, agrees, unknown : title, name, then, today, change, means, findings (code, title,
    open), tuned; caution : where water parts differ"""
    rows = [_row(v, set(document["open"])) for v in document["values"]]
    differs = [r for r in rows if r["differs"]]
    return {
        "differs": differs,
        "agrees": [r for r in rows if r["differs"] is False],
        "unknown": [r for r in rows if r["differs"] is None],
        "days": words.days_between(document["from"], document["to"]),
        "caution": water_caution(site) if any(r["item"] in _WET for r in differs) else "",
    }


def _row(v: dict[str, Any], open_now: set[str]) -> dict[str, Any]:
    return {
        "item": v["item"],
        "title": v["title"],
        "name": words.named(v["name"]),
        "then": f"{v['commissioned']}{HARD}{words.unit(v['unit'])}" if v["unit"] else v["commissioned"],
        "day": v["day"],
        "today": words.interval(v["today"], v["unit"]) if v["today"] else v.get("noted", ""),
        "noted_day": v.get("noted_day", ""),
        "reason": words.reason(v["reason"]),
        "differs": v["differs"],
        "change": _change(v),
        "means": v["means"],
        "findings": [
            {"code": code, "title": words.finding_title(code), "open": code in open_now}
            for code in v["findings"]
        ],
        "tuned": v["tuned"],
    }


def _change(v: dict[str, Any]) -> str:
    """Difference of today's value: as a share for flows and powers, else in the unit."""
    if not v["differs"] or v["change"] is None or v["today"] is None:
        return ""
    side = "lower" if v["change"] < 0 else "higher"
    then = v["today"]["value"] - v["change"]
    if v["unit"] in ("m3/h", "W") and then:
        return f"{words.measure(abs(100.0 * v['change'] / then), '%', 0)} {side}"
    return f"{words.measure(abs(v['change']), 'K' if v['unit'] == '°C' else v['unit'], 1)} {side}"
