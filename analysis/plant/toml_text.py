"""Quote texts for TOML."""

from __future__ import annotations


def quoted(text: str) -> str:
    """Quote a text as a TOML string."""
    safe = "".join(c if c.isprintable() else " " for c in text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{safe}"'
