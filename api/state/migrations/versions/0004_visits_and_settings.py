"""Visits, calendar feeds, personal settings, and the firm."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0004"
down_revision = "0003"

JSON = sa.JSON().with_variant(JSONB(), "postgresql")
TABLES = ("visits", "calendar_feeds", "person_settings", "firm")


def upgrade() -> None:
    op.create_table(
        "visits",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("start", sa.DateTime(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("person", sa.Integer(), nullable=True),
        sa.Column("findings", JSON, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("created_by", sa.String(length=254), nullable=False),
        sa.Column("changed", sa.DateTime(), nullable=False),
        sa.Column("changed_by", sa.String(length=254), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uid"),
    )
    for column in ("site", "start", "person"):
        op.create_index(op.f(f"ix_visits_{column}"), "visits", [column], unique=False)
    op.create_table(
        "calendar_feeds",
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("with_contact", sa.Boolean(), nullable=False),
        sa.Column("made", sa.DateTime(), nullable=False),
        sa.Column("used", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("person"),
        sa.UniqueConstraint("hash"),
    )
    op.create_table(
        "person_settings",
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("at_once", JSON, nullable=False),
        sa.Column("digest", JSON, nullable=False),
        sa.Column("quiet_from", sa.Integer(), nullable=True),
        sa.Column("quiet_to", sa.Integer(), nullable=True),
        sa.Column("units", JSON, nullable=False),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("person"),
    )
    op.create_table(
        "firm",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("latitude", sa.Float(), nullable=True),
        sa.Column("longitude", sa.Float(), nullable=True),
        sa.Column("logo", sa.LargeBinary(), nullable=True),
        sa.Column("logo_kind", sa.String(length=32), nullable=False),
        sa.Column("changed", sa.DateTime(), nullable=False),
        sa.Column("changed_by", sa.String(length=254), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )


def downgrade() -> None:
    for table in TABLES:
        op.drop_table(table)
