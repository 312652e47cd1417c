"""Pages before winter: a site's check sheet, and the firm's list."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet import home_urgency, open_findings
from fieldfare.analysis.reports.output_basis import output_basis
from fieldfare.analysis.reports.verdict import VERDICTS, given_verdict, verdict_now, with_silence
from fieldfare.analysis.reports.winter import Verdict
from fieldfare.dashboards.checks.lists import shown_check
from fieldfare.dashboards.checks.sheet import forecast_words, sheet
from fieldfare.dashboards.figures.index import chart
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.rows.days import rows_of_result
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words

_ORDER: tuple[Verdict, ...] = ("not in order", "attention", "can't tell", "in order", "does not apply")


def points_left(site: Site, contents: dict[str, Any]) -> list[tuple[str, str]]:
    """Key and title of each check that needs work or watching, gravest first."""
    result = contents["result"]
    return _left(sheet(site, result, contents.get("days") or rows_of_result(result)))


def _left(made: dict[str, Any]) -> list[tuple[str, str]]:
    lines = sorted(made["lines"], key=lambda c: _ORDER.index(c.verdict))
    open_lines = [(c.key, c.title) for c in lines if c.verdict in ("not in order", "attention")]
    if made["given"]["verdict"] == "in_order":
        return open_lines
    return open_lines or [(c.key, c.title) for c in lines if c.verdict == "can't tell"]


def winter_page(
    row: dict[str, Any],
    contents: dict[str, Any],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
) -> str:
    """Page of a home's winter check.

    contents : a winter paper's contents.
    """
    site, result = row["site"], contents["result"]
    rows = contents.get("days") or rows_of_result(result)
    made = sheet(site, result, rows)
    given = given_verdict(row.get("rolling") or result)
    made["given"] = verdict_now(given, row["heard"], now, row.get("feed"))
    season = query.get("season") or result["period"]["to"][:4]
    return render(
        "winter.html",
        title=f"Winter check, {row['name']}",
        here="winter",
        visitor=visitor,
        row=row,
        result=result,
        sheet=made,
        forecast_rows=forecast_words(made["forecast"], result["cost"]["currency"], output_basis(result)),
        season=season,
        today=now.astimezone(site.zone).date().isoformat(),
        steps=[f for f in open_findings(result) if f["severity"] != "note" and f["next_step"]],
        figures=[draw(chart(n, site, result, None, rows)) for n in ("heat", "curve")],
        signed=contents.get("signed"),
        check=shown_check(site, contents),
        standing_days=_other_days(row, result),
    )


def _other_days(row: dict[str, Any], result: dict[str, Any]) -> str:
    """Days of the verdict, if the checks are for other days."""
    period = (row.get("rolling") or result)["period"]
    if (period["from"], period["to"]) == (result["period"]["from"], result["period"]["to"]):
        return ""
    return words.days_between(period["from"], period["to"])


def winter_list_page(entries: Iterable[dict[str, Any]], visitor: dict[str, Any]) -> str:
    """Page of every home's verdict, gravest first, with needed actions and expected winter cost.

    entries : of `winter_entry`, each with `signed`, its season's sign-off or None, and where known `quiet`,
        the time since its last reading
    """
    listed = []
    for entry in entries:
        if entry["given"] is not None:
            given = with_silence(entry["given"], entry.get("quiet"))
            entry = entry | {"given": given, "urgency": home_urgency(entry["brief"], given)}
        listed.append(entry)
    judged = [e for e in listed if e["given"] is not None]
    judged.sort(key=lambda e: (e["urgency"], e["name"].lower()))
    counts = [(v, sum(e["given"]["verdict"] == v for e in judged)) for v in VERDICTS]
    return render(
        "winter_list.html",
        title="Before winter",
        here="winter",
        visitor=visitor,
        entries=judged,
        counts=[words.counted_verdict(n, v) for v, n in counts if n],
        unknown=sorted((e for e in listed if e["given"] is None), key=lambda e: e["name"].lower()),
    )
