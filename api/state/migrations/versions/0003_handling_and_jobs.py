"""Decisions about findings; parts, time and several findings per job."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0003"
down_revision = "0002"

JSON = sa.JSON().with_variant(JSONB(), "postgresql")


def upgrade() -> None:
    op.add_column("works", sa.Column("findings", JSON, nullable=True))
    op.add_column("works", sa.Column("parts", sa.Text(), nullable=False, server_default=""))
    op.add_column("works", sa.Column("minutes", sa.Integer(), nullable=True))
    op.add_column("works", sa.Column("changed", sa.DateTime(), nullable=True))
    op.add_column("works", sa.Column("changed_by", sa.String(length=254), nullable=True))
    op.create_table(
        "handlings",
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("code", sa.String(length=48), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("severity", sa.String(length=8), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("ends", sa.DateTime(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("decided_by", sa.String(length=254), nullable=False),
        sa.Column("decided", sa.DateTime(), nullable=False),
        sa.Column("work", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["work"], ["works.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site", "code"),
    )


def downgrade() -> None:
    op.drop_table("handlings")
    for column in ("changed_by", "changed", "minutes", "parts", "findings"):
        op.drop_column("works", column)
