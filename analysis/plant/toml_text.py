"""Texts as TOML writes them."""

from __future__ import annotations


def quoted(text: str) -> str:
    """A text as TOML writes it."""
    safe = "".join(c if c.isprintable() else " " for c in text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{safe}"'
