"""Before winter: one site's check to work through and sign, and the firm's as a list of visits."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from analysis.plant.site import Site
from analysis.winter import Verdict
from dashboards import words
from dashboards.checks.sheet import MARKS, WORDS, forecast_words, sheet
from dashboards.day_rows import rows_of_result
from dashboards.figures.index import chart
from dashboards.frame import render
from dashboards.pages.drawn import draw
from dashboards.pages.fleet import open_findings, visit_of

_ORDER: tuple[Verdict, ...] = ("not in order", "attention", "can't tell", "in order")


def points_left(site: Site, contents: dict[str, Any]) -> list[tuple[str, str]]:
    """Key and title of each check that keeps the sheet from being in order, gravest first; none where it is."""
    result = contents["result"]
    return _left(sheet(site, result, contents.get("days") or rows_of_result(result)))


def _left(made: dict[str, Any]) -> list[tuple[str, str]]:
    if made["verdict"] == "in order":
        return []
    lines = sorted(made["lines"], key=lambda c: _ORDER.index(c.verdict))
    told = [(c.key, c.title) for c in lines if c.verdict in ("not in order", "attention")]
    return told or [(c.key, c.title) for c in lines if c.verdict == "can't tell"]


def winter_page(
    row: dict[str, Any],
    contents: dict[str, Any],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    *,
    problems: tuple[str, ...] = (),
    what: str = "",
) -> str:
    """contents : a winter paper's contents. problems : why it could not be signed with the text `what`."""
    site, result = row["site"], contents["result"]
    rows = contents.get("days") or rows_of_result(result)
    made = sheet(site, result, rows)
    season = query.get("season") or result["period"]["to"][:4]
    return render(
        "winter.html", title=f"Winter check, {row['name']}", here="winter", visitor=visitor, row=row, result=result, sheet=made,
        forecast_rows=forecast_words(made["forecast"], result["cost"]["currency"]), season=season, today=now.astimezone(site.zone).date().isoformat(),
        steps=[f for f in open_findings(result) if f["severity"] != "note" and f["next_step"]],
        figures=[draw(chart(n, site, result, None, rows)) for n in ("heat", "curve")], signed=contents.get("signed"), left=_left(made),
        problems=problems, what=what,
    )  # fmt: skip


def winter_list_page(entries: Iterable[dict[str, Any]], visitor: dict[str, Any]) -> str:
    """Every home's verdict, gravest first, with what each asks for and the money the winter may take.

    entries : of `winter_entry`, each with `signed`, its season's sign-off or None
    """
    listed = sorted(entries, key=lambda e: e["name"].lower())
    judged = [e for e in listed if e["verdict"] is not None]
    judged.sort(key=lambda e: _ORDER.index(e["verdict"]))
    counts = [(WORDS[v], sum(e["verdict"] == v for e in judged)) for v in _ORDER]
    return render(
        "winter_list.html", title="Before winter", here="winter", visitor=visitor, entries=judged,
        counts=[f"{n} {word.lower()}" for word, n in counts if n], unknown=[e for e in listed if e["verdict"] is None],
    )  # fmt: skip


def winter_entry(row: dict[str, Any]) -> dict[str, Any]:
    """A home in the list, small enough to be kept of a whole fleet; `verdict` is None where it has no result.

    row : id, name, site, result. Its `season` is the year of the sign-off that belongs to it
    """
    result, site = row["result"], row["site"]
    entry: dict[str, Any] = {"id": row["id"], "name": row["name"], "verdict": None, "season": ""}
    if result is None:
        return entry
    made = sheet(site, result, rows_of_result(result))
    found = open_findings(result)
    forecast = made["forecast"]
    cost = forecast.cost
    return entry | {
        "verdict": made["verdict"], "word": made["verdict_word"], "mark": MARKS[made["verdict"]], "season": result["period"]["to"][:4],
        "lines": [{"title": c.title, "says": c.says} for c in made["lines"] if c.verdict in ("not in order", "attention")],
        "unknown": [c.title for c in made["lines"] if c.verdict == "can't tell"],
        "visit": visit_of(found), "bring": sorted({b for f in found if f["severity"] != "note" for b in f.get("bring", [])}),
        "electricity": words.interval(forecast.electricity_kwh.__dict__, "kWh", 0) if forecast.electricity_kwh else "",
        "cost": words.money(cost.value, result["cost"]["currency"], 0) if cost else "",
    }  # fmt: skip
