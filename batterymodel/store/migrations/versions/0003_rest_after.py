"""Rest voltage after a connection, from which capacity in service is estimated."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    op.add_column("connections", sa.Column("rest_after_v", sa.Double(), nullable=True))
