"""People and access, job runs, alerts, jobs, papers."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0002"
down_revision = "0001"

JSON = sa.JSON().with_variant(JSONB(), "postgresql")
TABLES = (
    "audit",
    "failed_sign_ins",
    "job_runs",
    "people",
    "alerts",
    "consents",
    "device_tokens",
    "home_links",
    "invitations",
    "maintenance",
    "notices",
    "papers",
    "people_sites",
    "works",
    "alert_events",
    "sessions",
)


def upgrade() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("time", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("action", sa.String(length=48), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=True),
        sa.Column("address", sa.String(length=64), nullable=False),
        sa.Column("detail", JSON, nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_audit_site"), "audit", ["site"], unique=False)
    op.create_index(op.f("ix_audit_time"), "audit", ["time"], unique=False)
    op.create_table(
        "failed_sign_ins",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("last", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_table(
        "job_runs",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("due", sa.String(length=16), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("worker", sa.String(length=80), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("started", sa.DateTime(), nullable=False),
        sa.Column("beat", sa.DateTime(), nullable=False),
        sa.Column("ended", sa.DateTime(), nullable=True),
        sa.Column("told", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("kind", "site", "due"),
    )
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("email", sa.String(length=254), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("password", sa.Text(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("notices", sa.Boolean(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("last_in", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("email"),
    )
    op.create_table(
        "alerts",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("code", sa.String(length=48), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("severity", sa.String(length=8), nullable=False),
        sa.Column("headline", sa.Text(), nullable=False),
        sa.Column("finding", JSON, nullable=False),
        sa.Column("episode", sa.Integer(), nullable=False),
        sa.Column("seen_since", sa.DateTime(), nullable=True),
        sa.Column("gone_since", sa.DateTime(), nullable=True),
        sa.Column("opened", sa.DateTime(), nullable=True),
        sa.Column("resolved", sa.DateTime(), nullable=True),
        sa.Column("snoozed_until", sa.DateTime(), nullable=True),
        sa.Column("changed", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("site", "code"),
    )
    op.create_index(op.f("ix_alerts_site"), "alerts", ["site"], unique=False)
    op.create_index(op.f("ix_alerts_state"), "alerts", ["state"], unique=False)
    op.create_table(
        "consents",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("purpose", sa.String(length=32), nullable=False),
        sa.Column("given", sa.Boolean(), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("time", sa.DateTime(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_consents_site"), "consents", ["site"], unique=False)
    op.create_table(
        "device_tokens",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("purpose", sa.String(length=16), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=True),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("expires", sa.DateTime(), nullable=False),
        sa.Column("used", sa.DateTime(), nullable=True),
        sa.Column("revoked", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("hash"),
    )
    op.create_table(
        "home_links",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("made_by", sa.String(length=254), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("expires", sa.DateTime(), nullable=False),
        sa.Column("revoked", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "invitations",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("person", sa.Integer(), nullable=True),
        sa.Column("expires", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_table(
        "maintenance",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("start", sa.DateTime(), nullable=False),
        sa.Column("end", sa.DateTime(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_maintenance_site"), "maintenance", ["site"], unique=False)
    op.create_table(
        "notices",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=True),
        sa.Column("receiver", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("not_before", sa.DateTime(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("sent", sa.DateTime(), nullable=True),
        sa.Column("error", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    op.create_index(op.f("ix_notices_state"), "notices", ["state"], unique=False)
    op.create_table(
        "papers",
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("period", sa.String(length=16), nullable=False),
        sa.Column("made", sa.DateTime(), nullable=False),
        sa.Column("contents", JSON, nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site", "kind", "period"),
    )
    op.create_table(
        "people_sites",
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("person", "site"),
    )
    op.create_table(
        "works",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("site", sa.String(length=40), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("finding", sa.String(length=48), nullable=True),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_works_site"), "works", ["site"], unique=False)
    op.create_table(
        "alert_events",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("alert", sa.Integer(), nullable=False),
        sa.Column("time", sa.DateTime(), nullable=False),
        sa.Column("what", sa.String(length=16), nullable=False),
        sa.Column("who", sa.String(length=254), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["alert"], ["alerts.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_alert_events_alert"), "alert_events", ["alert"], unique=False)
    op.create_table(
        "sessions",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("person", sa.Integer(), nullable=True),
        sa.Column("link", sa.String(length=32), nullable=True),
        sa.Column("csrf", sa.String(length=64), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("seen", sa.DateTime(), nullable=False),
        sa.Column("expires", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["link"], ["home_links.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["person"], ["people.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("hash"),
    )


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
