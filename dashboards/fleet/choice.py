"""Search, filters, sorting and paging of the fleet list, all in the URL."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any, NamedTuple
from urllib.parse import urlencode

from fieldfare.analysis.reports.costs import costs_once
from fieldfare.analysis.reports.verdict import VERDICTS, WORDS
from fieldfare.dashboards.fleet.orders import ORDERS
from fieldfare.dashboards.text import words

SHOWS = (
    ("all", "every home"),
    ("drive", "needs a visit"),
    ("setting", "needs a setting"),
    ("call", "needs a phone call"),
    ("free", "not taken in hand"),
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
    ("heard", "longest silent first"),
    ("name", "by name"),
    ("area", "by area"),
)
HARM_FIRST = "danger comes before cold rooms and hot water, and these before cost"
ROWS = (("compact", "one line each"), ("full", "in full"))
FEW = 3
"""So few homes stand in full: they fit on a screen, as what a search finds mostly does."""
PER_PAGE = 100
"""Homes on one page: it stays below 150 kB before compression, which a phone shows without a wait."""
LIKENESS, NEAREST, MOST_TERMS = 0.7, 3, 4
"""Two words are close from this ratio of difflib on: a letter wrong or missing in four (common practice).
So many close words of each term are tried, in searches of so few terms."""
_WORD = re.compile(r"[^\W\d_]{3,}")
_CHOICES = {"show": SHOWS, "verdict": VERDICT_CHOICES, "sort": SORTS, "rows": ROWS}

Entry = dict[str, Any]
NO_EFFICIENCY = 1e9
NEVER_HEARD = 2**62
"""They come last."""
_SHOWN: dict[str, tuple[str, Any]] = {
    **{kind: ("visit", kind) for kind in ("drive", "setting", "call")},
    **{flag: (flag, True) for flag in ("free", "dealt", "silent", "settling")},
    "thin": ("efficiency", NO_EFFICIENCY),
    "unknown": ("verdict", "not_known"),
    "fine": ("verdict", "in_order"),
}


class Counts(NamedTuple):
    """Counts over a fleet. verdicts : verdict -> homes. money : currency -> yearly cost of faults"""

    homes: int
    verdicts: dict[str, int]
    silent: int
    visits: int
    money: dict[str, float]


def asked_of(query: Mapping[str, str]) -> dict[str, str]:
    """Parse the list's query; unknown values are ignored."""
    asked = {"q": query.get("q", "").strip()[:80]}
    for name, choices in _CHOICES.items():
        given = query.get(name, "")
        asked[name] = given if given in dict(choices) else choices[0][0]
    page = query.get("page", "1")
    asked["page"] = str(max(int(page), 1)) if page.isascii() and page.isdecimal() and len(page) < 6 else "1"
    return asked


def address_of(asked: Mapping[str, str], **more: str) -> str:
    """URL of a choice, without defaults."""
    chosen = {**asked, **more}
    plain = {"q": "", "page": "1", **{name: choices[0][0] for name, choices in _CHOICES.items()}}
    given = {k: v for k, v in chosen.items() if v != plain[k]}
    return f"/?{urlencode(given)}" if given else "/"


def page_of(asked: Mapping[str, str], total: int) -> tuple[int, int]:
    """Number of the requested page, at most the last, and the number of homes before it."""
    page = min(int(asked["page"]), max(-(-total // PER_PAGE), 1))
    return page, (page - 1) * PER_PAGE


def shown(entries: list[Entry], total: int, asked: Mapping[str, str]) -> dict[str, Any]:
    """Entries of the requested page, with paging data.

    total : homes that match. Returns dict: entries, total, first and last number shown, pages (number, URL,
        is current)
    """
    page, start = page_of(asked, total)
    pages = max(-(-total // PER_PAGE), 1)
    return {
        "entries": entries,
        "total": total,
        "first": start + 1,
        "last": start + len(entries),
        "compact": asked["rows"] == "compact" and len(entries) > FEW,
        "pages": (
            [(n, address_of(asked, page=str(n)), n == page) for n in range(1, pages + 1)] if pages > 1 else []
        ),
        "chosen": _chosen_words(asked),
        "order_note": HARM_FIRST if asked["sort"] == "harm" else "",
    }


def fitting(entries: list[Entry], asked: Mapping[str, str]) -> list[Entry]:
    """All entries of a choice, in its order."""
    wanted, words_sought = conditions(asked), sought(asked)
    found = []
    for entry in entries:
        keys = list_keys(entry)
        if all(keys[k] == v for k, v in wanted) and all(part in keys["search"] for part in words_sought):
            found.append((tuple(keys[k] for k in ORDERS[asked["sort"]]), entry))
    return [entry for _, entry in sorted(found, key=lambda f: f[0])]


def conditions(asked: Mapping[str, str]) -> list[tuple[str, Any]]:
    """Filters of a choice: keys of `list_keys` with required values."""
    wanted = [("verdict", asked["verdict"])] if asked["verdict"] != "any" else []
    return [*wanted, *([_SHOWN[asked["show"]]] if asked["show"] != "all" else [])]


def sought(asked: Mapping[str, str]) -> list[str]:
    """Search terms, all of which a home's `search` must contain."""
    return asked["q"].casefold().split()


def did_you_mean(asked: Mapping[str, str], texts: Iterable[str]) -> str:
    """The search with words that some home has for those that none has; empty where no home would fit.

    texts : searchable text of each home that the other filters take
    """
    texts, terms = list(texts), sought(asked)
    if not terms or len(terms) > MOST_TERMS:
        return ""
    known = sorted({word for text in texts for word in _WORD.findall(text)})
    tried = [
        [term]
        if any(term in text for text in texts)
        else get_close_matches(term, known, n=NEAREST, cutoff=LIKENESS)
        for term in terms
    ]
    for found in itertools.product(*tried):
        if list(found) != terms and any(all(part in text for part in found) for text in texts):
            return " ".join(found)
    return ""


def counts_of(entries: Iterable[Entry]) -> Counts:
    """Counts over the given homes."""
    verdicts: dict[str, int] = {}
    money: dict[str, float] = {}
    homes = silent = visits = 0
    for e in entries:
        homes, silent, visits = homes + 1, silent + e["silent"], visits + (e["visit"] == "drive")
        verdicts[e["verdict"]] = verdicts.get(e["verdict"], 0) + 1
        if e["currency"] and e["money"]:
            money[e["currency"]] = money.get(e["currency"], 0.0) + e["money"]
    return Counts(homes, verdicts, silent, visits, money)


def _chosen_words(asked: Mapping[str, str]) -> list[str]:
    """Describe a choice: search, filters and order."""
    chosen_words = [f"“{asked['q']}”"] if asked["q"] else []
    chosen_words += [
        dict(_CHOICES[n])[asked[n]] for n in ("show", "verdict") if asked[n] != _CHOICES[n][0][0]
    ]
    return [*chosen_words, dict(SORTS)[asked["sort"]]]


def _text(entry: Entry) -> str:
    """Searchable text of a home: everything on its card."""
    parts = [
        entry["name"],
        entry["id"],
        entry["area"],
        entry["place"],
        entry["said"],
        entry["word"],
        entry["next"],
        entry["price"],
        *entry["handled"].values(),
    ]
    if entry["visit"] != "none":
        parts.append(words.visit_words(entry["visit"]))
    for f in entry["open"]:
        parts += [words.finding_title(f["code"]), words.severity_words(f["severity"])]
    return " ".join(parts).replace("\u00a0", " ").casefold()


def list_keys(entry: Entry) -> dict[str, Any]:
    """Keys by which lists sort and filter a home. Never None, so that all databases sort alike."""
    tier, lost, sure = entry["urgency"]
    spf, heard = entry["spf_value"], entry["heard_at"]
    return {
        "verdict": entry["verdict"],
        "visit": entry["visit"],
        "silent": entry["silent"],
        "settling": entry["settling"],
        "free": bool(entry["free"]),
        "dealt": bool(entry["handled"]),
        "tier": int(tier),
        "lost": float(lost),
        "sure": float(sure),
        "cost": -_kwh(entry),
        "since": min((f["since"] for f in entry["open"] if f["severity"] != "note"), default="9999"),
        "efficiency": float(spf) if spf is not None else NO_EFFICIENCY,
        "heard": round(heard.timestamp() * 1000) if heard is not None else NEVER_HEARD,
        "name": entry["name"].casefold(),
        "no_area": not entry["area"],
        "area": entry["area"].casefold(),
        "search": _text(entry),
        "site": entry["id"],
    }


def _kwh(entry: Entry) -> float:
    """Yearly electricity [kWh], as a fleet may have several currencies."""
    return sum(adds for _, adds in costs_once(entry["costing"]))
