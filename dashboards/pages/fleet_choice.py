"""Which homes a list shows and in what order: a search, filters that combine, a sort, pages; all of it in the
address."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from fieldfare.analysis.reports.verdict import VERDICTS, WORDS
from fieldfare.dashboards.text import words

SHOWS = (
    ("all", "every home"),
    ("drive", "needs a visit"),
    ("setting", "needs a setting"),
    ("call", "needs a phone call"),
    ("free", "nobody has it yet"),
    ("dealt", "in hand, muted or done"),
    ("silent", "silent gateways"),
    ("thin", "no efficiency figure"),
    ("settling", "settling in"),
    ("unknown", WORDS["not_known"]),
    ("fine", WORDS["in_order"]),
)
VERDICT_CHOICES = (("any", "any verdict"), *((v, WORDS[v]) for v in VERDICTS))
SORTS = (
    ("harm", "worst first"),
    ("cost", "costliest first"),
    ("age", "longest open first"),
    ("efficiency", "least efficient first"),
    ("heard", "longest unheard first"),
    ("name", "by name"),
    ("area", "by area"),
)
ROWS = (("auto", "as fits"), ("full", "full"), ("compact", "compact"))
FULL_UP_TO = 20
"""Homes; a longer list is compact unless the address says otherwise."""
PER_PAGE = 100
"""Homes on one page: it stays below 150 kB before compression, which a phone shows without a wait."""
_CHOICES = {"show": SHOWS, "verdict": VERDICT_CHOICES, "sort": SORTS, "rows": ROWS}

Entry = dict[str, Any]


def asked_of(query: Mapping[str, str]) -> dict[str, str]:
    """The choice that an address holds; what it does not know is taken as not given."""
    asked = {"q": query.get("q", "").strip()[:80]}
    for name, choices in _CHOICES.items():
        given = query.get(name, "")
        asked[name] = given if given in dict(choices) else choices[0][0]
    page = query.get("page", "1")
    asked["page"] = str(max(int(page), 1)) if page.isascii() and page.isdecimal() and len(page) < 6 else "1"
    return asked


def address_of(asked: Mapping[str, str], **more: str) -> str:
    """The address of a choice, without what stands at its default."""
    chosen = {**asked, **more}
    plain = {"q": "", "page": "1", **{name: choices[0][0] for name, choices in _CHOICES.items()}}
    given = {k: v for k, v in chosen.items() if v != plain[k]}
    return f"/?{urlencode(given)}" if given else "/"


def choose(entries: list[Entry], asked: Mapping[str, str]) -> dict[str, Any]:
    """The entries of one page with what a list says about them.

    entries : worst first. Returns dict: entries, total, first and last number shown, pages (number, address,
        is this one)
    """
    found = fitting(entries, asked)
    pages = max(-(-len(found) // PER_PAGE), 1)
    page = min(int(asked["page"]), pages)
    start = (page - 1) * PER_PAGE
    shown = found[start : start + PER_PAGE]
    is_long = asked["rows"] == "auto" and len(shown) > FULL_UP_TO
    return {
        "entries": shown,
        "total": len(found),
        "first": start + 1,
        "last": start + len(shown),
        "compact": asked["rows"] == "compact" or is_long,
        "pages": (
            [(n, address_of(asked, page=str(n)), n == page) for n in range(1, pages + 1)] if pages > 1 else []
        ),
        "chosen": _told(asked),
    }


def fitting(entries: list[Entry], asked: Mapping[str, str]) -> list[Entry]:
    """All entries of a choice, in its order."""
    return sorted((e for e in entries if _fits(e, asked)), key=_KEYS[asked["sort"]])


def _told(asked: Mapping[str, str]) -> list[str]:
    """The choice in words: the search, the filters that are set, the order."""
    told = [f"“{asked['q']}”"] if asked["q"] else []
    told += [dict(_CHOICES[n])[asked[n]] for n in ("show", "verdict") if asked[n] != _CHOICES[n][0][0]]
    return [*told, dict(SORTS)[asked["sort"]]]


def _fits(entry: Entry, asked: Mapping[str, str]) -> bool:
    if asked["verdict"] not in ("any", entry["verdict"]):
        return False
    if any(part not in _text(entry) for part in asked["q"].casefold().split()):
        return False
    show = asked["show"]
    if show in ("free", "dealt"):
        return bool(entry["free"] if show == "free" else entry["handled"])
    if show in ("silent", "settling"):
        return bool(entry[show])
    if show in ("fine", "unknown"):
        return bool(entry["verdict"] == {"fine": "in_order", "unknown": "not_known"}[show])
    if show == "thin":
        return not entry["spf"]
    return show not in ("drive", "setting", "call") or entry["visit"] == show


def _text(entry: Entry) -> str:
    """What a search looks into: name, area and address, what is said, findings with severity, what is asked
    for, who has it."""
    parts = [
        entry["name"],
        entry["id"],
        entry["area"],
        entry["place"],
        entry["said"],
        entry["word"],
        *entry["handled"].values(),
    ]
    if entry["visit"] != "none":
        parts.append(words.visit_words(entry["visit"]))
    for f in entry["open"]:
        parts += [words.finding_title(f["code"]), words.severity_words(f["severity"])]
    return " ".join(parts).replace("\u00a0", " ").casefold()


def _age(entry: Entry) -> str:
    return min((f["since"] for f in entry["open"] if f["severity"] != "note"), default="9999")


def _cost(entry: Entry) -> float:
    """Electricity a year [kWh]: a fleet may have several currencies."""
    return -sum(float((f["cost_per_year"] or {}).get("electricity_kwh") or 0.0) for f in entry["open"])


def _efficiency(entry: Entry) -> float:
    return entry["spf_value"] if entry["spf_value"] is not None else float("inf")


def _heard(entry: Entry) -> float:
    heard: datetime | None = entry["heard_at"]
    return heard.timestamp() if heard is not None else float("inf")


_KEYS: dict[str, Callable[[Entry], Any]] = {
    "harm": lambda e: (e["urgency"], e["name"].lower()),
    "cost": lambda e: (_cost(e), e["urgency"]),
    "age": lambda e: (_age(e), e["urgency"]),
    "efficiency": lambda e: (_efficiency(e), e["urgency"]),
    "heard": lambda e: (_heard(e), e["urgency"]),
    "name": lambda e: e["name"].casefold(),
    "area": lambda e: (not e["area"], e["area"].casefold(), e["urgency"], e["name"].casefold()),
}
