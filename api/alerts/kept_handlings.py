"""Read all decisions without SQLAlchemy's ORM, which loads too slowly for lists on the command line."""

from __future__ import annotations

from sqlalchemy import Integer, String, column, select, table

from fieldfare.api.alerts.decisions import HandlingRow
from fieldfare.api.state.database import Database
from fieldfare.api.state.moments import UtcTime

_HANDLINGS = table(
    "handlings",
    column("site", String),
    column("code", String),
    column("state", String),
    column("severity", String),
    column("who", String),
    column("ends", UtcTime),
    column("reason", String),
    column("decided_by", String),
    column("decided", UtcTime),
    column("work", Integer),
)
_PEOPLE = table("people", column("email", String), column("name", String))


def all_handlings(database: Database) -> dict[str, dict[str, HandlingRow]]:
    """Site -> finding code -> decision, including expired ones."""
    out: dict[str, dict[str, HandlingRow]] = {}
    with database.reading() as db:
        for row in db.execute(select(_HANDLINGS)):
            out.setdefault(row.site, {})[row.code] = HandlingRow(*row)
    return out


def people_names(database: Database) -> dict[str, str]:
    """E-mail -> name of every account."""
    with database.reading() as db:
        return {row.email: row.name for row in db.execute(select(_PEOPLE))}
