"""The visit list: which homes, why, how long, what to bring, by area and in driving order.

The page, the command and the API show the same list.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from fieldfare.analysis.plant.contact import Contact
from fieldfare.analysis.visits.route import (
    Group,
    Place,
    Position,
    by_area,
)
from fieldfare.analysis.visits.times import visit_minutes
from fieldfare.dashboards.fleet.entries import worst_first
from fieldfare.dashboards.text import words

KINDS = (
    ("drive", "Urgent homes and those that need work this week, the rest before winter."),
    ("setting", "A setting is enough: from here, or by the householder with help."),
    ("call", "Ask first; a visit may not be needed."),
)
"""What a home may need, and what that means."""
NO_PLACE = "Place not known"


def visit_list(
    rows: Iterable[dict[str, Any]],
    now: datetime,
    start: Position | None = None,
    jobs: Mapping[str, float] | None = None,
) -> list[dict[str, Any]]:
    """Homes by needed action, then area, then stop.

    rows : as of the fleet's list, with `contact`, `position` and `booked` (the next visit in words, or None)
        where known
    start : where drives begin and end. jobs : code -> median minutes of the firm's own jobs
    Returns a dict a kind: kind, title, meaning, areas; each area has name, km (None without positions),
    stops. Only visits are grouped by area; the other kinds have one area without a name, worst first.
    """
    entries = worst_first(rows, now)
    out = []
    for kind, meaning in KINDS:
        stops = [_stop(e, kind, jobs) for e in entries if e["visit"] == kind]
        if stops:
            areas = (
                _areas(stops, start)
                if kind == "drive"
                else [{"name": "", "km": None, "n": len(stops), "stops": stops}]
            )
            out.append({"kind": kind, "title": words.visit_words(kind), "meaning": meaning, "areas": areas})
    return out


def to_take_along(listed: Iterable[dict[str, Any]]) -> list[tuple[str, list[str]]]:
    """Things to bring on the visits of a list, each with its homes."""
    drives = (kind for kind in listed if kind["kind"] == "drive")
    return load_of(stop for kind in drives for area in kind["areas"] for stop in area["stops"])


def load_of(stops: Iterable[Mapping[str, Any]]) -> list[tuple[str, list[str]]]:
    """Things to bring to some stops, each with the names of its homes."""
    load: dict[str, list[str]] = {}
    for stop in stops:
        for thing in stop["bring"]:
            load.setdefault(thing, []).append(stop["name"])
    return sorted(load.items())


def why_go(entry: Mapping[str, Any], kind: str = "drive") -> list[dict[str, Any]]:
    """Findings to deal with at once: on a visit, all open ones above a note that are not muted or
    assigned."""
    return [
        f | {"dealt": entry["handled"].get(f["code"], "")}
        for f in entry["open"]
        if f["severity"] != "note"
        and f["code"] not in entry["aside"]
        and (kind == "drive" or f.get("visit") == kind)
    ]


def contact_words(contact: Contact | None, position: Position | None) -> dict[str, str]:
    """A contact for pages and papers; unknown parts are empty.

    tel, geo : link addresses (RFC 3966, RFC 5870)
    """
    fields = {"name": "", "phone": "", "tel": "", "address": "", "area": "", "access": "", "geo": ""}
    if contact is not None:
        fields |= {
            "name": contact.name or "",
            "phone": contact.phone or "",
            "address": contact.address or "",
            "area": contact.area or "",
            "access": contact.access_notes or "",
            "tel": f"tel:{contact.dialled}" if contact.dialled else "",
        }
    if position is not None:
        fields["geo"] = f"geo:{position[0]:.6f},{position[1]:.6f}"
    return fields


def _stop(entry: dict[str, Any], kind: str, jobs: Mapping[str, float] | None) -> dict[str, Any]:
    todo, row = why_go(entry, kind), entry["row"]
    return {
        "id": entry["id"],
        "name": entry["name"],
        "verdict": entry["verdict"],
        "word": entry["word"],
        "price": entry["price"],
        "findings": todo,
        "bring": list(dict.fromkeys(thing for f in todo for thing in f.get("bring", []))),
        "cautions": list(dict.fromkeys(f["caution"] for f in todo if f["caution"])),
        "minutes": visit_minutes([f["code"] for f in todo], jobs),
        "contact": contact_words(row.get("contact"), row.get("position")),
        "position": row.get("position"),
        "booked": row.get("booked"),
        "km": None,
        "number": None,
    }


def _areas(stops: list[dict[str, Any]], start: Position | None) -> list[dict[str, Any]]:
    """Stops by area, in the order of each area's first home."""
    known = {s["id"]: s for s in stops}
    places = [Place(s["id"], s["name"], s["position"], s["contact"]["area"]) for s in stops]
    out, number = [], 0
    for group in by_area(places, start):
        in_order = []
        for place, km in zip(group.stops, group.legs_km, strict=True):
            number += 1
            in_order.append(known[place.id] | {"number": number, "km": km})
        out.append(
            {"name": group.name or NO_PLACE, "km": _length(group), "n": len(in_order), "stops": in_order}
        )
    return out


def _length(group: Group) -> float | None:
    return group.length_km if any(leg is not None for leg in group.legs_km) else None
