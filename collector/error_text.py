"""Text of a library's exception for a message of one line."""

from __future__ import annotations

_LONGEST = 200  # characters; libraries quote whole headers


def first_line(error: Exception) -> str:
    """The exception's first line, shortened; its type where it has no text."""
    return (str(error).strip() or type(error).__name__).splitlines()[0][:_LONGEST]
