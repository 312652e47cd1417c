"""Pages of advised settings, and of the cold-snap outlook."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.reports.cold_snap import FORM
from fieldfare.dashboards.advice.cold_snap import cold_snap_rows, forecast_sentence
from fieldfare.dashboards.advice.diary import household_line
from fieldfare.dashboards.advice.present_advice import present_advice
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def advice_page(
    row: dict[str, Any],
    document: dict[str, Any] | None,
    problem: str,
    visitor: dict[str, Any],
    step: dict[str, Any] | None = None,
) -> str:
    """Page of recommended settings, each with its saving, effect on rooms, and when to stop.

    document : of analysis.advice.plan; None with a problem. step : the tuning diary's,
        where it is the household's
    """
    home = visitor["role"] == "householder"
    return render(
        "advice.html",
        title=f"What to set, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        home=home,
        own_step=household_line(step),
        problem=words.reason(problem),
        shown=present_advice(document) if document is not None else None,
        site_link=f"/sites/{row['id']}{'/home' if home else ''}",
    )


def cold_snap_page(
    document: dict[str, Any] | None,
    problem: str,
    visitor: dict[str, Any],
    *,
    source: str = "",
    failed: str = "",
) -> str:
    """Page with a form for a forecast, and each home's outlook.

    document : of api.core.cold_snap, of a file that was sent or of the forecast by address, which has
    `source` too; None where there is none. source : who makes the forecast by address, empty where none is
    set up. failed : why its last fetch failed
    """
    return render(
        "cold_snap.html",
        title="Cold snap",
        here="winter",
        visitor=visitor,
        problem=problem,
        form=FORM,
        source=source,
        failed=failed,
        forecast=forecast_sentence(document) if document is not None and document.get("source") else "",
        rows=cold_snap_rows(document) if document is not None else None,
        coldest=words.number(document["coldest_c"], 1) if document is not None else "",
    )
