"""Connections in progress, and what is done to them act by act."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the two tables."""
    op.create_table(
        "connections_in_progress",
        sa.Column("id", sa.String(64), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("told", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_connections_in_progress"),
    )
    op.create_table(
        "acts_in_progress",
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("in_progress_id", sa.String(64), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_acts_in_progress"),
        sa.ForeignKeyConstraint(
            ["in_progress_id"],
            ["connections_in_progress.id"],
            "fk_acts_in_progress_in_progress_id",
            deferrable=True,
            initially="DEFERRED",
        ),
        sa.UniqueConstraint("in_progress_id", "number", name="uq_acts_in_progress_in_progress_id"),
    )
