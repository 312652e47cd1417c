"""Texts of a suspected defect, for its paper and its page."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.cautions import MAINS_WORK, refrigerant_caution
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.figures.index import chart
from fieldfare.dashboards.pages.drawn import draw
from fieldfare.dashboards.rows.days import Row
from fieldfare.dashboards.text import words

STATES = {
    "named": "possible",
    "not_named": "no sign of it",
    "found": "not ruled out",
    "not_found": "no sign of it",
    "open": "not known",
}
KINDS = {
    "cause": "Causes that the check tells apart",
    "finding": "Other faults that look alike",
    "meter": "Meters and data",
    "source": "Other heat sources and units",
    "days": "Days left out of the judgement",
}
_BECAUSE = {
    "not_named": "the check can tell this cause apart and the readings do not point to it",
    "not_found": "its own check ran over the same days and found nothing",
}
_SHARES = frozenset({"share", "short_run_share", "share_of_heat"})
MOST_EVENTS = 24
_EVENT_WORDS = {
    "run": "run",
    "defrost": "defrost",
    "reheat": "cylinder charge",
    "rest": "rest",
    "fault": "fault",
}


def defect_shown(site: Site, contents: dict[str, Any], rows: list[Row]) -> dict[str, Any]:
    """Contents of a case for its paper and page. contents : of api.records.defect_pack.Case"""
    defect, result = contents["defect"], contents["result"]
    finding = defect["finding"]
    figures = {row["name"]: row for row in defect["figures"]}
    name = words.figure_for(finding["code"])
    drawn = draw(chart(name, site, result, None, rows)) if name else None
    return {
        "title": f"Suspected defect: {words.small_first(words.finding_title(finding['code']))}",
        "finding": finding,
        "evidence": defect["evidence"],
        "groups": [
            _group(title, [a for a in defect["alternatives"] if a["kind"] == kind], figures)
            for kind, title in KINDS.items()
        ],
        "figures": [_figure(row) for row in defect["figures"] if row["value"] is not None],
        "chart": drawn if drawn is not None and not drawn.chart.is_empty else None,
        "points": defect.get("points"),
        "recipe": _recipe(defect["recipe"]) if "recipe" in defect else None,
        "counts": {words.plain(kind): n for kind, n in defect["events"].items() if n},
        "recent": [_event(e) for e in _about(defect.get("recent") or [], finding)],
        "cautions": list(dict.fromkeys(c for c in (finding["caution"], *_always(site)) if c)),
    }


def _always(site: Site) -> tuple[str, ...]:
    """Cautions on who may open what, independent of the finding."""
    caution = refrigerant_caution(site)
    return (caution,) if MAINS_WORK in caution else (caution, MAINS_WORK)


def _group(title: str, found: list[dict[str, Any]], figures: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """Rows of checks with a result, and titles of checks without any sign."""
    quiet = [a for a in found if a["state"] in _BECAUSE and not a["figures"] and not a["because"]]
    rows = [_row(a, figures) for a in found if a not in quiet]
    because = _BECAUSE[quiet[0]["state"]] if quiet else ""
    return {
        "title": title,
        "rows": rows,
        "quiet": [words.small_first(_title(a)) for a in quiet],
        "because": because,
    }


def _title(alternative: dict[str, Any]) -> str:
    kind, code = alternative["kind"], alternative["code"]
    if kind in ("days", "source"):
        return words.plain(code)
    return words.finding_title(code) if kind in ("finding", "meter") else words.plain(words.cause_words(code))


def _row(alternative: dict[str, Any], figures: dict[str, dict[str, Any]]) -> dict[str, str]:
    state, weight = alternative["state"], alternative["weight"]
    state_text = STATES[state] if weight is None else f"{STATES[state]}, {words.share(weight)}"
    because = alternative["because"] or _BECAUSE.get(state, "")
    shown = "; ".join(_figure(figures[name])["text"] for name in alternative["figures"])
    if alternative["kind"] == "days":
        state_text = "left out"
    because = words.reason(because) if state == "open" else words.named(because)
    because = "; ".join(text for text in (because.rstrip("."), alternative["source"]) if text)
    return {"what": _title(alternative), "state": state_text, "because": because, "shown": shown}


def _figure(row: dict[str, Any]) -> dict[str, str]:
    unit = "" if row["unit"] == "-" else row["unit"]
    if row["name"].rpartition(".")[2] in _SHARES:
        value = words.share(row["value"])
    elif row["low"] is not None:
        value = words.interval(row, unit)
    else:
        value = words.measure(row["value"], unit)
    return {"label": row["label"], "value": value, "text": f"{row['label']}: {value}"}


def _recipe(recipe: dict[str, Any]) -> dict[str, str]:
    unit = "" if recipe["unit"] == "-" else recipe["unit"]
    gives, own = (words.measure(recipe[name], unit, 3) for name in ("gives", "own"))
    return {"title": recipe["title"], "file": recipe["file"], "gives": gives, "own": own}


def _about(events: list[dict[str, Any]], finding: dict[str, Any]) -> list[dict[str, Any]]:
    """Faults first, then the newest events; without repeats, by start."""
    faults = [e for e in events if e["kind"] == "fault" or e.get("fault_codes")][-MOST_EVENTS // 2 :]
    rest = [e for e in events if e["kind"] in ("run", "defrost", "reheat")]
    chosen = [*faults, *[e for e in rest if e not in faults][-(MOST_EVENTS - len(faults)) :]]
    return sorted(chosen, key=lambda e: e["start_utc"])


def _event(event: dict[str, Any]) -> dict[str, str]:
    codes = event.get("fault_codes") or ""
    return {
        "kind": _EVENT_WORDS[event["kind"]] + (", not seen whole" if event.get("cut") else ""),
        "start": f"{words.day(event['start_local'])}, {event['start_local'][11:16]}",
        "minutes": words.number(event.get("minutes"), 0),
        "heat": words.number(event.get("heat_kwh"), 2),
        "electricity": words.number(event.get("electricity_kwh"), 2),
        "outdoor": words.number(event.get("outdoor_c"), 1),
        "codes": codes if isinstance(codes, str) else ", ".join(codes),
    }
