"""Validate names that people give to tokens and factors."""

from __future__ import annotations


def clean_name(name: str) -> str:
    """Without control characters, and with single spaces between its words."""
    return " ".join("".join(c for c in name if c.isprintable()).split())
