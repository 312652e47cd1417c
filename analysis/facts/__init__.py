"""Facts tables: one row per local day, run, defrost and reheat; the input of all figures and findings."""

from __future__ import annotations

from fieldfare.analysis.facts.tables import METHOD_VERSION, Facts

__all__ = ["METHOD_VERSION", "Facts"]
