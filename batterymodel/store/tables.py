"""The tables. Rows are only ever added: a correction or a deletion is a row of its own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from sqlalchemy import (
    Double,
    ForeignKey,
    Integer,
    MetaData,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column

from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.inputs.records import Cable, Chemistry, History, Limits, Record, Supply
from batterymodel.store import records as fleet
from batterymodel.store.acts import Act, ToldSoFar
from batterymodel.store.column_types import Clock, Content, Day, Json, Name, Truth, Utc, Words
from batterymodel.track.kept import KeptAnswer, SeenLater

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012 (declared so by SQLAlchemy)
        str: Words(),
        int: Integer(),
        float: Double(),
        bool: Truth(),
        date: Day(),
        bytes: Content(),
        Chemistry: Words(),
    }


def _reference(target: str, **more: Any) -> Mapped[Any]:
    return mapped_column(
        Name(36), ForeignKey(target, deferrable=True, initially="DEFERRED"), index=True, **more
    )


def _file(**more: Any) -> Mapped[Any]:
    return mapped_column(
        Name(64),
        ForeignKey("files.sha256", deferrable=True, initially="DEFERRED"),
        index=True,
        **more,
    )


class FileRow(Base):
    """The bytes of a file, kept exactly as imported, under their SHA-256."""

    __tablename__ = "files"
    sha256: Mapped[str] = mapped_column(Name(64), primary_key=True)
    content: Mapped[bytes]


class Row:
    """What every row has besides its content."""

    row_id: Mapped[str] = mapped_column(Name(36), primary_key=True, sort_order=-5)
    recorded_at: Mapped[datetime] = mapped_column(Utc, sort_order=-4)


class EntryRow(Row):
    """A row of an entry: its first writing, or a correction of the row it replaces."""

    entry_id: Mapped[str] = mapped_column(Name(36), index=True, sort_order=-3)
    correction_reason: Mapped[str | None] = mapped_column(sort_order=-1)

    @declared_attr
    def replaces(cls) -> Mapped[str | None]:  # noqa: N805 (declared so by SQLAlchemy)
        """The row this one corrects; a row is corrected once at most."""
        own = f"{cls.__tablename__}.row_id"  # type: ignore[attr-defined]
        key = ForeignKey(own, deferrable=True, initially="DEFERRED")
        return mapped_column(Name(36), key, unique=True, sort_order=-2)


class AircraftRow(EntryRow, Base):
    """`fleetrecords.Aircraft`."""

    __tablename__ = "aircraft"
    tail: Mapped[str] = mapped_column(index=True)
    note: Mapped[str | None]
    invented: Mapped[bool]


class BatteryRow(EntryRow, Base):
    """`fleetrecords.BatteryPlate`."""

    __tablename__ = "batteries"
    serial: Mapped[str] = mapped_column(index=True)
    chemistry: Mapped[str]
    cells: Mapped[int]
    rated_capacity_ah: Mapped[float]
    installed_on: Mapped[date | None]
    note: Mapped[str | None]
    invented: Mapped[bool]


class CardRow(EntryRow, Base):
    """`fleetrecords.CardRevision`."""

    __tablename__ = "cards"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    on: Mapped[date]
    limits: Mapped[Limits] = mapped_column(Json(Limits))
    reason: Mapped[str]


class HistoryRow(EntryRow, Base):
    """`fleetrecords.HistoryRevision`."""

    __tablename__ = "histories"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    on: Mapped[date]
    history: Mapped[History] = mapped_column(Json(History))
    connection_id: Mapped[str | None] = _reference("connections.row_id")


class KnownStateRow(EntryRow, Base):
    """`fleetrecords.KnownState`."""

    __tablename__ = "known_states"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    on: Mapped[date]
    state_of_charge: Mapped[float]
    sd: Mapped[float]


class MoveRow(EntryRow, Base):
    """`fleetrecords.Move`."""

    __tablename__ = "moves"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    aircraft_id: Mapped[str | None] = _reference("aircraft.row_id")
    on: Mapped[date]
    reason: Mapped[str]


class ConnectionRow(EntryRow, Base):
    """`fleetrecords.Connection`."""

    __tablename__ = "connections"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    aircraft_id: Mapped[str] = _reference("aircraft.row_id")
    day: Mapped[date]
    started_at: Mapped[datetime | None] = mapped_column(Clock)
    file_name: Mapped[str]
    readings_sha256: Mapped[str] = _file()
    supply: Mapped[Supply | None] = mapped_column(Json(Supply))
    rest_voltage_v: Mapped[float | None]
    rest_after_v: Mapped[float | None]
    load_a: Mapped[float | None]
    load_sd_a: Mapped[float]
    ambient_c: Mapped[float | None]
    assessment: Mapped[str | None]
    not_assessed: Mapped[str | None]
    column_map: Mapped[ColumnMap | None] = mapped_column(Json(ColumnMap))
    answers: Mapped[Any | None] = mapped_column(Json(tuple[KeptAnswer, ...]))
    seen_later: Mapped[SeenLater | None] = mapped_column(Json(SeenLater))


class CheckRow(EntryRow, Base):
    """`fleetrecords.BenchCheck`."""

    __tablename__ = "capacity_checks"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    on: Mapped[date]
    capacity_ah: Mapped[float]
    capacity_sd_ah: Mapped[float | None]
    is_lower_bound: Mapped[bool]
    discharge_current_a: Mapped[float | None]
    minutes: Mapped[float | None]
    temperature_c: Mapped[float | None]
    end_voltage_v: Mapped[float | None]
    log_name: Mapped[str | None]
    log_sha256: Mapped[str | None] = _file()
    note: Mapped[str | None]


class ServicingRow(EntryRow, Base):
    """`fleetrecords.Servicing`."""

    __tablename__ = "servicings"
    battery_id: Mapped[str] = _reference("batteries.row_id")
    on: Mapped[date]
    found: Mapped[str]
    check_id: Mapped[str | None] = _reference("capacity_checks.row_id")
    note: Mapped[str | None]


class LoadRow(EntryRow, Base):
    """`fleetrecords.LoadConfiguration`."""

    __tablename__ = "load_configurations"
    aircraft_id: Mapped[str] = _reference("aircraft.row_id")
    name: Mapped[str]
    consumers: Mapped[Any] = mapped_column(Json(tuple[fleet.Consumer, ...]))
    note: Mapped[str | None]
    on: Mapped[date | None]
    left_off: Mapped[Any | None] = mapped_column(Json(tuple[str, ...]))
    supply: Mapped[str | None]
    answer: Mapped[str | None]
    document: Mapped[str | None]
    said_by: Mapped[str | None]
    said_on: Mapped[date | None]


class LoadPlanRow(EntryRow, Base):
    """`fleetrecords.LoadPlan`."""

    __tablename__ = "load_plans"
    aircraft_id: Mapped[str] = _reference("aircraft.row_id")
    on: Mapped[date]
    loads: Mapped[Any] = mapped_column(Json(AircraftLoads))
    note: Mapped[str | None]


class SupplyRow(EntryRow, Base):
    """`fleetrecords.ShopSupply`."""

    __tablename__ = "supplies"
    name: Mapped[str] = mapped_column(index=True)
    rated_current_a: Mapped[float]
    set_voltage_v: Mapped[float]
    voltage_tolerance_v: Mapped[float]
    input_voltage_v: Mapped[float | None]
    input_current_full_load_a: Mapped[float | None]
    circuit_breaker_a: Mapped[float | None]
    cable: Mapped[Any | None] = mapped_column(Json(Cable))
    rated_at_c: Mapped[float | None]
    derating_a_per_c: Mapped[float | None]
    circuits: Mapped[Any] = mapped_column(Json(tuple[fleet.WallCircuit, ...]))
    note: Mapped[str | None]
    invented: Mapped[bool]


class SheetRow(EntryRow, Base):
    """`fleetrecords.OwnerSheet`."""

    __tablename__ = "owner_sheets"
    connection_id: Mapped[str] = _reference("connections.row_id")
    made_on: Mapped[date]
    kind: Mapped[str]
    file_name: Mapped[str]
    content_sha256: Mapped[str] = _file()


class DeletionRow(Row, Base):
    """An entry taken out of sight; `act_id` is shared by all that went together."""

    __tablename__ = "deletions"
    act_id: Mapped[str] = mapped_column(Name(36), index=True)
    table_name: Mapped[str]
    entry_id: Mapped[str] = mapped_column(Name(36), index=True)
    reason: Mapped[str]


class RestorationRow(Row, Base):
    """A deletion undone."""

    __tablename__ = "restorations"
    deletion_id: Mapped[str] = _reference("deletions.row_id", unique=True)
    reason: Mapped[str]


class InProgressRow(Base):
    """A connection in progress as it was begun; what came after are rows of `ActRow`."""

    __tablename__ = "connections_in_progress"
    id: Mapped[str] = mapped_column(Name(64), primary_key=True)
    recorded_at: Mapped[datetime] = mapped_column(Utc)
    started_at: Mapped[datetime] = mapped_column(Utc)
    day: Mapped[date]
    told: Mapped[Any] = mapped_column(Json(ToldSoFar))


class ActRow(Base):
    """One act on a connection in progress, under the key its device gave it.

    `number` counts the acts of a connection in the order they came in.
    """

    __tablename__ = "acts_in_progress"
    __table_args__ = (UniqueConstraint("in_progress_id", "number"),)
    key: Mapped[str] = mapped_column(Name(64), primary_key=True)
    recorded_at: Mapped[datetime] = mapped_column(Utc)
    in_progress_id: Mapped[str] = mapped_column(
        Name(64),
        ForeignKey("connections_in_progress.id", deferrable=True, initially="DEFERRED"),
    )
    number: Mapped[int]
    act: Mapped[str]
    content: Mapped[Any] = mapped_column(Json(Act))


class SettingRow(Base):
    """How this record is shown and read; the last row of a name holds. No export takes it along."""

    __tablename__ = "settings"
    number: Mapped[int] = mapped_column(primary_key=True)
    recorded_at: Mapped[datetime] = mapped_column(Utc)
    name: Mapped[str] = mapped_column(Name(64), index=True)
    value: Mapped[str]


class KeptResultRow(Base):
    """A result computed of an entry, in place of the one before; no export takes it along."""

    __tablename__ = "kept_results"
    kind: Mapped[str] = mapped_column(Name(40), primary_key=True)
    entry_id: Mapped[str] = mapped_column(Name(36), primary_key=True)
    digest: Mapped[str] = mapped_column(Name(64))
    recorded_at: Mapped[datetime] = mapped_column(Utc)
    value: Mapped[str]


@dataclass(frozen=True)
class Kind:
    """One kind of entry: its trade word, its record model, its table, and what it belongs to.

    No two of its entries that speak of no day have the same `unique` fields.
    """

    word: str
    record: type[Record]
    row: type[EntryRow]
    unique: tuple[str, ...] = ()

    @property
    def table(self) -> str:
        """Name of the table."""
        return self.row.__tablename__  # type: ignore[attr-defined]

    @cached_property
    def parents(self) -> dict[str, str]:
        """Fields that name another entry, with the table it is in."""
        return {
            column.name: next(iter(column.foreign_keys)).column.table.name
            for column in self.row.__table__.columns  # type: ignore[attr-defined]
            if column.name.endswith("_id") and column.foreign_keys
        }


KINDS = (
    Kind("aircraft", fleet.Aircraft, AircraftRow, ("tail",)),
    Kind("battery", fleet.BatteryPlate, BatteryRow, ("serial",)),
    Kind("limits card", fleet.CardRevision, CardRow),
    Kind("connection", fleet.Connection, ConnectionRow),
    Kind("history", fleet.HistoryRevision, HistoryRow),
    Kind("known state", fleet.KnownState, KnownStateRow),
    Kind("move", fleet.Move, MoveRow),
    Kind("capacity check", fleet.BenchCheck, CheckRow),
    Kind("servicing", fleet.Servicing, ServicingRow),
    Kind("load configuration", fleet.LoadConfiguration, LoadRow, ("aircraft_id", "name")),
    Kind("load plan", fleet.LoadPlan, LoadPlanRow),
    Kind("supply", fleet.ShopSupply, SupplyRow, ("name",)),
    Kind("owner's sheet", fleet.OwnerSheet, SheetRow),
)
KIND_OF_RECORD = {kind.record: kind for kind in KINDS}
KIND_OF_TABLE = {kind.table: kind for kind in KINDS}
