"""The language that a person reads in."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    op.add_column(
        "person_settings", sa.Column("language", sa.String(length=16), server_default="", nullable=False)
    )


def downgrade() -> None:
    op.drop_column("person_settings", "language")
