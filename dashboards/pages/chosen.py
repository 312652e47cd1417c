"""Pages about several homes: bulk decisions and a printable report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from fieldfare.dashboards.fleet.choice import Entry, asked_of, fitting
from fieldfare.dashboards.fleet.entries import worst_first
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.handling import form_values

MOST_HOMES = 200
"""Homes on one page: with their findings they stay below the thousand fields that a form may have."""


def chosen_entries(
    rows: Iterable[dict[str, Any]], sites: Iterable[str], query: Mapping[str, str], now: datetime
) -> list[Entry]:
    """The named homes, worst first; default: all that match the list's search and filters."""
    entries, named = worst_first(rows, now), frozenset(sites)
    return [e for e in entries if e["id"] in named] if named else fitting(entries, asked_of(query))


def chosen_page(
    entries: list[Entry],
    people: Mapping[str, str],
    visitor: dict[str, Any],
    now: datetime,
    *,
    done: Iterable[str] = (),
    problems: Iterable[str] = (),
    ticked: Iterable[str] | None = None,
    values: Mapping[str, str] | None = None,
) -> str:
    """Page of several homes' findings, to decide about many at once.

    people : e-mail -> name of those who can take over findings. done, problems : what became of each, in
    words.
    ticked : home/code of the findings that are ticked; None for those that nobody deals with
    """
    given = None if ticked is None else frozenset(ticked)
    homes = []
    for e in entries[:MOST_HOMES]:
        found = [f for f in e["open"] if f["severity"] != "note"]
        homes.append(
            e
            | {
                "findings": [
                    f
                    | {
                        "key": f"{e['id']}/{f['code']}",
                        "ticked": _is_ticked(e, f, given),
                        "held": e["handled"].get(f["code"], ""),
                    }
                    for f in found
                ]
            }
        )
    return render(
        "chosen.html",
        title="Chosen homes",
        here="fleet",
        visitor=visitor,
        homes=homes,
        people=people,
        done=list(done),
        problems=list(problems),
        total=len(entries),
        values=form_values(now.date(), values),
    )


def _is_ticked(entry: Entry, finding: Mapping[str, Any], given: frozenset[str] | None) -> bool:
    if given is not None:
        return f"{entry['id']}/{finding['code']}" in given
    return finding["code"] not in entry["handled"]


def homes_report(
    entries: list[Entry], visitor: dict[str, Any], now: datetime, firm: Mapping[str, str]
) -> str:
    """Printable report of homes: verdict, findings, next steps, assignees. firm : its name and contact"""
    return render(
        "homes_report.html",
        title="Report",
        here="fleet",
        visitor=visitor,
        homes=entries,
        firm=firm,
        day=words.day(now.date()),
    )
