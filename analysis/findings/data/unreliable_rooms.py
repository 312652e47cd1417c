"""Zones whose room sensor can't be trusted while the other rooms' sensors can."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts

_PREFIX = "room_temperature:"
_COLUMNS = (
    "room.",
    "room_day.",
    "deficit.",
    "wanted.",
    "minutes_asked.",
    "target.",
    "minutes_below.",
    "minutes_far_below.",
)


def room_of(zone: str) -> str:
    """Name of one zone's room sensor among the unreliable quantities."""
    return _PREFIX + zone


def zones_of(unreliable: Collection[str]) -> frozenset[str]:
    """The zones among unreliable quantities."""
    return frozenset(q.removeprefix(_PREFIX) for q in unreliable if q.startswith(_PREFIX))


def without_rooms(facts: Facts, unreliable: Collection[str]) -> Facts:
    """The facts without the columns of zones whose sensor is unreliable."""
    zones = zones_of(unreliable)
    if not zones:
        return facts
    gone = {prefix + zone for prefix in _COLUMNS for zone in zones}
    days = facts.days
    return replace(facts, days=Table({name: days[name] for name in days.names if name not in gone}))
