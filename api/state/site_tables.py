"""Tables of sites and of values calculated from their readings.

Plain tables without mapped classes: every command reads them, and SQLAlchemy's ORM takes longer to load than
such a command takes to run.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Date, ForeignKey, LargeBinary, MetaData, String, Table, Text

from fieldfare.api.state.moments import UtcTime

METADATA = MetaData()
"""All tables of the state database; `fieldfare.api.state.tables.Base` shares it."""


def _site_key() -> Column[str]:
    return Column("site", String(40), ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True)


SITES = Table(
    "sites",
    METADATA,
    Column("id", String(40), primary_key=True),
    Column("file", Text, nullable=False),
    Column("added", UtcTime, nullable=False),
    Column("updated", UtcTime, nullable=False),
)
"""Site files as text."""

FACT_DAYS = Table(
    "fact_days",
    METADATA,
    _site_key(),
    Column("day", Date, primary_key=True),
    Column("fingerprint", String(32), nullable=False),
)
"""Local days with stored facts, and the fingerprint of their inputs."""

FACT_CHUNKS = Table(
    "fact_chunks",
    METADATA,
    _site_key(),
    Column("kind", String(16), primary_key=True),
    Column("month", String(7), primary_key=True),
    Column("payload", LargeBinary, nullable=False),
)
"""One facts table of one site and month, packed by `fact_tables`."""

KEPT_RESULTS = Table(
    "kept_results",
    METADATA,
    _site_key(),
    Column("first", Date, primary_key=True),
    Column("last", Date, primary_key=True),
    Column("fingerprint", String(32), nullable=False),
    Column("made", UtcTime, nullable=False),
    Column("rolling", Boolean, nullable=False),
    Column("payload", LargeBinary, nullable=False),
)
"""Results of a period, valid while the fingerprint holds. `rolling` marks those of the last year, as the
nightly work
makes them: the newest stands for the site in the fleet."""
