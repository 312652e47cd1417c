"""Pages of manual checks: the sheet, the homes to keep offline, the firm's own items."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from fieldfare.analysis.reports.checklists import TITLES, Item
from fieldfare.analysis.reports.fleet import open_findings
from fieldfare.analysis.reports.verdict import given_verdict, verdict_now
from fieldfare.dashboards.checks.lists import STATES, is_answered, open_points
from fieldfare.dashboards.checks.sheet import sheet
from fieldfare.dashboards.pages.winter import points_left
from fieldfare.dashboards.rows.days import rows_of_result
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def check_page(
    row: dict[str, Any],
    check: dict[str, Any],
    contents: dict[str, Any] | None,
    visitor: dict[str, Any],
    now: datetime,
    title: str,
    lists_trouble: Sequence[str] = (),
    *,
    problems: Sequence[tuple[str, str]] = (),
    what: str = "",
    ticked: Mapping[str, bool] | None = None,
    conflicts: Mapping[tuple[str, str], tuple[str, Any]] | None = None,
    photo_problems: Sequence[str] = (),
) -> str:
    """Page of a sheet, with results from the readings beside it.

    check : of `check_contents`. contents : with `result` and, where known, `days`; None without readings
    problems : why it could not be signed with the text `what`: the place on the page, and a line
    ticked : `left` and `by_hand`, the open points that were agreed to
    conflicts : (item, field) -> what was typed, and the Outcome with what is there.
    """
    site = row["site"]
    result = contents["result"] if contents else None
    steps = [f for f in open_findings(result) if f["severity"] != "note"] if result else []
    name = title if check["period"] == "first" else f"{title} {check['period']}"
    entries = [{**item, "by": _by(item, site.timezone)} for item in check["items"]]
    return render(
        "check.html",
        title=f"{name}, {row['name']}",
        name=name,
        here="field",
        visitor=visitor,
        row=row,
        check=check,
        sheet=_measured(row, contents, now),
        steps=steps,
        states=STATES,
        zone=site.timezone,
        lists_trouble=list(lists_trouble),
        problems=list(problems),
        what=what,
        ticked=ticked or {},
        open_points=open_points(check["items"]),
        signed_now=check.get("signature") is not None,
        clashes=[_clash(check, at, mine, there) for at, (mine, there) in (conflicts or {}).items()],
        photo_problems=list(photo_problems),
        answered=sum(map(is_answered, check["items"])),
        result=result,
        entries=entries,
        left=points_left(site, contents) if check["kind"] == "winter" and contents else [],
        typed={f"{item}.{field}": mine for (item, field), (mine, _) in (conflicts or {}).items()},
        address=f"/sites/{row['id']}/checks/{check['kind']}/{check['period']}",
    )


def _measured(row: dict[str, Any], contents: dict[str, Any] | None, now: datetime) -> dict[str, Any] | None:
    """Results from the readings for the sheet, with the verdict; None without a result."""
    if not contents or not contents["result"]:
        return None
    result = contents["result"]
    made = sheet(row["site"], result, contents.get("days") or rows_of_result(result))
    return {**made, "given": verdict_now(given_verdict(result), row["heard"], now, row.get("feed"))}


def _by(item: Mapping[str, Any], zone: str) -> str:
    """Author and time of the last entry."""
    if not item["who"]:
        return ""
    return (
        f"{item['who']}, {words.moment(datetime.fromisoformat(item['at']), zone)}"
        if item["at"]
        else item["who"]
    )


def _clash(check: dict[str, Any], at: tuple[str, str], mine: str, there: Any) -> dict[str, Any]:
    item = next((i for i in check["items"] if i["id"] == at[0]), None)
    found = next((f for f in item["found"] if at[1] == f"found.{f['id']}"), None) if item else None
    return {
        "item": at[0],
        "title": item["title"] if item else at[0],
        "field": found["name"] if found else at[1].capitalize(),
        "mine": STATES.get(mine, mine) if at[1] == "state" else mine,
        "told": there.told,
        "why": there.why,
        "who": there.who,
        "theirs": STATES.get(there.value, there.value) if at[1] == "state" else there.value,
        "at": there.at,
    }


def field_page(
    homes: Sequence[Mapping[str, Any]], total: int, query: str, kind: str, visitor: dict[str, Any]
) -> str:
    """Page of homes whose sheets a device can keep offline.

    homes : id, name, period, signed, done (items answered); visit : of `present_visit`, if one is booked
        soon; is_mine : whether the visit is the reader's
    """
    return render(
        "field.html",
        title="On site",
        here="field",
        visitor=visitor,
        homes=homes,
        total=total,
        query=query,
        kind=kind,
        kinds=TITLES,
    )


def lists_page(
    text: str,
    example: str,
    items: Iterable[Item],
    problems: Sequence[str],
    said: str,
    visitor: dict[str, Any],
) -> str:
    """Page of the firm's own check items. problems : of the text, one line each. said : confirmation of
    saving"""
    return render(
        "check_lists.html",
        title="Your own checks",
        here="field",
        visitor=visitor,
        text=text,
        example=example,
        items=list(items),
        problems=list(problems),
        said=said,
        kinds=TITLES,
    )
