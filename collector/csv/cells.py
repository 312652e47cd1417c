"""Escape CSV text cells so that spreadsheets don't run them as formulas, and unescape them on reading.

A text that starts with a formula sign or an apostrophe gets an apostrophe in front. So does an empty text, to
tell it from a missing one. Source: OWASP, "CSV Injection" (=, +, -, @, tab, carriage return).
"""

from __future__ import annotations

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
MARK = "'"


def harmless(text: str) -> str:
    """Escape a text for a CSV cell."""
    return MARK + text if not text or text.startswith(_STARTS) else text


def original(cell: str) -> str:
    """Undo `harmless`: return the text of a cell."""
    rest = cell[1:]
    return rest if cell.startswith(MARK) and (not rest or rest.startswith(_STARTS)) else cell
