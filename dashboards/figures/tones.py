"""Colours of figures, with sufficient contrast on light and dark backgrounds."""

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
    """Tone of areas below other marks."""
    value = RGB[tone].lstrip("#")
    r, g, b = (int(value[i : i + 2], 16) for i in (0, 2, 4))
    return f"rgba({r},{g},{b},0.22)"
