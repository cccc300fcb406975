"""Answers as they were given, what they are scored by, and what servicing found."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns and the table."""
    for name in ("answers", "seen_later"):
        op.add_column("connections", sa.Column(name, sa.Text(), nullable=True))
    targets = {
        "replaces": "servicings.row_id",
        "battery_id": "batteries.row_id",
        "check_id": "capacity_checks.row_id",
    }
    op.create_table(
        "servicings",
        sa.Column("row_id", sa.String(36), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entry_id", sa.String(36), nullable=False),
        sa.Column("replaces", sa.String(36), nullable=True),
        sa.Column("correction_reason", sa.Text(), nullable=True),
        sa.Column("battery_id", sa.String(36), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("check_id", sa.String(36), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("row_id", name="pk_servicings"),
        sa.UniqueConstraint("replaces", name="uq_servicings_replaces"),
        *(
            sa.ForeignKeyConstraint(
                [column],
                [target],
                f"fk_servicings_{column}",
                deferrable=True,
                initially="DEFERRED",
            )
            for column, target in targets.items()
        ),
    )
    for column in ("entry_id", "battery_id", "check_id"):
        op.create_index(f"ix_servicings_{column}", "servicings", [column])
