"""Page of the fleet: every home, worst first, with verdict, findings and next step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from fieldfare.analysis.reports.verdict import VERDICTS
from fieldfare.dashboards.fleet.choice import (
    PER_PAGE,
    ROWS,
    SHOWS,
    SORTS,
    VERDICT_CHOICES,
    Counts,
    address_of,
    asked_of,
    counts_of,
    did_you_mean,
    fitting,
    list_keys,
    page_of,
    shown,
)
from fieldfare.dashboards.fleet.entries import entry_of, with_why, worst_first
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def fleet_page(
    rows: Iterable[dict[str, Any]],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    views: Iterable[Mapping[str, Any]] | None = None,
) -> str:
    """Page of the given homes; like `fleet_list_page`, which shows one page of a fleet of any size."""
    entries, chosen = worst_first(rows, now), asked_of(query)
    found = fitting(entries, chosen)
    start = page_of(chosen, len(found))[1]
    part = [e["row"] for e in found[start : start + PER_PAGE]]
    others = fitting(entries, {**chosen, "q": ""}) if not found else []
    meant = did_you_mean(chosen, (list_keys(e)["search"] for e in others))
    return fleet_list_page(part, len(found), counts_of(entries), visitor, query, now, views, meant=meant)


MOST_DAMAGE = 5
"""Lines on the page; `fieldfare check` tells all."""


def fleet_list_page(
    rows: Iterable[dict[str, Any]],
    total: int,
    counts: Counts,
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    views: Iterable[Mapping[str, Any]] | None = None,
    wrong_view: tuple[str, str] = ("", ""),
    damage: Sequence[str] = (),
    meant: str = "",
) -> str:
    """One page of the fleet's list.

    rows : those of the asked page in its order, one dict a home with id, name, handed_over, heard, result,
    reason, area.
    total : how many homes fit the choice. counts : of the whole fleet
    views : the reader's kept views with id, name, address; None for a reader who can't keep any
    wrong_view : a name that can't be kept, and why
    damage : what is damaged of what all homes share, a line each
    meant : another search that finds a home, where this one finds none
    """
    chosen = asked_of(query)
    entries = [entry_of(row, now) for row in rows]
    return render(
        "fleet.html",
        damage=list(damage[:MOST_DAMAGE]),
        title="Homes",
        here="fleet",
        visitor=visitor,
        wide=True,
        summary=summary_of(counts),
        query=chosen,
        shows=SHOWS,
        verdicts=VERDICT_CHOICES,
        sorts=SORTS,
        row_kinds=ROWS,
        is_chosen=address_of(chosen) != "/",
        address=address_of(chosen),
        views=None if views is None else list(views),
        wrong_view=wrong_view,
        meant=(meant, address_of(chosen, q=meant)) if meant else None,
        **shown(with_why(entries) if chosen["sort"] == "harm" else entries, total, chosen),
    )


def summary_of(counts: Counts) -> str:
    """The whole fleet in one or two sentences."""
    if not counts.homes:
        return "No home yet."
    verdicts = [words.counted_verdict(n, v) for v in VERDICTS if (n := counts.verdicts.get(v))]
    parts = [*verdicts, *([f"{counts.silent} silent"] if counts.silent else [])]
    homes = words.count(counts.homes, "home")
    text = f"{homes}: {words.listed(parts)}." if parts else f"{homes}."
    if counts.visits:
        text += f" {counts.visits} {'needs' if counts.visits == 1 else 'need'} a visit."
    if counts.money:
        cost = words.listed([words.money(v, c, 0) for c, v in sorted(counts.money.items())])
        text += f" Open findings cost about {cost} a year."
    return text
