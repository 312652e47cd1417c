"""Sign-off of a check: a maintenance log entry whose key replaces the finding code."""

from __future__ import annotations

import re
from collections.abc import Iterable

from sqlalchemy import select

from fieldfare.analysis.errors import InputError
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import Person
from fieldfare.api.state.work_tables import Work
from fieldfare.dashboards.text.words import sentence

_WINTER = "winter_check_"
_WORDS = {"winter": "Winter check", "service": "Annual service", "commissioning": "Commissioning"}


def key_of(kind: str, period: str) -> str:
    """Key of a check's sign-off, used in place of a finding code."""
    return f"{kind}_check_{period}"


def is_sign_off(finding: str | None) -> bool:
    return bool(finding and re.fullmatch(r"(winter|service)_check_\d{4}|commissioning_check_first", finding))


def signed_words(kind: str, period: str, what: str, still_open: Iterable[str]) -> str:
    """Text of the log entry: a line, and one per open point. Raises InputError if it does not say what was
    checked."""
    if not what.strip():
        raise InputError("describe what was checked, for the maintenance log")
    named = _WORDS[kind] if period == "first" else f"{_WORDS[kind]} {period}"
    lines = [f"{named} signed: {what.strip()}"]
    points = [f"– {sentence(point)}" for point in still_open]
    return "\n".join([*lines, "Still open:", *points] if points else lines)


def sign_offs(database: Database, site: str | None = None) -> dict[tuple[str, str], dict[str, str]]:
    """(site, season) -> who, day and text of the last winter check's sign-off. site : None for every site"""
    chosen = select(Work, Person.name).outerjoin(Person, Person.email == Work.who)
    chosen = chosen.where(Work.finding.startswith(_WINTER, autoescape=True)).order_by(Work.id)
    if site is not None:
        chosen = chosen.where(Work.site == site)
    with database.read() as session:
        return {
            (work.site, work.finding[len(_WINTER) :]): {
                "who": name or work.who,
                "day": work.day.isoformat(),
                "what": work.what,
            }
            for work, name in session.execute(chosen)
            if work.finding and is_sign_off(work.finding)
        }
