"""Names of heating zones for readers. A site file names a zone by a word of its own, or by its floor."""

from __future__ import annotations

_FLOORS = {"ground": "ground floor", "upper": "upper floor"}


def zone_name(zone: str) -> str:
    """Name of a zone: ground is ground floor; living_room is living room."""
    return _FLOORS.get(zone, zone.replace("_", " "))


def the_zone(zone: str, *, begins: bool = False) -> str:
    """A zone in a sentence: the ground floor; the house; zone living room. begins : it is the first word"""
    name = zone_name(zone)
    text = f"the {name}" if zone in _FLOORS or zone == "house" else f"zone {name}"
    return text[:1].upper() + text[1:] if begins else text
