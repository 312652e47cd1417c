"""Texts in CSV exports: none is read as a formula by a spreadsheet, and each comes back as it was.

A text that begins with a sign that starts a formula, or with an apostrophe, gets an apostrophe in front, and
so does an empty one, which could not be told from no text otherwise. Source: OWASP, "CSV Injection" (=, +, -,
@, tab, carriage return).
"""

from __future__ import annotations

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
MARK = "'"


def harmless(text: str) -> str:
    """A text as a CSV cell."""
    return MARK + text if not text or text.startswith(_STARTS) else text


def original(cell: str) -> str:
    """The text of a cell that `harmless` wrote."""
    rest = cell[1:]
    return rest if cell.startswith(MARK) and (not rest or rest.startswith(_STARTS)) else cell
