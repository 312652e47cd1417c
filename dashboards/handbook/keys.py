"""Keys of the handbook's entries, by group. Light to import, as templates check whether an entry exists."""

from __future__ import annotations

from fieldfare.dashboards.handbook.charts import CHARTS
from fieldfare.dashboards.handbook.data_findings import BESIDE_RULES, DATA
from fieldfare.dashboards.handbook.figures import FIGURES
from fieldfare.dashboards.handbook.heat_findings import HEAT
from fieldfare.dashboards.handbook.operation_findings import OPERATION
from fieldfare.dashboards.handbook.texts import HandbookText
from fieldfare.dashboards.handbook.water_findings import WATER

FINDING_GROUPS: dict[str, dict[str, HandbookText]] = {
    "Heat and efficiency": HEAT,
    "How the unit runs": OPERATION,
    "Hot water and circuit": WATER,
    "Data": DATA,
}
FINDINGS: dict[str, HandbookText] = {
    code: text for group in FINDING_GROUPS.values() for code, text in group.items()
}
NOTICES: dict[str, HandbookText] = BESIDE_RULES
"""Codes that watch and verdict give without a rule over the facts."""
OTHER_LIMITS = {
    "limits": "Limits of facts and verdict",
    "limits_answers": "Limits of answers to questions",
    "limits_advice": "Limits of advice, tuning and commissioning",
}
"""Entries of the limits that no finding names, and their titles."""
KEYS = frozenset({*FINDINGS, *NOTICES, *FIGURES, *CHARTS, *OTHER_LIMITS})


def title_of(key: str) -> str:
    """An entry's title. Raises KeyError for an unknown key."""
    if key in FINDINGS or key in NOTICES:
        from fieldfare.dashboards.text.labels import TITLES

        return TITLES[key]
    if key in OTHER_LIMITS:
        return OTHER_LIMITS[key]
    return (FIGURES if key in FIGURES else CHARTS)[key].title
