"""Pages of a new home: site file, columns, readings, progress."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Protocol

from fieldfare.analysis.errors import Problem
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.dashboards.site_form.fields import beside_fields, is_new_field, new_groups
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


class Proposal(Protocol):
    """Parts of a proposed column mapping that the page needs."""

    @property
    def time_format(self) -> str: ...


def first_run_page(rows: Iterable[dict[str, Any]], visitor: dict[str, Any], has_homes: bool = False) -> str:
    """Start page of a new home, with homes that have no readings yet. has_homes : other than these `rows`"""
    homes = [({"id": row["id"], "name": row["name"]}, row["result"] is None) for row in rows]
    waiting = [home for home, waits in homes if waits]
    homes_here = bool(homes) or has_homes
    return render(
        "first_run.html",
        title="New home",
        here="first",
        visitor=visitor,
        is_empty=not homes_here,
        waiting=waiting,
    )


def site_form_page(
    values: Mapping[str, str], problems: Iterable[Problem], text: str, visitor: dict[str, Any]
) -> str:
    """Page of the site file as a form, with problems beside their fields; those of an uploaded file above it,
    with key and line.

    text : an uploaded file's text, empty for the form's own
    """
    follows = not text and not values.get("site.id") and not values.get("site.name")
    listed = [p for p in problems if not (follows and p.key == "site.id")]  # derived from the name
    beside, above = beside_fields(listed, values, lambda key: is_new_field(key) and not text)
    return render(
        "site_form.html",
        title="New home",
        here="first",
        visitor=visitor,
        groups=new_groups(values),
        values=dict(values),
        beside=beside,
        above=above,
        n=len(listed),
        text=text,
    )


def readings_page(
    row: dict[str, Any],
    proposal: Proposal | None,
    problems: Iterable[Problem],
    visitor: dict[str, Any],
    time_formats: Iterable[tuple[str, str]] = (),
    imports: Sequence[Any] = (),
) -> str:
    """Page to upload a CSV export; with a proposal, to confirm its columns.

    proposal : the proposed meaning of each column, from the collector. time_formats :
        pattern and label of each. imports : the newest imported files, newest first
    """
    choices = [(q.name, words.quantity_words(q.name), q.forms) for q in QUANTITIES.values()]
    site = row["site"]
    forms = list(time_formats)
    if proposal is not None and proposal.time_format not in dict(forms):
        forms.append((proposal.time_format, proposal.time_format))
    return render(
        "readings.html",
        title=f"Readings, {row['name']}",
        here="site" if site.point else "first",
        visitor=visitor,
        row=row,
        proposal=proposal,
        problems=list(problems),
        choices=choices,
        states={q.name: list(q.states) for q in QUANTITIES.values() if q.states},
        time_formats=forms,
        has_points=bool(site.point),
        imports=imports,
        zone=site.timezone,
        points=[(p.id, words.quantity_words(p.quantity), p.csv_column, p.unit) for p in site.point],
    )


def progress_page(row: dict[str, Any], job: dict[str, Any] | None, visitor: dict[str, Any]) -> str:
    """Progress page, which reloads until the job is done.

    job : kind, state (waiting, running, done, failed), done, of, message
    """
    return render(
        "progress.html", title=f"Progress, {row['name']}", here="first", visitor=visitor, row=row, job=job
    )
