"""Run the migrations on the given connection."""

from __future__ import annotations

from alembic import context

from fieldfare.api.state.schema import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
context.run_migrations()
