"""The lists of checks by hand and eye: fieldfare's own, and what a home's sheet shows of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import (
    DESIGNED,
    Found,
    Item,
    Kind,
    as_read,
    items_for,
    parse_items,
)
from fieldfare.dashboards.text import words

BUILT_IN = Path(__file__).with_name("built_in.toml")
STATES = {"done": "Done", "not_done": "Not done", "not_applicable": "Not applicable"}
NOTHING: Mapping[str, Any] = {}


@cache
def built_in() -> tuple[Item, ...]:
    return parse_items(BUILT_IN.read_text(encoding="utf-8"), BUILT_IN.name)


def blank_check(site: Site, kind: Kind = "winter", extra: Iterable[Item] = ()) -> dict[str, Any]:
    """A sheet with nothing entered yet: `items` with their cautions and fields, as `filled` has them."""
    items = items_for((*built_in(), *extra), kind, site)
    return {"kind": kind, "items": [filled(item, site, NOTHING) for item in items], "signed": None}


def shown_check(site: Site, contents: Mapping[str, Any]) -> dict[str, Any]:
    """The check that a paper's contents hold, or a blank one of the winter list."""
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
        "found": [_found(f, site, values.get(f.id, "")) for f in item.found],
        "photos": list(entry.get("photos") or ()),
        "last": entry.get("last"),
    }


def _found(found: Found, site: Site, text: str) -> dict[str, Any]:
    designed = DESIGNED[found.designed](site) if found.designed else None
    return {
        "id": found.id,
        "name": found.name,
        "unit": found.unit,
        "choices": list(found.choices),
        "text": found.text,
        "value": text,
        "shown": as_read(text),
        "low": found.low,
        "high": found.high,
        "trouble": found.trouble(text),
        "designed": words.measure(designed, found.unit) if designed is not None else "",
    }
