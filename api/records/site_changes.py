"""Change the site file of an existing home: validate, preview, then save."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from fieldfare.analysis.errors import Problem, SiteError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.api.core.facts_cache import facts_site_hash, results_site_hash
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import admitted
from fieldfare.dashboards.site_form.edit import KeyChange, changes


@dataclass(frozen=True)
class SiteFileChange:
    """A changed site file before it is saved.

    changes : differences; empty if only comments or their order differ. recalculates : sentences. mark : hash
        of the original file
    """

    text: str
    site: Site
    changes: tuple[KeyChange, ...]
    recalculates: tuple[str, ...]
    mark: str


class ChangedMeanwhile(Exception):
    """Another user saved the file after it was opened."""


def mark_of_file(text: str) -> str:
    """Hash of a file, to detect a change between opening and saving."""
    return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()


def propose(service: Service, site_id: str, text: str) -> SiteFileChange:
    """Validate a changed file and preview its effects. Raises SiteError with every problem."""
    stored = service.sites.file(site_id)
    made = admitted(text)
    if made.id != site_id:
        raise SiteError(
            "site file", [Problem("site.id", f"must stay {site_id!r}; a home keeps its id for good")]
        )
    record = _readable(service, site_id)
    changed = tuple(changes(record, made)) if record is not None else ()
    return SiteFileChange(
        text, made, changed, tuple(_recalculates(service, record, made)), mark_of_file(stored)
    )


def save(service: Service, site_id: str, text: str, mark: str) -> SiteFileChange:
    """Save a changed file. mark : of the original file. Raises SiteError, ChangedMeanwhile."""
    change = propose(service, site_id, text)
    if change.mark != mark:
        raise ChangedMeanwhile
    service.sites.add([(text, change.site)])
    return change


def _readable(service: Service, site_id: str) -> Site | None:
    try:
        return service.sites.get(site_id).site
    except SiteError:
        return None


def _recalculates(service: Service, before: Site | None, after: Site) -> Iterable[str]:
    """What will be recalculated, and when."""
    if before is None:
        yield (
            "The file could not be read until now; everything of this home is calculated again tonight, "
            "or when it is next opened."
        )
        return
    if facts_site_hash(before) != facts_site_hash(after):
        yield (
            f"{_days(service, after.id)} of this home are calculated again from the readings, tonight "
            "or when it is next opened."
        )
    elif results_site_hash(before) != results_site_hash(after):
        yield (
            "Figures and findings are worked out again when the home is next opened, tonight at the latest. "
            "The daily values stay."
        )
    else:
        yield "Nothing is recalculated."
    gone = {p.id for p in before.point} - {p.id for p in after.point}
    if gone:
        yield f"Readings of {', '.join(sorted(gone))} stay in the store, but are no longer used or collected."
    if tuple(before.points_of("outdoor_temperature")) != tuple(after.points_of("outdoor_temperature")):
        borrowers = [p.site.name for p in service.sites.all() if p.site.site.outdoor_from == after.id]
        if borrowers:
            names = ", ".join(borrowers)
            yield f"Homes that take the outdoor temperature from here are calculated again too: {names}."


def _days(service: Service, site_id: str) -> str:
    span = service.store.span(site_id)
    if span is None:
        return "The days"
    n = (span[1] - span[0]) // MS_PER_DAY + 1
    return "The one day" if n == 1 else f"All {n} days"
