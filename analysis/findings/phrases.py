"""Phrases that several families of findings use."""

from __future__ import annotations

from collections.abc import Iterable

from fieldfare.analysis.plant.site import Point


def named(point: Point) -> str:
    """A point for the reader: its id and the quantity it measures."""
    return f"{point.id} ({point.quantity.replace('_', ' ')})"


def listed(names: Iterable[str], most: int = 3) -> str:
    """Join names in words: `a, b and c`; beyond `most` the rest is a number."""
    given = list(names)
    if len(given) > most:
        return f"{', '.join(given[:most])} and {len(given) - most} more"
    return " and ".join([", ".join(given[:-1]), given[-1]] if len(given) > 1 else given)
