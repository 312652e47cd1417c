"""Manual checks with their entries; photos of checks and jobs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0005"
down_revision = "0004"

JSON = sa.JSON().with_variant(JSONB(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "check_sheets",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("period", sa.String(length=8), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("work", sa.Integer(), nullable=True),
        sa.Column("signed", sa.DateTime(), nullable=True),
        sa.Column("items", JSON, nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["work"], ["works.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("site", "kind", "period"),
    )
    op.create_table(
        "check_changes",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("sheet", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(length=32), nullable=False),
        sa.Column("field", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("typed", sa.DateTime(), nullable=False),
        sa.Column("received", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["sheet"], ["check_sheets.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("seq"),
        sa.UniqueConstraint("id"),
    )
    op.create_index("ix_check_changes_sheet", "check_changes", ["sheet"])
    op.create_table(
        "photos",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("sheet", sa.Integer(), nullable=True),
        sa.Column("item", sa.String(length=32), nullable=False),
        sa.Column("work", sa.Integer(), nullable=True),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("small_digest", sa.String(length=64), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("taken", sa.DateTime(), nullable=False),
        sa.Column("added", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["sheet"], ["check_sheets.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["work"], ["works.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    for column in ("site", "sheet", "work"):
        op.create_index(f"ix_photos_{column}", "photos", [column])


def downgrade() -> None:
    for table in ("photos", "check_changes", "check_sheets"):
        op.drop_table(table)
