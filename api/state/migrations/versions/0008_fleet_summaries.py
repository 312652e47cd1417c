"""What lists of a fleet show of each home, in one table with an index for each order."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"

TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
HARM = ["lost", "sure", "name", "site"]
INDEXES = {
    "tier": ["tier", *HARM],
    "cost": ["cost", "tier", *HARM],
    "since": ["since", "tier", *HARM],
    "efficiency": ["efficiency", "tier", *HARM],
    "heard": ["heard", "tier", *HARM],
    "name": ["name", "tier", "lost", "sure", "site"],
    "area": ["no_area", "area", "tier", *HARM],
}


def upgrade() -> None:
    op.create_table(
        "fleet_summaries",
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("good_until", sa.DateTime(), nullable=False),
        sa.Column("verdict", sa.String(length=16), nullable=False),
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("silent", sa.Boolean(), nullable=False),
        sa.Column("settling", sa.Boolean(), nullable=False),
        sa.Column("free", sa.Boolean(), nullable=False),
        sa.Column("dealt", sa.Boolean(), nullable=False),
        sa.Column("waiting", sa.Boolean(), nullable=False),
        sa.Column("tier", sa.SmallInteger(), nullable=False),
        sa.Column("lost", sa.Float(), nullable=False),
        sa.Column("sure", sa.Float(), nullable=False),
        sa.Column("cost", sa.Float(), nullable=False),
        sa.Column("since", sa.String(length=10), nullable=False),
        sa.Column("efficiency", sa.Float(), nullable=False),
        sa.Column("heard", sa.BigInteger(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("no_area", sa.Boolean(), nullable=False),
        sa.Column("area", TEXT, nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("money", sa.Float(), nullable=False),
        sa.Column("search", sa.Text(), nullable=False),
        sa.Column("failed", sa.Text(), nullable=True),
        sa.Column("brief", sa.LargeBinary(), nullable=True),
        sa.Column("winter", sa.LargeBinary(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site"),
    )
    for name, columns in INDEXES.items():
        op.create_index(f"fleet_summaries_by_{name}", "fleet_summaries", columns)
    op.create_index("fleet_summaries_stale", "fleet_summaries", ["good_until"])
    counted = ["verdict", "silent", "waiting", "visit", "currency", "money", "heard"]
    op.create_index("fleet_summaries_counted", "fleet_summaries", counted)


def downgrade() -> None:
    op.drop_table("fleet_summaries")
