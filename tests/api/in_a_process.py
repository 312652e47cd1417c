"""What tests run in processes of their own: each process that is started imports this module alone."""

from __future__ import annotations

from fieldfare.api.state.database import open_database
from fieldfare.api.state.tables import SiteRow


def opened_with(url: str) -> str:
    """Open a state database and count its sites."""
    database = open_database(url)
    with database.read() as session:
        found = session.query(SiteRow).count()
    database.close()
    return f"opened with {found}"
