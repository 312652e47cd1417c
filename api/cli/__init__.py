"""The command `fieldfare`."""

from __future__ import annotations

from fieldfare.api.cli.entry import main

__all__ = ["main"]
