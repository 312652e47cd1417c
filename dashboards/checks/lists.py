"""Built-in lists of manual checks, and the items of a home's sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import (
    DESIGNED,
    Found,
    Item,
    Kind,
    as_read,
    items_for,
    number_of,
    parse_items,
)
from fieldfare.analysis.reports.hand_values import rules_of
from fieldfare.dashboards.text import words

BUILT_IN = Path(__file__).with_name("built_in.toml")
STATES = {"done": "Done", "not_done": "Not done", "not_applicable": "Not applicable"}
NOTHING: Mapping[str, Any] = {}


@cache
def built_in() -> tuple[Item, ...]:
    return parse_items(BUILT_IN.read_text(encoding="utf-8"), BUILT_IN.name)


def blank_check(site: Site, kind: Kind = "winter", extra: Iterable[Item] = ()) -> dict[str, Any]:
    """An empty sheet: `items` with cautions and fields, in the form of `filled`."""
    items = items_for((*built_in(), *extra), kind, site)
    return {"kind": kind, "items": [filled(item, site, NOTHING) for item in items], "signed": None}


def shown_check(site: Site, contents: Mapping[str, Any]) -> dict[str, Any]:
    """The check in a paper's contents, or an empty winter sheet."""
    return contents.get("check") or blank_check(site)


def filled(item: Item, site: Site, entry: Mapping[str, Any]) -> dict[str, Any]:
    """An item of a sheet with its entry.

    entry : state, note, values (id -> text), who, at, photos, last; all may be missing
    """
    values = entry.get("values") or {}
    return {
        "id": item.id,
        "title": item.title,
        "caution": item.cautions(site),
        "state": entry.get("state") or "",
        "note": entry.get("note") or "",
        "who": entry.get("who"),
        "at": entry.get("at"),
        "found": _all_found(item, site, values),
        "photos": list(entry.get("photos") or ()),
        "last": entry.get("last"),
    }


def _all_found(item: Item, site: Site, values: Mapping[str, str]) -> list[dict[str, Any]]:
    """Measured values of an item, with their ranges for the browser, and violated ranges."""
    rules = rules_of(item.id, site)
    numbers = {f.id: number_of(values.get(f.id, ""), f.unit) for f in item.found}
    out = []
    for found in item.found:
        mine = [r for r in rules if r.found == found.id]
        broken = [r for r in mine if r.is_broken(numbers)]
        out.append(
            _found(found, site, values.get(found.id, ""))
            | {
                "rules": [asdict(r) for r in mine],
                "concern": "; ".join(r.says for r in broken),
                "care": " ".join(dict.fromkeys(r.caution for r in broken)),
            }
        )
    return out


def entered_by(item: Mapping[str, Any], signed: Mapping[str, Any] | None, zone: str) -> str:
    """Author and time of an item's last entry, unless it is the signer on the day of signing.

    zone : the home's time zone. signed : `who` and `day`; None before the signature
    """
    if not item.get("who") or not item.get("at"):
        return ""
    at = datetime.fromisoformat(item["at"])
    day = at.astimezone(ZoneInfo(zone)).date().isoformat()
    if signed is not None and (item["who"], day) == (signed["who"], signed["day"]):
        return ""
    return f"{item['who']}, {words.moment(at, zone)}"


def lacks_reason(item: Mapping[str, Any]) -> bool:
    """Whether an item was not done and its note gives no reason."""
    return item["state"] == "not_done" and not item["note"].strip()


def is_answered(item: Mapping[str, Any]) -> bool:
    """Whether an item is complete for signing."""
    return bool(item["state"]) and not lacks_reason(item)


def open_points(items: Iterable[Mapping[str, Any]]) -> list[dict[str, str]]:
    """Open points of a sheet: items not done, and values outside their range.

    Returns dicts: `key`, item, or item and found value; `item`; `says`; `care`, the caution or "".
    """
    out = []
    for item in items:
        if item["state"] == "not_done":
            why = f": {' '.join(item['note'].split())}" if item["note"].strip() else ""
            says = f"{item['title']}: not done{why}"
            out.append({"key": item["id"], "item": item["id"], "says": says, "care": ""})
        if item["state"] == "not_applicable":
            continue
        for f in item["found"]:
            if f.get("concern"):
                value = f"{f['shown']} {f['unit']}".strip()
                says = f"{item['title']}, {f['name']} {value}: {f['concern']}"
                key = f"{item['id']}.{f['id']}"
                out.append({"key": key, "item": item["id"], "says": says, "care": f["care"]})
    return out


def _found(found: Found, site: Site, text: str) -> dict[str, Any]:
    designed = DESIGNED[found.designed](site) if found.designed else None
    return {
        "id": found.id,
        "name": found.name,
        "unit": found.unit,
        "choices": list(found.choices),
        "text": found.text,
        "value": text,
        "shown": as_read(text, found.unit),
        "low": found.low,
        "high": found.high,
        "trouble": found.trouble(text),
        "designed": _as_written(designed, found.unit) if designed is not None else "",
    }


def _as_written(value: float, unit: str) -> str:
    """A designed value with the decimals it was given with, two at most."""
    text = f"{value:.2f}".rstrip("0").partition(".")[2]
    return words.measure(value, unit, len(text))
