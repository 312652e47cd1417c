"""Amounts of a bill's answer: consistently rounded, with parts that add up to the difference."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.answers import bill_texts as texts
from fieldfare.dashboards.text import words

LEAST_SHARE = 0.02
"""Of the bill before: less is not worth a word (common practice)."""
_WHOLE_FROM = 20.0  # from this amount on, answers are given in whole units


def unit_of(document: dict[str, Any]) -> str:
    """Unit of amounts: money if prices are known, else kwh."""
    return "kwh" if document["difference"]["money"] is None else "money"


def places(document: dict[str, Any]) -> int:
    """Decimals of all amounts of money in this answer, so that the displayed amounts add up."""
    sides = [document[key] for key in ("before", "now", "difference")]
    sizes = [side["money"] or 0.0 for side in sides if side]
    return 0 if max((abs(size) for size in sizes), default=0.0) >= _WHOLE_FROM else 2


def amount(document: dict[str, Any], value: float, unit: str) -> str:
    """One amount of the answer, in money or kWh."""
    if unit == "money":
        return str(words.money(value, document["currency"], places(document)))
    return words.measure(value, "kWh", 0)


def least_of(document: dict[str, Any], unit: str) -> float:
    """Smallest amount to be mentioned."""
    return LEAST_SHARE * abs(document["before"][unit] or 1.0)


def sure_shares(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Certain parts by owner, then the rest of the difference as `unsure`: rows of whose, kwh, money, each
    the sum of displayed parts. Used for both sentence and table."""
    owners = owners_of(document)
    out: list[dict[str, Any]] = []
    for whose in (w for w in texts.SAY_MORE if w != "unsure" and w in owners.values()):
        mine = [p for p in document["parts"] if owners[p["code"]] == whose]
        sums = {
            u: sum(_rounded(document, (p[u] or {"value": 0.0})["value"], u) for p in mine) for u in _UNITS
        }
        out.append({"whose": whose, **{u: _rounded(document, v, u) for u, v in sums.items()}})
    left = {
        u: _rounded(document, document["difference"][u] or 0.0, u) - sum(r[u] for r in out) for u in _UNITS
    }
    left = {u: _rounded(document, value, u) for u, value in left.items()}
    return [*out, {"whose": "unsure", **left}] if any(left.values()) else out


def owners_of(document: dict[str, Any]) -> dict[str, str]:
    """Part -> displayed owner: `unsure` for uncertain parts, and if the owner's certain parts together are
    too small to mention."""
    unit = unit_of(document)
    least = least_of(document, unit)
    sums: dict[str, float] = {}
    for part in document["parts"]:
        if part["told"] and part["whose"] in texts.SAY_MORE:
            sums[part["whose"]] = sums.get(part["whose"], 0.0) + part[unit]["value"]
    return {
        p["code"]: p["whose"] if p["told"] and abs(sums.get(p["whose"], 0.0)) >= least else "unsure"
        for p in document["parts"]
    }


_UNITS = ("kwh", "money")


def _rounded(document: dict[str, Any], value: float, unit: str) -> float:
    return round(value, places(document) if unit == "money" else 0)
