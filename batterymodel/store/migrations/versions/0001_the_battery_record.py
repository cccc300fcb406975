"""Aircraft, batteries, cards, connections, capacity checks, moves, and what was deleted."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "files",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_files"),
    )
    _entries(
        "aircraft",
        _text("tail"),
        _text("note", nullable=True),
        sa.Column("invented", sa.Boolean(), nullable=False),
        indexed=("tail",),
    )
    _entries(
        "batteries",
        _text("serial"),
        _text("chemistry"),
        sa.Column("cells", sa.Integer(), nullable=False),
        _number("rated_capacity_ah", nullable=False),
        sa.Column("installed_on", sa.Date(), nullable=True),
        _text("note", nullable=True),
        sa.Column("invented", sa.Boolean(), nullable=False),
        indexed=("serial",),
    )
    _entries("cards", _battery(), _day("on"), _text("limits"), _text("reason"))
    _entries(
        "connections",
        _battery(),
        _refers("aircraft_id", "aircraft.row_id"),
        _day("day"),
        sa.Column("started_at", sa.String(40), nullable=True),
        _text("file_name"),
        _refers("readings_sha256", "files.sha256", 64),
        _text("supply", nullable=True),
        *(_number(n) for n in ("rest_voltage_v", "load_a")),
        _number("load_sd_a", nullable=False),
        _number("ambient_c"),
        _text("assessment", nullable=True),
        _text("not_assessed", nullable=True),
    )
    _entries(
        "histories",
        _battery(),
        _day("on"),
        _text("history"),
        _refers("connection_id", "connections.row_id", nullable=True),
    )
    _entries(
        "known_states",
        _battery(),
        _day("on"),
        _number("state_of_charge", nullable=False),
        _number("sd", nullable=False),
    )
    _entries(
        "moves",
        _battery(),
        _refers("aircraft_id", "aircraft.row_id", nullable=True),
        _day("on"),
        _text("reason"),
    )
    _entries(
        "capacity_checks",
        _battery(),
        _day("on"),
        _number("capacity_ah", nullable=False),
        _number("capacity_sd_ah"),
        sa.Column("is_lower_bound", sa.Boolean(), nullable=False),
        *(_number(n) for n in ("discharge_current_a", "minutes")),
        *(_number(n) for n in ("temperature_c", "end_voltage_v")),
        _text("log_name", nullable=True),
        _refers("log_sha256", "files.sha256", 64, nullable=True),
        _text("note", nullable=True),
    )
    _deletions()


def _deletions() -> None:
    op.create_table(
        "deletions",
        sa.Column("row_id", sa.String(36), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("act_id", sa.String(36), nullable=False),
        _text("table_name"),
        sa.Column("entry_id", sa.String(36), nullable=False),
        _text("reason"),
        sa.PrimaryKeyConstraint("row_id", name="pk_deletions"),
    )
    op.create_index("ix_deletions_act_id", "deletions", ["act_id"])
    op.create_index("ix_deletions_entry_id", "deletions", ["entry_id"])
    op.create_table(
        "restorations",
        sa.Column("row_id", sa.String(36), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        _refers("deletion_id", "deletions.row_id"),
        _text("reason"),
        sa.PrimaryKeyConstraint("row_id", name="pk_restorations"),
        _foreign_key("restorations", "deletion_id", "deletions.row_id"),
    )
    op.create_index("ix_restorations_deletion_id", "restorations", ["deletion_id"], unique=True)


def _entries(name: str, *columns: sa.Column, indexed: tuple[str, ...] = ()) -> None:
    referring = {c.name: c.info["target"] for c in columns if "target" in c.info}
    op.create_table(
        name,
        sa.Column("row_id", sa.String(36), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entry_id", sa.String(36), nullable=False),
        _text("correction_reason", nullable=True),
        sa.Column("replaces", sa.String(36), nullable=True),
        *columns,
        sa.PrimaryKeyConstraint("row_id", name=f"pk_{name}"),
        sa.UniqueConstraint("replaces", name=f"uq_{name}_replaces"),
        _foreign_key(name, "replaces", f"{name}.row_id"),
        *(_foreign_key(name, column, target) for column, target in referring.items()),
    )
    for column in ("entry_id", *indexed, *referring):
        op.create_index(f"ix_{name}_{column}", name, [column])


def _foreign_key(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [target], f"fk_{table}_{column}", deferrable=True, initially="DEFERRED"
    )


def _refers(name: str, target: str, length: int = 36, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.String(length), nullable=nullable, info={"target": target})


def _battery() -> sa.Column:
    return _refers("battery_id", "batteries.row_id")


def _text(name: str, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text(), nullable=nullable)


def _number(name: str, nullable: bool = True) -> sa.Column:
    return sa.Column(name, sa.Double(), nullable=nullable)


def _day(name: str) -> sa.Column:
    return sa.Column(name, sa.Date(), nullable=False)
