"""Measured over designed by type and age as text: a table per quantity, and a sentence for the next home."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.text import words

KINDS = {
    "": "Any type",
    "terraced": "Terraced",
    "semi_detached": "Semi-detached",
    "detached": "Detached",
    "flat": "Flat",
    "other": "Other",
}
TITLES = {
    "heat_loss": "Heat loss",
    "peak_load": "Load on the design day over designed heat loss",
    "emitter_share": "Share of the emitters used on the design day",
    "flow_excess": "Flow less room on the design day",
    "hot_water": "Heat for hot water, a year",
}
_DO = {
    "heat_loss": "multiply the calculated heat loss by",
    "peak_load": "multiply the calculated heat loss, for the unit's output on the design day, by",
    "emitter_share": "multiply the share of the emitters' output that the design uses by",
    "flow_excess": "multiply the designed flow less room temperature by",
    "hot_water": "multiply the designed heat for hot water by",
}


def present_design_ratios(ratios: dict[str, Any] | None) -> dict[str, Any] | None:
    """tables : title, rows (group, n, ratio, next, says) by quantity; homes, unstated. None without homes"""
    if not ratios or not ratios["groups"]:
        return None
    tables = []
    for quantity, title in TITLES.items():
        rows = [_row(g) for g in ratios["groups"] if g["quantity"] == quantity]
        if rows:
            tables.append({"title": title, "rows": rows, "says": _says(quantity, ratios["groups"])})
    return {"tables": tables, "homes": ratios["homes"], "unstated": ratios["unstated"]}


def group_words(g: dict[str, Any]) -> str:
    """Name of a group: type and age."""
    if g["grouping"] == "all":
        return "All homes"
    return ", ".join(part for part in (KINDS[g["kind"]] if g["kind"] else "", g["age"]) if part)


def _row(g: dict[str, Any]) -> dict[str, Any]:
    known = g["ratio"] is not None
    return {
        "group": group_words(g),
        "n": g["n"],
        "ratio": words.interval({"value": g["ratio"], "low": g["low"], "high": g["high"]}, "", 2)
        if known
        else "",
        "next": f"{words.number(g['next_low'], 2)} to {words.number(g['next_high'], 2)}" if known else "",
    }


def _says(quantity: str, groups: list[dict[str, Any]]) -> str:
    """Advice for the next home, if all homes together show that the design is off."""
    g = next((g for g in groups if g["quantity"] == quantity and g["grouping"] == "all"), None)
    if g is None or g["ratio"] is None:
        return ""
    if g["low"] <= 1.0 <= g["high"]:
        return f"As designed, within its range, over {g['n']} homes."
    by_type = any(x["quantity"] == quantity and x["grouping"] != "all" for x in groups)
    typed = ", or by its own type's line" if by_type else ""
    return (
        f"At the next home {_DO[quantity]} {words.number(g['ratio'], 2)}"
        f"{typed}; nine in ten homes lie below {words.number(g['next_high'], 2)}."
    )
