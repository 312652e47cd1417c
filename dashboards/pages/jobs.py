"""Pages to log or correct a job, and to repeat a decision that could not be saved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldfare.dashboards.templating import render

NO_PROBLEMS: Mapping[str, str] = {"day": "", "what": "", "minutes": "", "photo": ""}


def job_values(today: str, **given: Any) -> dict[str, Any]:
    """Values of the job form: day, what, parts, minutes as text, and the codes of its findings."""
    return {"day": today, "what": "", "parts": "", "minutes": "", "findings": (), **given}


def job_page(
    row: dict[str, Any],
    values: Mapping[str, Any],
    codes: Iterable[str],
    problems: Mapping[str, str],
    visitor: dict[str, Any],
    work: int | None = None,
    photos: Iterable[Any] = (),
) -> str:
    """Page of the form to log or correct a job.

    photos : of the job, each with `id`. codes : findings that the job may name. problems : field -> what
    is wrong. work : number of the job to correct
    """
    return render(
        "job.html",
        title=f"{'Correct a job' if work else 'Log a job'}, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        values=values,
        codes=list(codes),
        problems={**NO_PROBLEMS, **problems},
        said=[p for p in problems.values() if p],
        work=work,
        photos=list(photos),
    )


def handle_again_page(
    row: dict[str, Any],
    code: str,
    people: Mapping[str, str],
    values: Mapping[str, str],
    problem: str,
    visitor: dict[str, Any],
) -> str:
    """Page of a finding's forms, as typed, with their problems. people : e-mail -> name"""
    return render(
        "handle_again.html",
        title=row["name"],
        here="site",
        visitor=visitor,
        row=row,
        finding={"code": code},
        people=people,
        values=values,
        problem=problem,
    )
