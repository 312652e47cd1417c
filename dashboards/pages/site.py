"""Page of one site, for remote diagnosis: design and measurement, findings with their plots, current
state."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import orjson
from markupsafe import Markup

from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.facts.unfinished import gap_minutes
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.plant.zone_names import zone_name
from fieldfare.analysis.reports.verdict import given_verdict, is_standing, verdict_now
from fieldfare.dashboards.figures.before_after import (
    before_after_chart,
    effect_sentence,
    water_flow_sentence,
)
from fieldfare.dashboards.figures.bridge import bridge, bridge_table, unsure_parts
from fieldfare.dashboards.figures.expectations.index import OF_FINDING
from fieldfare.dashboards.figures.index import NAMES, chart
from fieldfare.dashboards.figures.plot import plotly_figure
from fieldfare.dashboards.figures.svg import svg
from fieldfare.dashboards.figures.trace import trace_charts, trace_document, uses_document
from fieldfare.dashboards.pages.drawn import Drawn, draw
from fieldfare.dashboards.pages.figures import days_query
from fieldfare.dashboards.pages.jobs import NO_PROBLEMS, job_values
from fieldfare.dashboards.rows.days import Row, day_rows
from fieldfare.dashboards.rows.design_vs_measured import mean_outdoor, two_sides
from fieldfare.dashboards.rows.electricity import electricity_rows
from fieldfare.dashboards.rows.events import (
    DAY,
    document,
    event_of_finding,
    kinds_of,
    marked,
    step_from,
    view_of,
)
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.handling import cards, form_values
from fieldfare.dashboards.text.live import OLD_MIN, age_text, live_summary
from fieldfare.dashboards.text.units import in_chart

FIGURES = ("trace", *NAMES)
_WEATHER = ("heat", "curve", "efficiency", "months")
_CALENDARS = ("runs", "defrosts", "reheats")
_MOST_NOTICES = 60
_BARE = {"parts": "", "minutes": None, "changed": None, "changed_by": None, "signed": False}
"""A job without further details."""
STEPPED = ("run", "defrost", "reheat")
"""Events with buttons and keys of their own."""
MOSTLY_READ = 0.95
"""Share of a point's minutes; points read less, or odd in some way, are listed first and never folded."""
LONG_GAP_MIN = 120
"""Gaps from here on are listed one by one; shorter ones are in the table's sums."""


def figure_json(name: str, site: Site, result: dict[str, Any], facts: Facts) -> bytes:
    """A figure as plotly's JSON, or the trace's document. Raises KeyError for an unknown name."""
    if name == "trace":
        return orjson.dumps(trace_document(site, result, day_rows(facts, site.zone)))
    return orjson.dumps(
        plotly_figure(in_chart(chart(name, site, result, facts))), option=orjson.OPT_SERIALIZE_NUMPY
    )


def uses_json(facts: Facts, start: int, end: int) -> bytes:
    """Operating states in a window [ms since 1970 UTC] for the trace's lowest panel."""
    return orjson.dumps(uses_document(facts, start, end))


def event_json(facts: Facts, zone: ZoneInfo, kind: str, at: int, step: int) -> bytes:
    """The next or previous event of a kind [ms since 1970 UTC]; null at either end."""
    return orjson.dumps(document(step_from(facts, zone, kind, at, step), zone))


def site_page(
    row: dict[str, Any],
    facts: Facts | None,
    works: list[dict[str, Any]],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
    drawn: dict[str, Any] | None = None,
) -> str:
    """Page of one site.

    row : id, name, site, heard, result, reason, and `latest` point -> {time [ms], value} where at hand.

    In row also: `period_problem` and `period_typed` where the asked days can't be shown, `handled` finding
        code -> decision, `people` e-mail -> name of those who can take over a finding, and `visits` booked,
        in words.
    facts : Facts of the result's days, None where there is no result. works : newest first, with their
        effects. drawn : of `drawn_of`, where it was kept
    """
    site, result = row["site"], row["result"]
    context = _common(row, works, visitor, query, now)
    if result is None or facts is None:
        return render(
            "site_empty.html", **context, given=given_verdict(None, row.get("reason") or "no readings yet")
        )
    if drawn is None:
        drawn = drawn_of(site, result, facts, query)
    findings = [f | {"job": _job_for(f["code"], context["works"])} for f in drawn["findings"]]
    rolling = row.get("rolling") or result
    return render(
        "site.html",
        **context,
        **_standing(row, rolling, result, now),
        **{name: part for name, part in drawn.items() if name != "findings"},
        currency=result["cost"]["currency"],
        open_findings=cards((f for f in findings if not f["until"]), row.get("handled") or {}),
        past=[f for f in findings if f["until"]],
        **_query_context(facts, site, query),
    )


def _common(
    row: dict[str, Any],
    works: list[dict[str, Any]],
    visitor: dict[str, Any],
    query: dict[str, str],
    now: datetime,
) -> dict[str, Any]:
    """Context of the page that does not depend on a result."""
    site = row["site"]
    summary = live_summary(site, row.get("latest") or {})
    return {
        "title": row["name"],
        "here": "site",
        "visitor": visitor,
        "wide": True,
        "row": row,
        "site": site,
        "result": row["result"],
        "now": now,
        "works": [_work(w, site) for w in works],
        "live": _live(site, row.get("latest") or {}),
        "live_text": summary,
        "live_age": age_text(summary, now),
        "old_s": OLD_MIN * 60,
        "query": query,
        "period_problem": row.get("period_problem") or "",
        "period_typed": row.get("period_typed") or {},
        "codes": sorted({f["code"] for f in (row["result"] or {}).get("findings", [])}),
        "no_problems": NO_PROBLEMS,
        "job": job_values(now.astimezone(site.zone).date().isoformat()),
        "people": row.get("people") or {},
        "visits": row.get("visits") or [],
        "contact": row.get("contact") or {},
        "deal": form_values(now.astimezone(site.zone).date()),
    }


def drawn_of(site: Site, result: dict[str, Any], facts: Facts, query: Mapping[str, str]) -> dict[str, Any]:
    """The parts of a page that depend on the result alone, which are most of its work; the same for all
    readers with the same days (`days_query`) and units."""
    query_text = days_query(query)
    rows = day_rows(facts, site.zone)
    sides = two_sides(site, result, rows)
    made = {n: draw(chart(n, site, result, facts, rows), query_text) for n in NAMES}
    findings = [
        f
        | {"figure": made.get(words.figure_for(f["code"]) or ""), "expectation": OF_FINDING.get(f["code"])}
        | _place_in_trace(facts, site, f, query)
        for f in result["findings"]
    ]
    return {
        "asked": query_text,
        "findings": findings,
        "sides": sides,
        "key_figures": [s for s in sides if s.is_key and s.measured != "–"],
        "mean_outdoor": mean_outdoor(rows),
        "electricity": electricity_rows(result),
        "bridge": bridge(result),
        "unsure_parts": unsure_parts(result),
        "bridge_rows": bridge_table(result, result["cost"]["currency"]),
        "health": _sorted_health(_health(site, result, facts)),
        "notices": _notices(site, facts),
        "days": words.span(len(rows)),
        "trace_days": _trace_days(rows),
        **_sections(made, findings),
    }


def _trace_days(rows: list[Row]) -> list[Markup]:
    """The trace without scripts: temperatures, powers, and pressure if it is measured."""
    warm, power, *_, pressure = trace_charts(rows)
    return [svg(c, height=205.0) for c in (warm, power, *([] if pressure.is_empty else [pressure]))]


def _sections(made: dict[str, Drawn], findings: list[dict[str, Any]]) -> dict[str, Any]:
    """Placement of each plot: at its finding, else in its section, or listed as missing."""
    shown = {f["figure"].chart.key for f in findings if f["figure"] is not None and f["severity"] != "note"}
    further = [n for n in NAMES if n not in (*_WEATHER, *_CALENDARS) and n not in shown]
    return {
        "weather": [made[n] for n in _WEATHER if n not in shown],
        "calendars": [made[n] for n in _CALENDARS if n not in shown],
        "above": {
            part: [made[n].chart.title for n in names if n in shown]
            for part, names in (("weather", _WEATHER), ("events", _CALENDARS))
        },
        "further": [made[n] for n in further if not made[n].chart.is_empty],
        "missing": [made[n] for n in NAMES if made[n].chart.is_empty],
    }


def _standing(
    row: dict[str, Any], rolling: dict[str, Any], shown: dict[str, Any], now: datetime
) -> dict[str, Any]:
    """The verdict, its days, and whether the page shows other days. shown : the result of the page's days"""
    days = {k: rolling["period"][k] for k in ("from", "to")}
    other = days != {k: shown["period"][k] for k in ("from", "to")}
    found = [f for f in rolling["findings"] if is_standing(f)]
    given = verdict_now(given_verdict(rolling), row["heard"], now, row.get("feed"))
    codes = {f["code"] for f in found}
    return {
        "given": given,
        "standing_codes": [f["code"] for f in rolling["findings"] if not f["until"]],
        "other_days": other,
        "standing_days": words.days_between(days["from"], days["to"]),
        "further_reasons": [b["says"] for b in given["because"] if b["severity"] and b["code"] not in codes],
        "elsewhere": [words.small_first(words.finding_title(f["code"])) for f in found] if other else [],
    }


def _point_words(point: Point) -> str:
    """Name of a point, unique also among meters of one quantity."""
    kind = {"register": " (running total)", "interval": " (per interval)"}.get(point.form, "")
    return f"{words.quantity_words(point.quantity)}{kind}"


def _point_names(site: Site) -> dict[str, str]:
    """Id -> unique name of every point: with its zone, else a number."""
    names: dict[str, str] = {}
    for p in site.point:
        zone = f", {zone_name(p.zone)}" if p.zone and p.zone != "house" else ""
        name = f"{_point_words(p)}{zone}"
        same = sum(n == name or n.startswith(f"{name} no. ") for n in names.values())
        names[p.id] = f"{name} no. {same + 1}" if same else name
    return names


def _live(site: Site, latest: dict[str, Any]) -> list[dict[str, Any]]:
    """All points with names; states as code -> word."""
    out = []
    for p in site.point:
        states = {
            f"{float(code):g}": name.replace("_", " ")
            for name, code in (QUANTITIES[p.quantity].states or {}).items()
        }
        last = latest.get(p.id) or {}
        value = last.get("value")
        text = (
            states.get(f"{value:g}", "–")
            if states and isinstance(value, int | float)
            else words.number(value)
        )
        out.append(
            {
                "id": p.id,
                "name": _point_words(p),
                "is_total": p.form in ("register", "interval"),
                "zone": zone_name(p.zone) if p.zone and p.zone != "house" else "",
                "unit": words.unit(p.unit),
                "states": orjson.dumps(states).decode() if states else "",
                "value": text,
                "time": last.get("time"),
            }
        )
    return out


def _work(work: dict[str, Any], site: Site) -> dict[str, Any]:
    """A maintenance log entry with its effect as text and, if known, as a plot."""
    effect, reason = work.get("effect"), work.get("reason") or (work.get("effect") or {}).get("reason") or ""
    currency = site.cost.currency if site.cost is not None else None
    has_effect = bool(effect and effect.get("compared"))
    plot = draw(before_after_chart(effect, reason, work["day"], currency)) if has_effect else None
    known = {f["code"] for f in work.get("standing") or []}
    standing = [*(work.get("standing") or []), *({"code": c} for c in work["findings"] if c not in known)]
    text = effect_sentence(effect, currency) if effect and has_effect else words.reason(reason)
    if effect and (flow := water_flow_sentence(effect)):
        text = f"{words.sentence(text)} {flow}" if text else flow
    return {**_BARE, **work, "effect": text, "plot": plot, "standing": standing}


def _job_for(code: str, works: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The newest job that names a finding and has a plot of its effect."""
    return next((w for w in works if code in w["findings"] and w["plot"] is not None), None)


def _place_in_trace(
    facts: Facts, site: Site, finding: dict[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    """Place of a finding in the trace: the event, its URL, and its data for the script."""
    event = event_of_finding(facts, site.zone, finding)
    period = {k: query[k] for k in ("from", "to") if query.get(k)}
    return {
        "event": event,
        "event_at": event.address(site.zone, **period),
        "is_event": event.kind != DAY,
        "event_of": orjson.dumps(document(event, site.zone)).decode(),
    }


def _query_context(facts: Facts, site: Site, query: dict[str, str]) -> dict[str, Any]:
    """Window and event requested for the trace, and the available kinds of events."""
    event = marked(facts, site.zone, query.get("mark", ""))
    view = query.get("view", "")
    shown = view if view_of(view) is not None else event.view(site.zone) if event is not None else ""
    mark = orjson.dumps(document(event, site.zone)).decode() if event is not None else ""
    return {
        "view": shown,
        "marked_as": mark,
        "marked": event,
        "kinds": [k for k in kinds_of(facts) if k in STEPPED],
    }


def _health(site: Site, result: dict[str, Any], facts: Facts) -> list[dict[str, Any]]:
    """Coverage, sampling interval and oddities of each point."""
    shares = result["coverage"]["points"]
    notices, lengths, names = facts.notices, gap_minutes(facts, site.zone), _point_names(site)
    out = []
    for p in site.point:
        own = notices["point"] == p.id
        odd = notices.where(own)
        hours = float(lengths[own & (notices["kind"] == "gap")].sum()) / 60.0
        kinds = sorted(set(odd["kind"]) - {"gap"})
        spacing = f"spacing.{p.quantity}"
        every = facts.days.median(spacing) if facts.days.knows(spacing) else None
        out.append(
            {
                "id": p.id,
                "name": names[p.id],
                "share": shares.get(p.id),
                "every": every,
                "gap_hours": hours,
                "odd": [f"{words.kind_words(k)} ({int((odd['kind'] == k).sum())})" for k in kinds],
            }
        )
    return sorted(out, key=lambda r: r["share"] if r["share"] is not None else -1.0)


def _sorted_health(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Points with problems, points without, and the lowest coverage of the latter."""
    doubtful = [r for r in rows if r["odd"] or r["share"] is None or r["share"] < MOSTLY_READ]
    sound = [r for r in rows if r not in doubtful]
    return {
        "doubtful": doubtful,
        "sound": sound,
        "least": min((r["share"] for r in sound), default=None),
    }


def _notices(site: Site, facts: Facts) -> list[dict[str, str]]:
    """The longest gaps and all other oddities, newest first."""
    table = facts.notices
    if not len(table):
        return []
    lengths = gap_minutes(facts, site.zone)
    worth = np.flatnonzero((table["kind"] != "gap") | (lengths >= LONG_GAP_MIN))[-_MOST_NOTICES:][::-1]
    chosen = table.where(worth)
    names = _point_names(site)
    columns = (*(chosen[c].tolist() for c in ("day", "point", "kind")), lengths[worth].tolist())
    return [
        {
            "day": words.day(day.date()),
            "point": names.get(point, point),
            "words": (
                words.kind_words(kind) + (f" for {words.number(amount / 60.0, 1)} h" if kind == "gap" else "")
            ),
        }
        for day, point, kind, amount in zip(*columns, strict=True)
    ]
