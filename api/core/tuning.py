"""The tuning diary of a site's heating season."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.people.access import Actor
from fieldfare.api.records.maintenance_log import MaintenanceLog, WorkRow
from fieldfare.api.records.tuning_log import steps_of

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site
    from fieldfare.analysis.tuning.steps import TuningStep


def tuning(service: Service, record: SiteRecord, *, household: bool = False) -> dict[str, Any]:
    """Tuning steps of this season, their effects, and the next setting to change; JSON-ready.

    household : only steps that the household may take. Raises NoReadings, NotAssessed
    """
    from fieldfare.analysis.tuning.diary import diary, season_start
    from fieldfare.api.core.last_year import last_year

    start, last = service.results.span(record)
    first = season_start(record.site, last, start)
    result = service.results.result(record, first, last)
    facts = service.facts_cache.stored(record.site.id, first, last)
    steps, others = steps_of(service.database, record.site.id, first, last)
    year = last_year(service, record)
    since = date.fromisoformat(year.result["period"]["from"])
    handed_over = record.site.handed_over
    # Before a change or the hand-over, other settings applied.
    is_one = not steps_of(service.database, record.site.id, since, first - timedelta(1))[0] and not (
        handed_over is not None and since < handed_over
    )
    basis = (year.facts, year.result) if is_one else None
    document = diary(year.site, facts, result, steps, others, year=basis, household=household)
    return {"site": record.site.id, "name": record.site.name, **document}


def log_step(works: MaintenanceLog, site: Site, step: TuningStep, who: Actor) -> WorkRow:
    """Log a step as a job, worded for the household too. Raises InputError."""
    from fieldfare.analysis.tuning.steps import curve_ends
    from fieldfare.dashboards.advice.diary import change_words

    outdoor = curve_ends(site) if step.code == "heating_curve" else None
    return works.tune(site.id, step, change_words(step.code, step.before, step.after, outdoor), who)
