"""What each unit did at its last readings."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    op.create_table(
        "live_states",
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("updated", sa.DateTime(), nullable=False),
        sa.Column("heard", sa.BigInteger(), nullable=True),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("worked", sa.BigInteger(), nullable=True),
        sa.Column("since", sa.BigInteger(), nullable=True),
        sa.Column("plant", sa.LargeBinary(), nullable=False),
        sa.Column("newest", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site"),
    )


def downgrade() -> None:
    op.drop_table("live_states")
