"""What-if questions about a site, answered from its own last year."""

from __future__ import annotations

from typing import Any

from analysis.errors import InputError
from api.plants import Plant
from api.service import Service

QUESTIONS = ("lower_curve_k", "hot_water_c", "hot_water_hour", "mend", "band")


def what_if(service: Service, plant: Plant, asked: dict[str, Any]) -> dict[str, Any]:
    """Answer one question or several, each by itself.

    asked : question -> its value, of QUESTIONS. Raises InputError, NotAssessed, NoReadings
    """
    from analysis.whatif import answer

    if not asked:
        raise InputError(f"ask at least one of {', '.join(QUESTIONS)}")
    first, last = service.results.rolling(plant, 365)
    result = service.results.result(plant, first, last)
    facts = service.keeper.kept(plant.site.id, first, last)
    site = service.keeper.equipped(plant.site)
    return {
        "site": plant.site.id,
        "period": result["period"],
        "answers": [answer(site, facts, result, question, value) for question, value in asked.items()],
    }
