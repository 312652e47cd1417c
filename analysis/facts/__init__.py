"""The facts tables: what happened, by local day, run, defrost and reheat. Everything else is read off
them."""

from __future__ import annotations

from fieldfare.analysis.facts.tables import METHOD_VERSION, Facts

__all__ = ["METHOD_VERSION", "Facts"]
