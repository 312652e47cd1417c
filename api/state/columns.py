"""Column types that behave the same on SQLite and PostgreSQL."""

from __future__ import annotations

from sqlalchemy import JSON
from sqlalchemy.dialects.postgresql import JSONB

from fieldfare.api.state.moments import UtcTime

__all__ = ["Json", "UtcTime"]

Json = JSON().with_variant(JSONB(), "postgresql")
