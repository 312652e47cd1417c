"""Rows of other heat sources and units of a cascade: heat of each, or why it is not known."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.text import words

NAMES = {"boiler": "Boiler", "stove": "Stove", "solar_thermal": "Solar collector"}


def source_rows(result: dict[str, Any]) -> list[tuple[str, str]]:
    """Rows of label and text; empty if the site file names neither. result : document, also of earlier
    releases"""
    return [*_other(result.get("other_heat")), *(_unit(u) for u in result.get("units") or ())]


def _other(other: dict[str, Any] | None) -> list[tuple[str, str]]:
    if other is None:
        return []
    label = " and ".join(dict.fromkeys(NAMES[s["kind"]] for s in other["sources"]))
    if other["heat_kwh"] is None:
        return [(label, words.reason(other["reason"]))]
    text = words.measure(other["heat_kwh"], "kWh", 0)
    if other["share"] is not None:
        low, high = (words.share(other["share"][end]) for end in ("low", "high"))
        text += (
            f" on {other['days']} days, {words.share(other['share']['value'])} of all heat ({low} to {high})"
        )
    return [(label, text)]


def _unit(unit: dict[str, Any]) -> tuple[str, str]:
    parts = []
    if unit["performance"] is not None:
        parts.append(f"performance {words.interval(unit['performance'], '', 2)}")
    if unit["share_of_heat"] is not None:
        parts.append(f"{words.share(unit['share_of_heat'])} of the heat")
    if unit["electricity_kwh"] is not None:
        parts.append(words.measure(unit["electricity_kwh"], "kWh", 0))
    if unit["starts"] is not None:
        parts.append(f"{unit['starts']} starts in {words.measure(unit['running_hours'], 'h', 0)}")
    parts += [words.reason(reason) for reason in dict.fromkeys(unit["reasons"].values())]
    return f"Heat pump {unit['unit']}", "; ".join(parts)
