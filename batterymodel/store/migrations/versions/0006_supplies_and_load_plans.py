"""Supplies of the shop, load plans of aircraft, and the day and source of a configuration."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_DAYS = ("on", "said_on")
_OF_A_CHOICE = ("on", "left_off", "supply", "answer", "document", "said_by", "said_on")


def upgrade() -> None:
    """Add the columns and the two tables."""
    for name in _OF_A_CHOICE:
        kind = sa.Date() if name in _DAYS else sa.Text()
        op.add_column("load_configurations", sa.Column(name, kind, nullable=True))
    _entries(
        "load_plans",
        sa.Column("aircraft_id", sa.String(36), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("loads", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        aircraft_id="aircraft.row_id",
    )
    _entries(
        "supplies",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("rated_current_a", sa.Double(), nullable=False),
        sa.Column("set_voltage_v", sa.Double(), nullable=False),
        sa.Column("voltage_tolerance_v", sa.Double(), nullable=False),
        sa.Column("input_voltage_v", sa.Double(), nullable=True),
        sa.Column("input_current_full_load_a", sa.Double(), nullable=True),
        sa.Column("circuit_breaker_a", sa.Double(), nullable=True),
        sa.Column("cable", sa.Text(), nullable=True),
        sa.Column("rated_at_c", sa.Double(), nullable=True),
        sa.Column("derating_a_per_c", sa.Double(), nullable=True),
        sa.Column("circuits", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("invented", sa.Boolean(), nullable=False),
    )
    op.create_index("ix_supplies_name", "supplies", ["name"])


def _entries(name: str, *columns: sa.Column, **referring: str) -> None:
    targets = {"replaces": f"{name}.row_id", **referring}
    op.create_table(
        name,
        sa.Column("row_id", sa.String(36), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entry_id", sa.String(36), nullable=False),
        sa.Column("replaces", sa.String(36), nullable=True),
        sa.Column("correction_reason", sa.Text(), nullable=True),
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
    for column in ("entry_id", *referring):
        op.create_index(f"ix_{name}_{column}", name, [column])
