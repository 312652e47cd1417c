"""A home as a list entry: current verdict, worst finding, next step and handling."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from fieldfare.analysis.reports.costs import costs_once
from fieldfare.analysis.reports.fleet import (
    DANGER,
    DISCOMFORT,
    HARM_AHEAD,
    URGENT,
    days_left,
    decisive_first,
    open_findings,
)
from fieldfare.analysis.reports.verdict import (
    GONE_AFTER,
    SILENT_AFTER,
    VERDICTS,
    FileFeed,
    given_verdict,
    verdict_now,
)
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.handling import in_order, is_put_aside, short, sinks, urgency_of

SETTLING_DAYS = 56
"""The first eight weeks in the householder's hands: settings still move, and figures say little."""
_WHY = {
    URGENT: "urgent comes first",
    DANGER: "danger to people or plant comes first",
    DISCOMFORT: "cold rooms and hot water come before cost",
    HARM_AHEAD: "what may do harm comes before cost",
}
SILENCE_STEP = "Ask whether the power or the internet connection is off; then look at the gateway."
FILE_DUE_STEP = "Export the readings since then and upload the file."
_ORDER = ("drive", "setting", "call", "none")


def visit_of(findings: list[dict[str, Any]]) -> str:
    """Greatest effort that any finding above a note needs: drive (a visit), setting, call or none."""
    asked = [f.get("visit", "none") for f in findings if f["severity"] != "note"]
    return min(asked, key=_ORDER.index, default="none")


def entry_of(row: dict[str, Any], now: datetime) -> dict[str, Any]:
    """A home as lists show it.

    row : id, name, handed_over, heard, result, reason, area, place, handled.
    """
    result, heard = row["result"], row["heard"]
    handled = row.get("handled") or {}
    own = given_verdict(result, row.get("reason") or "not analysed yet")
    by_harm = open_findings(result)
    found = decisive_first(in_order(by_harm, handled), by_harm, own["verdict"])
    feed: FileFeed | None = row.get("feed")
    quiet = now - heard if heard is not None and feed is None else None
    given = verdict_now(own, heard, now, feed)
    worst = found[0] if found else None
    visit = visit_of([f for f in found if not is_put_aside(handled.get(f["code"]), f["code"])])
    if _gone(quiet) and visit != "drive":
        visit = "call"
    entry = {
        "row": row,
        "id": row["id"],
        "name": row["name"],
        "verdict": given["verdict"],
        "word": words.verdict_words(given["verdict"]),
        "visit": visit,
        "silent": quiet is not None and quiet > SILENT_AFTER,
        "settling": _settling(row, now),
        "open": found,
        "others": found[1:] if not _gone(quiet) else found,
        "noted": worst is not None and worst["severity"] == "note",
        "known": result is not None,
        "heard": words.age(heard, now),
        "file": "" if feed is None else words.file_until(feed.until, row["card"].zone.key),
        "heard_at": heard,
        "why": "",
        "since": "",
        "sure": "",
        "price": "",
        "next": "",
        "spf": _spf(result),
        "spf_value": _spf_value(result)[0],
        "loss": _loss(result),
        "currency": ((result or {}).get("cost") or {}).get("currency"),
        "money": 0.0,
        "missing": given["missing"],
        "urgency": urgency_of(result, given, handled),
        "handled": {c: short(h) for c, h in handled.items() if h["holds"]},
        "free": _free(found, handled),
        "area": row.get("area") or "",
        "place": row.get("place") or "",
        "aside": {f["code"] for f in found if is_put_aside(handled.get(f["code"]), f["code"])},
    }
    costing = [f for f in found if f["code"] not in entry["aside"]]
    entry["costing"] = costing
    entry["money"] = sum(adds for _, adds in costs_once(costing, "money"))
    entry["price"] = _price(costing, worst, entry["currency"])
    entry |= _said(row, worst, quiet, result, given)
    return entry | {"brief": _brief(entry, worst if not _gone(quiet) else None)}


def _brief(entry: dict[str, Any], worst: dict[str, Any] | None) -> str:
    """What the short list says of a home: the finding's title, or what is not known."""
    missing = entry["missing"]
    if worst is not None and entry["since"]:
        title = words.finding_title(worst["code"])
        return f"Note: {words.small_first(title)}" if worst["severity"] == "note" else title
    if worst is None and missing and entry["verdict"] == "not_known" and entry["known"] and not entry["next"]:
        more = f" And {len(missing) - 1} more." if len(missing) > 1 else ""
        return f"{missing[0]['question']}{more}"
    return str(entry["said"])


def _free(found: list[dict[str, Any]], handled: dict[str, Any]) -> bool:
    """Whether a finding above a note is open and unassigned."""
    return any(f["severity"] != "note" and not sinks(handled.get(f["code"]), f["code"]) for f in found)


def _said(
    row: dict[str, Any],
    worst: dict[str, Any] | None,
    quiet: timedelta | None,
    result: dict[str, Any] | None,
    given: dict[str, Any],
) -> dict[str, Any]:
    """Sentence of the entry, its start, confidence, and next step."""
    if _gone(quiet) or (quiet is not None and quiet > SILENT_AFTER and worst is None):
        return {
            "said": given["because"][-1]["says"],
            "next": SILENCE_STEP,
        }
    serious = [b for b in given["because"] if b["severity"]]
    if serious and (worst is None or worst["severity"] == "note"):
        return {
            "said": words.named(serious[-1]["says"]),
            "next": _next_step(serious[-1]["code"], worst),
        }
    if worst is not None and result is not None:
        is_note = worst["severity"] == "note"  # needs no action
        return {
            "said": f"{'Note: ' if is_note else ''}{words.finding_title(worst['code'])}."
            f" {words.named(worst['headline'])}",
            "since": words.since(worst["since"], worst["until"], result["period"]["to"]),
            "sure": words.confidence_text(worst["confidence"]),
            "next": "" if is_note else words.named(worst["next_step"]),
        }
    if result is None:
        reason = row.get("reason") or "not analysed yet"
        return {"said": words.sentence(reason), "next": ""}
    return {
        "said": (
            "Nothing found." if given["missing"] else "Everything that matters was checked; nothing found."
        )
    }


def _next_step(code: str, worst: dict[str, Any] | None) -> str:
    if code == "file_due":
        return FILE_DUE_STEP
    return words.named(worst["next_step"]) if worst and worst["code"] == code else ""


def _gone(quiet: timedelta | None) -> bool:
    return quiet is not None and quiet > GONE_AFTER


def _settling(row: dict[str, Any], now: datetime) -> bool:
    handed: date | None = row["handed_over"]
    return handed is not None and 0 <= (now.date() - handed).days < SETTLING_DAYS


def _spf(result: dict[str, Any] | None) -> str:
    value, boundary = _spf_value(result)
    return "" if value is None else f"{words.number(value, 2)} ({boundary})"


def _spf_value(result: dict[str, Any] | None) -> tuple[float | None, str]:
    """Efficiency at the widest known boundary, and that boundary."""
    performance = (result or {}).get("performance") or {}
    for boundary in ("H4", "H3", "H2", "H1"):
        value = (performance.get(boundary) or {}).get("value")
        if value is not None:
            return value, boundary
    return None, ""


def _loss(result: dict[str, Any] | None) -> str:
    ratio = ((result or {}).get("heat_loss") or {}).get("ratio") or {}
    return words.share(ratio["value"]) if ratio.get("value") is not None else ""


def _price(found: list[dict[str, Any]], worst: dict[str, Any] | None, currency: str | None) -> str:
    """Yearly cost of the findings; "in all" where it is not that of the worst alone."""
    each = costs_once(found)
    if not each:
        return ""
    kwh, money = (sum(adds for _, adds in rows) for rows in (each, costs_once(found, "money")))
    tag = words.price_tag({"electricity_kwh": kwh, "money": money or None}, currency)
    of_worst = len(each) == 1 and worst is not None and each[0][0]["code"] == worst["code"]
    return tag if of_worst else f"{tag} in all"


def with_why(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Entries, worst first, each with `why`: the reason if it is above a home with a graver verdict, else
    empty."""
    out, gravest = [], len(VERDICTS)
    for entry in reversed(entries):
        place = VERDICTS.index(entry["verdict"])
        out.append(entry | {"why": _why(entry) if gravest < place else ""})
        if entry["free"]:
            gravest = min(gravest, place)
    return out[::-1]


def _why(entry: dict[str, Any]) -> str:
    """Reason for a home's rank: present or coming harm, else its cost."""
    tier = entry["urgency"][0]
    left = [days for f in entry["open"] if (days := days_left(f)) is not None]
    if tier == DANGER and left:
        return f"locks out in {words.count(max(round(min(left)), 0), 'day')}"
    return _WHY.get(tier, "it has cost more so far than a home below that needs work")


def worst_first(rows: Iterable[dict[str, Any]], now: datetime) -> list[dict[str, Any]]:
    """Entries of homes by priority."""
    return sorted((entry_of(row, now) for row in rows), key=lambda e: (e["urgency"], e["name"].lower()))
