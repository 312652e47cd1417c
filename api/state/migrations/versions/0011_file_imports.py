"""The files that readings were imported from."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    op.create_table(
        "file_imports",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("time", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("replaced", sa.Integer(), nullable=False),
        sa.Column("first", sa.BigInteger(), nullable=True),
        sa.Column("last", sa.BigInteger(), nullable=True),
        sa.Column("after_files", sa.Boolean(), nullable=False),
        sa.Column("serials", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_file_imports_site", "file_imports", ["site"])


def downgrade() -> None:
    op.drop_table("file_imports")
