"""Read all decisions without SQLAlchemy's ORM, which loads too slowly for lists in the command line."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, Integer, String, column, select, table

from fieldfare.api.alerts.decisions import HandlingRow
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


def stored_handlings(db: Connection, sites: Sequence[str]) -> dict[str, dict[str, HandlingRow]]:
    """Site -> finding code -> decision, including expired ones."""
    out: dict[str, dict[str, HandlingRow]] = {}
    for row in db.execute(select(_HANDLINGS).where(_HANDLINGS.c.site.in_(sites))):
        out.setdefault(row.site, {})[row.code] = HandlingRow(*row)
    return out


def people_names(db: Connection) -> dict[str, str]:
    """E-mail -> name of every account."""
    return {row.email: row.name for row in db.execute(select(_PEOPLE))}
