"""The colours of figures, each with enough contrast on light and on dark ground."""

from __future__ import annotations

from fieldfare.dashboards.figures.chart import Tone

RGB: dict[Tone, str] = {
    "heat": "#b4552d",
    "water": "#4c7391",
    "power": "#a87a14",
    "air": "#6d7f86",
    "design": "#857a6d",
    "room": "#5f8a58",
    "alert": "#bf3b4c",
    "faint": "#8d949a",
}
"""Middle tones: at least 3 : 1 against both grounds, as WCAG 2.2 asks of graphics (1.4.11)."""


def faded(tone: Tone) -> str:
    """A tone for areas that other marks lie upon."""
    value = RGB[tone].lstrip("#")
    r, g, b = (int(value[i : i + 2], 16) for i in (0, 2, 4))
    return f"rgba({r},{g},{b},0.22)"
