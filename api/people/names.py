"""Names that people give to what is theirs."""

from __future__ import annotations


def clean_name(name: str) -> str:
    """Without control characters, and with single spaces between its words."""
    return " ".join("".join(c for c in name if c.isprintable()).split())
