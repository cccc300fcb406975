"""Load configurations of aircraft, and the sheets handed to owners."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_REFERRING = {
    "load_configurations": {"aircraft_id": "aircraft.row_id"},
    "owner_sheets": {"connection_id": "connections.row_id", "content_sha256": "files.sha256"},
}


def upgrade() -> None:
    """Add the two tables."""
    _entries(
        "load_configurations",
        sa.Column("aircraft_id", sa.String(36), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("consumers", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
    )
    _entries(
        "owner_sheets",
        sa.Column("connection_id", sa.String(36), nullable=False),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("content_sha256", sa.String(64), nullable=False),
    )


def _entries(name: str, *columns: sa.Column) -> None:
    targets = {"replaces": f"{name}.row_id", **_REFERRING[name]}
    op.create_table(
        name,
        sa.Column("row_id", sa.String(36), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entry_id", sa.String(36), nullable=False),
        sa.Column("correction_reason", sa.Text(), nullable=True),
        sa.Column("replaces", sa.String(36), nullable=True),
        *columns,
        sa.PrimaryKeyConstraint("row_id", name=f"pk_{name}"),
        sa.UniqueConstraint("replaces", name=f"uq_{name}_replaces"),
        *(
            sa.ForeignKeyConstraint(
                [column], [target], f"fk_{name}_{column}", deferrable=True, initially="DEFERRED"
            )
            for column, target in targets.items()
        ),
    )
    for column in ("entry_id", *_REFERRING[name]):
        op.create_index(f"ix_{name}_{column}", name, [column])
