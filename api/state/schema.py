"""Every table of the state database, and a new database at the newest migration."""

from __future__ import annotations

from sqlalchemy import Column, Connection, MetaData, PrimaryKeyConstraint, String, Table

from fieldfare.api.state import check_tables, people_tables, visit_tables, work_tables
from fieldfare.api.state.site_tables import METADATA

__all__ = ["METADATA", "check_tables", "people_tables", "visit_tables", "work_tables"]

# As alembic itself lays it out.
_VERSION = Table(
    "alembic_version",
    MetaData(),
    Column("version_num", String(32), nullable=False),
    PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
)


def create_tables(connection: Connection, version: str) -> None:
    """Make all tables in an empty database, as the migrations up to `version` (the newest) would."""
    METADATA.create_all(connection)
    _VERSION.create(connection)
    connection.execute(_VERSION.insert().values(version_num=version))
