"""The weather forecast that is fetched by address."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from fieldfare.api.state.columns import Json

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    op.create_table(
        "forecasts",
        sa.Column("owner", sa.String(length=32), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("tried", sa.DateTime(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=False),
        sa.Column("fetched", sa.DateTime(), nullable=True),
        sa.Column("until", sa.DateTime(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("outlook", Json, nullable=True),
        sa.PrimaryKeyConstraint("owner"),
    )


def downgrade() -> None:
    op.drop_table("forecasts")
