"""How the columns of a connection's file are taken, and settings of the record."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column and the table."""
    op.add_column("connections", sa.Column("column_map", sa.Text(), nullable=True))
    op.create_table(
        "settings",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_settings"),
    )
    op.create_index("ix_settings_name", "settings", ["name"])
