"""The household's page: a month in plain sentences and pictures, jobs done, and things to do."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from fieldfare.analysis.reports.verdict import SILENT_AFTER, given_verdict, with_silence
from fieldfare.dashboards.answers.present_answer import QUESTIONS
from fieldfare.dashboards.rows.days import rows_of_result
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.home_advice import advice
from fieldfare.dashboards.text.home_month import month_sections, month_words
from fieldfare.dashboards.text.home_standing import cold_sentence, silent_words, standing_words, to_do
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.promise import good_news

_NO_MONTH: dict[str, Any] = {
    "parts": None,
    "lead": [],
    "other_days": "",
    "works": [],
    "to_do": [],
    "cold": "",
    "advice": [],
    "month": "",
    "month_key": "",
    "months": {},
}


def home_page(
    row: dict[str, Any],
    contents: dict[str, Any] | None,
    works: list[dict[str, Any]],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    firm: dict[str, str] | None = None,
    household: dict[str, Any] | None = None,
) -> str:
    """The household's page of a month.

    contents : a month paper's contents, None where the month has no readings. row["result"] :
    the last year's.
    firm : its name and contact, each empty where not set
    household : homes (id and name of the reader's others), visits in words, and contact, None where it is not
        theirs to read
    """
    common: dict[str, Any] = {
        "title": _("Your heating"),
        "here": "home",
        "visitor": visitor,
        "row": row,
        "firm": firm or {"name": "", "contact": ""},
        "household": household or {"homes": [], "visits": [], "contact": None},
        "questions": QUESTIONS,
    }
    # Only the firm is told that a file is due.
    quiet = now - row["heard"] if row["heard"] is not None and not row.get("feed") else None
    if contents is None:
        given = with_silence(given_verdict(row["result"]), quiet)
        return render("home.html", **common, **_NO_MONTH, given=given)
    site, result = row["site"], contents["result"]
    year = contents.get("year") or row["result"] or result
    rows = contents.get("days") or rows_of_result(result)
    month = result["period"]["from"][:7]
    rolling = row["result"] or year
    tasks = to_do(rolling, contents.get("worked_on"))
    given = with_silence(given_verdict(rolling), quiet)
    return render(
        "home.html",
        **common,
        parts=month_sections(site, {**contents, "days": rows}, given),
        given=given,
        lead=_lead(row, contents, given, tasks, now),
        other_days=_other_days(rolling, result),
        works=[w for w in works if str(w["day"])[:7] == month],
        to_do=tasks,
        cold=cold_sentence(site, result, given, rolling),
        advice=advice(site, year),
        month=month_words(result["period"]),
        month_key=month,
        months=_neighbours(month, row),
    )


def _lead(
    row: dict[str, Any], contents: dict[str, Any], given: dict[str, Any], tasks: list[str], now: datetime
) -> list[str]:
    """Summary in a few sentences, most important action first."""
    heard = row["heard"]
    sentences = standing_words(
        row["site"], contents["result"], given, tasks, month_words(contents["result"]["period"])
    )
    if heard is None or row.get("feed") or now - heard <= SILENT_AFTER:
        news = (
            good_news(contents.get("year") or row["result"] or {})
            if given["verdict"] == "in_order" and not tasks
            else ""
        )
        return [*sentences, news] if news else sentences
    silent = silent_words(heard, row["site"].site.timezone)
    return [silent, *sentences] if tasks else [silent]


def _other_days(rolling: dict[str, Any], shown: dict[str, Any]) -> str:
    """Days of the verdict, if the page shows an earlier month."""
    if shown["period"]["to"] == rolling["period"]["to"]:
        return ""
    return words.days_between(rolling["period"]["from"], rolling["period"]["to"])


def _neighbours(month: str, row: dict[str, Any]) -> dict[str, str]:
    """The previous and next month, if there are readings."""
    here = date.fromisoformat(f"{month}-01")
    before = date(here.year - (here.month == 1), (here.month - 2) % 12 + 1, 1)
    after = date(here.year + (here.month == 12), here.month % 12 + 1, 1)
    known = {m["month"] for m in ((row["result"] or {}).get("performance") or {}).get("by_month", [])}
    return {
        name: f"{when:%Y-%m}"
        for name, when in (("before", before), ("after", after))
        if f"{when:%Y-%m}" in known
    }
