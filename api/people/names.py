"""Validate names that people give to tokens and factors."""

from __future__ import annotations


def clean_name(name: str) -> str:
    """Remove control characters and repeated spaces."""
    return " ".join("".join(c for c in name if c.isprintable()).split())
