"""What papers hold of a site file."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.plant.site import Site


def site_on_paper(site: Site) -> dict[str, Any]:
    """A site file for a paper's contents, JSON-ready: without contact, points and settings of the intake."""
    return site.model_dump(mode="json", by_alias=True, exclude={"contact", "point", "csv", "limits"})
