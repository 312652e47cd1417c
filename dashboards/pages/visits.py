"""Pages of visits: list, calendar, printable day, and booking form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from fieldfare.analysis.visits.route import Position
from fieldfare.dashboards.figures.round_plot import round_plot, stands_apart
from fieldfare.dashboards.fleet.visits import load_of, to_take_along, visit_list
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words

UNASSIGNED = "unassigned"
FORM_FIELDS = ("day", "at", "minutes", "person", "note")


def visits_page(
    rows: Iterable[dict[str, Any]],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    *,
    start: Position | None = None,
    jobs: Mapping[str, float] | None = None,
    booked: Sequence[dict[str, Any]] = (),
) -> str:
    """Page of the visit list: homes by needed action, visits by area in driving order, things to bring.

    rows, start, jobs : as of `visit_list`. booked : the next visits, of `present_visit`
    """
    listed = visit_list(rows, now, start, jobs)
    drive: list[dict[str, Any]] = next((kind["areas"] for kind in listed if kind["kind"] == "drive"), [])
    whole = stands_apart(drive, start)
    for area in drive:
        area["plot"] = None if whole else round_plot([area], start=None, small=True)
    return render(
        "visits.html",
        title="Visits",
        here="visits",
        visitor=visitor,
        kinds=listed,
        load=to_take_along(listed),
        plot=round_plot(drive, start) if whole else None,
        summary=_summary(listed),
        booked=booked,
        has_start=start is not None,
    )


def _summary(listed: Sequence[dict[str, Any]]) -> str:
    parts = []
    for kind in listed:
        stops = [s for area in kind["areas"] for s in area["stops"]]
        if kind["kind"] == "drive":
            minutes = sum(s["minutes"] for s in stops)
            n = len(kind["areas"])
            parts.append(
                f"{words.count(len(stops), 'home')} {'needs' if len(stops) == 1 else 'need'} a visit, "
                f"about {words.duration(minutes)} "
                f"of work in {words.count(n, 'area')}"
            )
        else:
            what = "a setting" if kind["kind"] == "setting" else "a call"
            parts.append(f"{words.count(len(stops), 'home')} {'needs' if len(stops) == 1 else 'need'} {what}")
    return f"{words.listed(parts)}." if parts else ""


def present_visit(visit: Mapping[str, Any], zone: Any, name: str, today: date) -> dict[str, Any]:
    """A booked visit as text.

    visit : id, site, start [UTC], minutes, who, findings, note, state. zone : of the home. name : of the home
    """
    local = visit["start"].astimezone(zone)
    end = (visit["start"] + timedelta(minutes=visit["minutes"])).astimezone(zone)
    return {
        "id": visit["id"],
        "site": visit["site"],
        "name": name,
        "day": local.date().isoformat(),
        "from": f"{local:%H:%M}",
        "to": f"{end:%H:%M}",
        "minutes": visit["minutes"],
        "who": visit["who"] or UNASSIGNED,
        "is_assigned": bool(visit["who"]),
        "findings": list(visit["findings"]),
        "note": visit["note"],
        "state": visit["state"],
        "person": visit["person"],
        "past": local.date() < today,
        "when": f"{words.weekday(local.date())}, {local:%H:%M}",
    }


def calendar_page(
    days: Sequence[tuple[date, Sequence[dict[str, Any]]]],
    people: Mapping[int, str],
    chosen: int | None,
    visitor: dict[str, Any],
    today: date,
) -> str:
    """Page of a week of visits.

    days : seven days, each with its visits of `present_visit` and a contact. people : number -> name.
    chosen : whose, None for all
    """
    first = days[0][0]
    at = {name: (first + timedelta(days=n)).isoformat() for name, n in (("before", -7), ("after", 7))}
    return render(
        "visit_calendar.html",
        wide=True,
        title="Calendar of visits",
        here="visits",
        visitor=visitor,
        days=days,
        people=people,
        chosen=chosen,
        at=at,
        today=today,
        last=days[-1][0],
        this_week=first <= today <= days[-1][0],
    )


def day_page(
    day: date,
    stops: Sequence[dict[str, Any]],
    who: str,
    visitor: dict[str, Any],
    firm: Mapping[str, Any],
    start: Position | None,
    order: Sequence[str],
    person: int | None,
) -> str:
    """Printable page of a day's visits: time, place, reason, things to bring, cautions.

    stops : by time, as of `visit_list` with `visit`, of `present_visit`. order : names in the order of the
        shortest drive, empty if it is the same
    """
    plot = round_plot([{"stops": stops}], start)
    return render(
        "visit_day.html",
        title=f"Visits on {words.day(day)}",
        here="visits",
        visitor=visitor,
        day=day,
        stops=stops,
        who=who,
        firm=firm,
        plot=plot,
        order=order,
        load=load_of(stops),
        person=person,
        minutes=sum(s["visit"]["minutes"] for s in stops),
    )


def booking_page(
    row: dict[str, Any],
    values: Mapping[str, Any],
    stop: Mapping[str, Any],
    people: Mapping[int, str],
    problems: Mapping[str, str],
    visitor: dict[str, Any],
    visit: dict[str, Any] | None = None,
) -> str:
    """Page of the booking form.

    values : day, at, minutes, person, note as text; findings as codes. stop : the home as of `visit_list`,
        with `codes`, the findings that can be named. problems : field -> what is wrong. visit : of
        `present_visit`, the visit to change
    """
    return render(
        "visit_form.html",
        title=f"{'Change' if visit else 'Book'} a visit, {row['name']}",
        here="visits",
        visitor=visitor,
        row=row,
        values=values,
        stop=stop,
        people=people,
        problems={**dict.fromkeys((*FORM_FIELDS, "clash"), ""), **problems},
        visit=visit,
        said=[p for p in problems.values() if p],
    )
