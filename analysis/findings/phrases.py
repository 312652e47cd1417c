"""Phrases that several families of findings use."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from fieldfare.analysis.plant.site import Point


def named(point: Point) -> str:
    """A point for the reader: its id and the quantity it measures."""
    return f"{point.id} ({point.quantity.replace('_', ' ')})"


def listed(names: Iterable[str], most: int = 3) -> str:
    """Join names as `a, b and c`; beyond `most`, count the rest."""
    given = list(names)
    if len(given) > most:
        return f"{', '.join(given[:most])} and {len(given) - most} more"
    return " and ".join([", ".join(given[:-1]), given[-1]] if len(given) > 1 else given)


def percent(share: float, decimals: int = 0, *, sign: bool = False) -> str:
    """A share [-] as a percentage: `14 %`; `+14 %` with a sign."""
    return f"{100.0 * share:{'+' if sign else ''}.{decimals}f} %"


def day_text(day: date | str) -> str:
    """A date, or an ISO date, as `1 Jan 2026`."""
    when = date.fromisoformat(day) if isinstance(day, str) else day
    return f"{when.day} {when:%b %Y}"
