"""Page of one suspected defect: evidence, alternative explanations, download."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.papers.defect import defect_shown
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def defect_page(
    row: dict[str, Any],
    code: str,
    contents: dict[str, Any] | None,
    query: dict[str, str],
    problem: str,
    visitor: dict[str, Any],
) -> str:
    """Page of a suspected defect.

    contents : of api.records.defect_pack.Case, None with a problem. query : the days asked for
    """
    query_days = {name: query[name] for name in ("from", "to") if query.get(name)}
    shown = result = None
    if contents is not None:
        result = contents["result"]
        shown = defect_shown(Site.model_validate(contents["site"]), contents, contents["days"])
        asked_days = {name: result["period"][name] for name in ("from", "to")}
    else:
        asked_days = {"from": "", "to": ""} | query_days
    return render(
        "defect.html",
        title=words.finding_title(code),
        here="site",
        visitor=visitor,
        row=row,
        code=code,
        problem=words.reason(problem),
        shown=shown,
        result=result,
        days=asked_days,
        asked=f"?{urlencode(query_days)}" if query_days else "",
        download=f"/api/v1/sites/{row['id']}/findings/{code}/pack",
    )
