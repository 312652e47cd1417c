"""What-if questions about a site, answered from its last year."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.last_year import last_year
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord

QUESTIONS = ("rooms_warmer_k", "lower_curve_k", "hot_water_c", "hot_water_hour", "mend", "band")


def what_if(service: Service, record: SiteRecord, questions: dict[str, Any]) -> dict[str, Any]:
    """Answer questions about a site, each independently.

    questions : question -> its value, of QUESTIONS. Raises InputError, NotAssessed, NoReadings
    """
    from fieldfare.analysis.reports.what_if import answer

    if not questions:
        raise InputError(f"ask at least one of {', '.join(QUESTIONS)}")
    site, facts, result = last_year(service, record)
    return {
        "site": record.site.id,
        "period": result["period"],
        "answers": [answer(site, facts, result, question, value) for question, value in questions.items()],
    }
