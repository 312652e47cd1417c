"""Sites, facts and results."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def _site() -> sa.Column[str]:
    return sa.Column("site", sa.String(40), sa.ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True)


def upgrade() -> None:
    op.create_table(
        "sites",
        sa.Column("id", sa.String(40), primary_key=True),
        sa.Column("file", sa.Text, nullable=False),
        sa.Column("added", sa.DateTime, nullable=False),
        sa.Column("updated", sa.DateTime, nullable=False),
    )
    op.create_table(
        "fact_days",
        _site(),
        sa.Column("day", sa.Date, primary_key=True),
        sa.Column("fingerprint", sa.String(32), nullable=False),
    )
    op.create_table(
        "fact_chunks",
        _site(),
        sa.Column("kind", sa.String(16), primary_key=True),
        sa.Column("month", sa.String(7), primary_key=True),
        sa.Column("payload", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "kept_results",
        _site(),
        sa.Column("first", sa.Date, primary_key=True),
        sa.Column("last", sa.Date, primary_key=True),
        sa.Column("fingerprint", sa.String(32), nullable=False),
        sa.Column("made", sa.DateTime, nullable=False),
        sa.Column("rolling", sa.Boolean, nullable=False),
        sa.Column("payload", sa.LargeBinary, nullable=False),
    )


def downgrade() -> None:
    for table in ("kept_results", "fact_chunks", "fact_days", "sites"):
        op.drop_table(table)
