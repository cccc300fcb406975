"""Results kept beside the record, each with the digest of what it was computed from."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "kept_results",
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("entry_id", sa.String(36), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "entry_id", name="pk_kept_results"),
    )
