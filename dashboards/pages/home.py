"""The household's own page: a month in plain sentences and pictures, what was done, what they can do."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from dashboards import words
from dashboards.day_rows import rows_of_result
from dashboards.frame import render
from dashboards.home_words import advice, cold_zones, month_told, month_words, to_do
from dashboards.pages.fleet import SILENT_AFTER


def home_page(
    row: dict[str, Any],
    contents: dict[str, Any] | None,
    works: list[dict[str, Any]],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    firm: dict[str, str] | None = None,
) -> str:
    """contents : a month paper's contents, None where there is no month yet. row["result"] : the last year's.
    firm : its name and contact, each empty where not set"""
    common: dict[str, Any] = {
        "title": "Your heating", "here": "home", "visitor": visitor, "row": row, "firm": firm or {"name": "", "contact": ""},
    }  # fmt: skip
    if contents is None:
        return render(
            "home.html",
            **common,
            parts=None,
            lead="",
            works=[],
            to_do=[],
            advice=[],
            month="",
            month_key="",
            months={},
        )
    site, result = row["site"], contents["result"]
    year = contents.get("year") or row["result"] or result
    rows = contents.get("days") or rows_of_result(result)
    month = result["period"]["from"][:7]
    done = [w for w in works if str(w["day"])[:7] == month]
    asked = to_do(year)
    return render(
        "home.html", **common, parts=month_told(site, {**contents, "days": rows}), lead=_lead(row, contents, asked, now),
        works=done, to_do=asked, advice=advice(site, year, rows), month=month_words(result["period"]), month_key=month, months=_neighbours(month, row),
    )  # fmt: skip


def _lead(row: dict[str, Any], contents: dict[str, Any], asked: list[str], now: datetime) -> str:
    """How things stand, in a sentence or two, without alarm."""
    heard = row["heard"]
    if heard is not None and now - heard > SILENT_AFTER:
        return (
            f"We have not heard from your heating since {words.moment(heard, row['site'].site.timezone)}. If it is warm, all is likely well. "
            "If your heating reports by itself, please look whether your internet box is on."
        )
    if asked:
        return f"Your heating runs; there {'is one thing' if len(asked) == 1 else f'are {len(asked)} things'} you should know, further down."
    if cold := cold_zones(contents["result"]):
        return (
            f"Your heating is running, but {words.listed(cold)} {'was' if len(cold) == 1 else 'were'} cooler than asked for much of the month. "
            "If you did not mean that, tell your installer."
        )
    return "Your heating is running as it should."


def _neighbours(month: str, row: dict[str, Any]) -> dict[str, str]:
    """The months before and after, as far as there are readings."""
    here = date.fromisoformat(f"{month}-01")
    before = date(here.year - (here.month == 1), (here.month - 2) % 12 + 1, 1)
    after = date(here.year + (here.month == 12), here.month % 12 + 1, 1)
    known = {m["month"] for m in ((row["result"] or {}).get("performance") or {}).get("by_month", [])}
    return {
        name: f"{when:%Y-%m}"
        for name, when in (("before", before), ("after", after))
        if f"{when:%Y-%m}" in known
    }
