"""Second factors, recovery codes, and what a session knows of its sign-in."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def session_columns() -> list[sa.Column[Any]]:
    return [
        sa.Column("address", sa.String(length=64), nullable=False, server_default=""),
        sa.Column("device", sa.String(length=120), nullable=False, server_default=""),
        sa.Column("way", sa.String(length=16), nullable=False, server_default="password"),
        sa.Column("pending", sa.Boolean(), nullable=False, server_default=sa.false()),
        sa.Column("proved", sa.DateTime(), nullable=True),
        sa.Column("challenge", sa.String(length=128), nullable=True),
        sa.Column("offer", sa.Text(), nullable=True),
    ]


def upgrade() -> None:
    for column in session_columns():
        op.add_column("sessions", column)
    op.create_table(
        "factors",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("credential", sa.String(length=1400), nullable=True),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("used", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("credential"),
    )
    op.create_index("ix_factors_person", "factors", ["person"])
    op.create_table(
        "recovery_codes",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("person", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_index("ix_recovery_codes_person", "recovery_codes", ["person"])


def downgrade() -> None:
    op.drop_table("recovery_codes")
    op.drop_table("factors")
    for column in reversed(session_columns()):
        op.drop_column("sessions", column.name)
