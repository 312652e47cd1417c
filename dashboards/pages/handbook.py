"""The handbook: how each finding and figure is worked out."""

from __future__ import annotations

from typing import Any

from fieldfare.dashboards.handbook.charts import CHARTS
from fieldfare.dashboards.handbook.figures import FIGURES
from fieldfare.dashboards.handbook.keys import FINDING_GROUPS, NOTICES, OTHER_LIMITS, title_of
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text.words import small_first


def handbook_page(visitor: dict[str, Any]) -> str:
    """Page of all entries by group."""
    groups = {
        **{f"Findings: {small_first(name)}": tuple(group) for name, group in FINDING_GROUPS.items()},
        "Findings: watch and verdict": tuple(NOTICES),
        "Figures": tuple(FIGURES),
        "Plots": tuple(key for key in CHARTS if key not in FIGURES),
        "Further limits": tuple(OTHER_LIMITS),
    }
    shown = {name: [(key, title_of(key)) for key in keys] for name, keys in groups.items()}
    return render("handbook.html", title="Handbook", here="handbook", visitor=visitor, groups=shown)


def handbook_entry_page(key: str, visitor: dict[str, Any]) -> str:
    """Page of one entry. Raises KeyError for an unknown key."""
    from fieldfare.dashboards.handbook.entries import entry  # imports all rules

    made = entry(key)
    related = [(other, title_of(other)) for other in made.related]
    return render(
        "handbook_entry.html", title=made.title, here="handbook", visitor=visitor, e=made, related=related
    )
