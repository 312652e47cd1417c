"""Every table of the state database, and a new database at the newest migration.

`python -m fieldfare.api.state.schema` regenerates `schema.sql`, from which new SQLite databases are created
without importing the mapped classes. A test compares the file with the tables.
"""

from __future__ import annotations

from sqlalchemy import Column, Connection, MetaData, PrimaryKeyConstraint, String, Table, create_engine, text

from fieldfare.api.state import check_tables, people_tables, visit_tables, work_tables
from fieldfare.api.state.database import SCHEMA
from fieldfare.api.state.site_tables import METADATA

__all__ = ["METADATA", "check_tables", "people_tables", "visit_tables", "work_tables"]

_MADE = text("SELECT sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY type DESC, name")

# As alembic itself lays it out.
_VERSION = Table(
    "alembic_version",
    MetaData(),
    Column("version_num", String(32), nullable=False),
    PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
)


def create_tables(connection: Connection) -> None:
    """Create all tables in an empty database, as the migrations would."""
    METADATA.create_all(connection)
    _VERSION.create(connection)


def sqlite_script() -> str:
    """SQLite's statements that create the tables and indexes."""
    with create_engine("sqlite://").connect() as connection:
        create_tables(connection)
        lines = [
            line.expandtabs(4).rstrip() for sql in connection.scalars(_MADE) for line in f"{sql};".split("\n")
        ]
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    SCHEMA.write_text(sqlite_script(), encoding="utf-8")
