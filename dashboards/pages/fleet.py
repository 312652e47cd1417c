"""The round: every home, worst first, what is wrong and what to do next; and the visits it leads to."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from analysis.fleet import gravity
from dashboards import words
from dashboards.frame import render

SETTLING_DAYS = 56
"""The first eight weeks in the householder's hands: settings still move, and figures say little."""
SILENT_AFTER = timedelta(hours=6)
"""Gateways repeat every few minutes; a router may be off for a night's hours (common practice)."""
GONE_AFTER = timedelta(hours=48)
_ORDER = ("drive", "setting", "call", "none")
SHOWS = (
    ("all", "every home"), ("drive", "needs a drive"), ("setting", "needs a setting"), ("call", "needs a phone call"),
    ("silent", "silent gateways"), ("thin", "no efficiency figure"), ("settling", "settling in"), ("fine", "in order"),
)  # fmt: skip


def open_findings(result: dict[str, Any] | None) -> list[dict[str, Any]]:
    """Findings that go on, worst first; those that cost most first among equals."""
    found = [f for f in (result or {}).get("findings", []) if not f["until"]]
    return sorted(found, key=lambda f: (gravity(f["severity"]), -_money(f), -f["confidence"]))


def visit_of(findings: list[dict[str, Any]]) -> str:
    """The most that any finding above a note asks for: drive, setting, call or none."""
    asked = [f.get("visit", "none") for f in findings if f["severity"] != "note"]
    return min(asked, key=_ORDER.index, default="none")


def fleet_page(
    rows: Iterable[dict[str, Any]], visitor: dict[str, Any], query: dict[str, str], now: datetime
) -> str:
    """rows : one dict a home with id, name, handed_over, heard, result, reason."""
    entries = sorted((_entry(row, now) for row in rows), key=_worst_first)
    asked = {"q": query.get("q", "").strip()[:80], "show": query.get("show", "all")}
    return render(
        "fleet.html", title="The round", here="fleet", visitor=visitor, summary=_summary(entries), query=asked, shows=SHOWS,
        entries=[e for e in entries if _fits(e, asked)],
    )  # fmt: skip


def visits_page(
    rows: Iterable[dict[str, Any]], visitor: dict[str, Any], query: dict[str, str], now: datetime
) -> str:
    """Homes by what they need: a drive, a setting, a phone call; and what to load."""
    entries = sorted((_entry(row, now) for row in rows), key=_worst_first)
    groups, load = [], dict[str, list[str]]()
    for kind, meaning in (
        (
            "drive",
            "Nothing but a visit mends these. What is urgent or asks to act: this week; the rest on the round before winter.",
        ),
        ("setting", "Can be set from here or by the householder with help."),
        ("call", "Ask first; a visit may not be needed."),
    ):
        stops = [
            e | {"findings": (todo := _to_do(e["open"], kind)), "cautions": _cautions(todo)}
            for e in entries
            if e["visit"] == kind
        ]
        if stops:
            groups.append({"title": words.visit_words(kind), "meaning": meaning, "stops": stops})
        for e in stops if kind == "drive" else []:
            for f in e["findings"]:
                for thing in f.get("bring", []):
                    homes = load.setdefault(thing, [])
                    if e["name"] not in homes:
                        homes.append(e["name"])
    return render(
        "visits.html", title="Visits", here="visits", visitor=visitor, summary=_summary(entries), groups=groups,
        load=sorted(load.items()),
    )  # fmt: skip


def _cautions(findings: list[dict[str, Any]]) -> list[str]:
    """Each caution once, however many findings share it."""
    return list(dict.fromkeys(f["caution"] for f in findings if f["caution"]))


def _to_do(findings: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    """What to do on one occasion: on a drive, all that is open and not a mere note."""
    return [f for f in findings if f["severity"] != "note" and (kind == "drive" or f.get("visit") == kind)]


def _entry(row: dict[str, Any], now: datetime) -> dict[str, Any]:
    result, heard = row["result"], row["heard"]
    found = open_findings(result)
    quiet = now - heard if heard is not None else None
    silent = quiet is not None and quiet > SILENT_AFTER
    worst = found[0] if found else None
    severity = worst["severity"] if worst else None
    visit = visit_of(found)
    if quiet is not None and quiet > GONE_AFTER and gravity(severity) > gravity("act"):
        severity, visit = "act", visit if visit == "drive" else "call"
    elif silent and severity in (None, "note"):
        severity = "watch"
    entry = {
        "id": row["id"], "name": row["name"], "severity": severity, "word": words.severity_words(severity), "visit": visit,
        "silent": silent, "settling": _settling(row, now), "open": found, "others": found[1:] if not _gone(quiet) else found,
        "known": result is not None, "heard": words.age(heard, now), "heard_at": heard, "since": "", "sure": "", "price": "", "next": "",
        "spf": _spf(result), "loss": _loss(result), "currency": ((result or {}).get("cost") or {}).get("currency"),
        "money": sum(_money(f) for f in found),
    }  # fmt: skip
    if severity is None and result is None:
        entry["word"] = "Not known"
    entry["price"] = _price(found, entry["currency"])
    return entry | _said(row, worst, quiet, result)


def _said(
    row: dict[str, Any], worst: dict[str, Any] | None, quiet: timedelta | None, result: dict[str, Any] | None
) -> dict[str, Any]:
    """The entry's sentence, since when, how sure, and the next step."""
    if _gone(quiet) or (quiet is not None and quiet > SILENT_AFTER and worst is None):
        return {
            "said": f"Nothing heard from its gateway for {words.span(quiet.days) if quiet and quiet.days else 'some hours'}.",
            "next": "Ask whether the power or the internet connection is off; then look at the gateway.",
        }
    if worst is not None and result is not None:
        return {
            "said": f"{words.finding_title(worst['code'])}. {worst['headline']}",
            "since": words.since(worst["since"], worst["until"], result["period"]["to"]),
            "sure": words.sure(worst["confidence"]),
            "next": words.named(worst["next_step"]),
        }
    if result is None:
        reason = row.get("reason") or "not worked out yet"
        return {"said": f"{reason[:1].upper()}{reason[1:]}.", "next": ""}
    return {"said": "Nothing found that needs attention."}


def _gone(quiet: timedelta | None) -> bool:
    return quiet is not None and quiet > GONE_AFTER


def _settling(row: dict[str, Any], now: datetime) -> bool:
    handed: date | None = row["handed_over"]
    return handed is not None and 0 <= (now.date() - handed).days < SETTLING_DAYS


def _spf(result: dict[str, Any] | None) -> str:
    performance = (result or {}).get("performance") or {}
    for boundary in ("H4", "H3", "H2", "H1"):
        value = (performance.get(boundary) or {}).get("value")
        if value is not None:
            return f"{words.number(value, 2)} ({boundary})"
    return ""


def _loss(result: dict[str, Any] | None) -> str:
    ratio = ((result or {}).get("heat_loss") or {}).get("ratio") or {}
    return words.share(ratio["value"]) if ratio.get("value") is not None else ""


def _price(found: list[dict[str, Any]], currency: str | None) -> str:
    kwh = sum((f["cost_per_year"] or {}).get("electricity_kwh") or 0.0 for f in found)
    if kwh <= 0:
        return ""
    told = words.price_tag({"electricity_kwh": kwh, "money": sum(_money(f) for f in found) or None}, currency)
    priced = sum(bool((f["cost_per_year"] or {}).get("electricity_kwh")) for f in found)
    return f"{told} in all" if priced > 1 else told


def _money(finding: dict[str, Any]) -> float:
    return float((finding["cost_per_year"] or {}).get("money") or 0.0)


def _worst_first(entry: dict[str, Any]) -> tuple[Any, ...]:
    return gravity(entry["severity"]), _ORDER.index(entry["visit"]), -entry["money"], entry["name"].lower()


def _fits(entry: dict[str, Any], asked: dict[str, str]) -> bool:
    text = " ".join(
        [entry["name"], entry["id"], entry["said"], *(words.finding_title(f["code"]) for f in entry["open"])]
    )
    if asked["q"] and asked["q"].lower() not in text.lower():
        return False
    show = asked["show"]
    if show in ("silent", "settling"):
        return bool(entry[show])
    if show == "fine":
        return entry["severity"] is None and bool(entry["known"])
    if show == "thin":
        return not entry["spf"]
    return show not in ("drive", "setting", "call") or entry["visit"] == show


def _summary(entries: list[dict[str, Any]]) -> str:
    """The whole round in one sentence or two."""
    if not entries:
        return "No home yet."
    parts = []
    for kind, one, many in (
        ("drive", "needs a drive", "need a drive"),
        ("setting", "needs a setting", "need a setting"),
        ("call", "needs a phone call", "need a phone call"),
    ):
        n = sum(e["visit"] == kind for e in entries)
        if n:
            parts.append(f"{n} {one if n == 1 else many}")
    fine = sum(e["severity"] in (None, "note") and e["known"] for e in entries)
    if fine:
        noted = sum(e["severity"] == "note" and e["known"] for e in entries)
        parts.append(
            f"{fine} {'is' if fine == 1 else 'are'} in order" + (f" ({noted} with a note)" if noted else "")
        )
    unknown = sum(not e["known"] for e in entries)
    if unknown:
        parts.append(f"of {unknown} nothing is known yet")
    silent = sum(e["silent"] for e in entries)
    if silent:
        parts.append(f"{silent} {'is' if silent == 1 else 'are'} silent")
    cost: dict[str, float] = {}
    for e in entries:
        if e["currency"] and e["money"]:
            cost[e["currency"]] = cost.get(e["currency"], 0.0) + e["money"]
    told = (
        f"{words.count(len(entries), 'home')}: {words.listed(parts)}."
        if parts
        else f"{words.count(len(entries), 'home')}."
    )
    if cost:
        told += f" What is wrong costs about {words.listed([words.money(v, c, 0) for c, v in cost.items()])} a year."
    return told
