"""Other heat sources and the units of a cascade, row by row: what each gave, or why it is not known."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.text import words

NAMES = {"boiler": "Boiler", "stove": "Stove", "solar_thermal": "Solar collector"}


def source_rows(result: dict[str, Any]) -> list[tuple[str, str]]:
    """Label and text of every row; empty where the site file names neither. result : a document of any age"""
    return [*_other(result.get("other_heat")), *(_unit(u) for u in result.get("units") or ())]


def _other(other: dict[str, Any] | None) -> list[tuple[str, str]]:
    if other is None:
        return []
    label = " and ".join(dict.fromkeys(NAMES[s["kind"]] for s in other["sources"]))
    if other["heat_kwh"] is None:
        return [(label, words.reason(other["reason"]))]
    told = words.measure(other["heat_kwh"], "kWh", 0)
    if other["share"] is not None:
        low, high = (words.share(other["share"][end]) for end in ("low", "high"))
        told += (
            f" on {other['days']} days, {words.share(other['share']['value'])} of all heat ({low} to {high})"
        )
    return [(label, told)]


def _unit(unit: dict[str, Any]) -> tuple[str, str]:
    told = []
    if unit["performance"] is not None:
        told.append(f"performance {words.interval(unit['performance'], '', 2)}")
    if unit["share_of_heat"] is not None:
        told.append(f"{words.share(unit['share_of_heat'])} of the heat")
    if unit["electricity_kwh"] is not None:
        told.append(words.measure(unit["electricity_kwh"], "kWh", 0))
    if unit["starts"] is not None:
        told.append(f"{unit['starts']} starts in {words.measure(unit['running_hours'], 'h', 0)}")
    told += [words.reason(reason) for reason in dict.fromkeys(unit["reasons"].values())]
    return f"Heat pump {unit['unit']}", "; ".join(told)
