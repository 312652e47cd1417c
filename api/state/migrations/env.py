"""Run the migrations on the given connection."""

from __future__ import annotations

from alembic import context

from fieldfare.api.state import check_tables, people_tables, visit_tables, work_tables
from fieldfare.api.state.tables import Base

__all__ = ["check_tables", "people_tables", "visit_tables", "work_tables"]

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=Base.metadata, render_as_batch=True)
context.run_migrations()
