"""The record as readable text for the terminal."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from batterymodel.basis.text import counted
from batterymodel.inputs.records import Record, record_toml
from batterymodel.rules.results import Outcome
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.store import Deletion, Entry, Store
from batterymodel.store.as_of import Entries, histories_that_count, last_told_check, latest
from batterymodel.store.intake import Taken
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    LoadConfiguration,
    LoadPlan,
    Move,
    OwnerSheet,
    Servicing,
    ServicingFound,
    ShopSupply,
    day_of,
)
from batterymodel.store.tables import KIND_OF_RECORD, KIND_OF_TABLE

NOTHING = (
    "Nothing is in the record yet. 'record add' puts in a battery, 'record demo' invented data."
)
INVENTED = "invented"
_OF_A_BATTERY = (
    CardRevision,
    HistoryRevision,
    KnownState,
    Move,
    Connection,
    BenchCheck,
    Servicing,
)
_HEADER = ("battery", "aircraft", "rated", "last capacity check", "last connection")
_AIRCRAFT_HEADER = ("aircraft", "load plan", "load configurations", "id")
_SUPPLY_HEADER = ("supply", "plate", "circuits", "id")


def fleet_text(store: Store) -> str:
    """The batteries with their last check and connection, then aircraft and supplies with ids.

    Parameters
    ----------
    store : Store

    Returns
    -------
    str
        Three tables, those that are empty left out; `NOTHING` where all are.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        batteries = sorted(_battery_row(store, plate) for plate in store.entries(BatteryPlate))
        aircraft = sorted(_aircraft_row(store, entry) for entry in store.entries(Aircraft))
        supplies = sorted(_supply_row(entry) for entry in store.entries(ShopSupply))
    tables = [(_HEADER, batteries), (_AIRCRAFT_HEADER, aircraft), (_SUPPLY_HEADER, supplies)]
    return "\n\n".join(table_text([head, *rows]) for head, rows in tables if rows) or NOTHING


def table_text(rows: list[tuple[str, ...]]) -> str:
    """Rows of cells in columns as wide as their widest cell.

    Parameters
    ----------
    rows : list of tuples of str
        One at least, all of one length; the header first.

    Returns
    -------
    str
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)) for row in rows)
    return "\n".join(line.rstrip() for line in lines)


def _aircraft_row(store: Store, entry: Entry[Aircraft]) -> tuple[str, ...]:
    loads = store.entries(LoadConfiguration, aircraft_id=entry.id)
    names = dict.fromkeys(e.record.name for e in loads)
    plan = latest(store.entries(LoadPlan, aircraft_id=entry.id), None)
    said = "none" if plan is None else f"{plan.record.on}: {_plan_words(plan.record)}"
    mark = f" ({INVENTED})" * entry.record.invented
    return entry.record.tail + mark, said, ", ".join(names) or "none", entry.id


def _supply_row(entry: Entry[ShopSupply]) -> tuple[str, ...]:
    supply = entry.record
    mark = f" ({INVENTED})" * supply.invented
    return supply.name + mark, _plate_words(supply), circuits_words(supply), entry.id


def _plate_words(supply: ShopSupply) -> str:
    return f"{supply.rated_current_a:g} A at {supply.set_voltage_v:g} V"


def circuits_words(supply: ShopSupply) -> str:
    """The wall circuits of a supply with their breakers.

    Parameters
    ----------
    supply : ShopSupply

    Returns
    -------
    str
    """
    if supply.circuits:
        return ", ".join(f"{one.name} {one.circuit_breaker_a:g} A" for one in supply.circuits)
    breaker_a = supply.circuit_breaker_a
    return "not told" if breaker_a is None else f"{breaker_a:g} A"


def _plan_words(plan: LoadPlan) -> str:
    loads = plan.loads
    consumers, tasks = counted(len(loads.consumers), "consumer"), counted(len(loads.tasks), "task")
    return f"{consumers}, {tasks}"


def _battery_row(store: Store, plate: Entry[BatteryPlate]) -> tuple[str, ...]:
    battery = plate.record
    aircraft = store.aircraft_of(battery.serial)
    check = last_told_check(store.entries(BenchCheck, battery_id=plate.id))
    connection = latest(store.entries(Connection, battery_id=plate.id), None)
    return (
        battery.serial + f" ({INVENTED})" * battery.invented,
        aircraft.record.tail if aircraft else "off aircraft",
        f"{battery.rated_capacity_ah:g} Ah",
        f"{check.record.on}: {_check_words(check.record)}" if check else "none",
        f"{connection.record.day}: {outcome_words(connection.record)}" if connection else "none",
    )


def battery_text(store: Store, serial: str, on: date | None = None) -> str:
    """One battery: what is in force on a day, then everything on record with its ids.

    Parameters
    ----------
    store : Store
    serial : str
    on : date, optional
        Later entries are left out; else all are shown.

    Returns
    -------
    str

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    with store.reading():
        plate = store.plate(serial)
        battery = store.battery(serial, on)
        entries = [e for kind in _OF_A_BATTERY for e in store.entries(kind, battery_id=plate.id)]
        sheets = [
            sheet
            for entry in entries
            if isinstance(entry.record, Connection)
            for sheet in store.entries(OwnerSheet, connection_id=entry.id)
        ]
        aircraft = store.aircraft_of(serial, on)
        owner = aircraft.id if aircraft else None
        dropped = _dropped_words(store, plate)
        kinds = (LoadPlan, LoadConfiguration) if owner else ()
        loads = [e for kind in kinds for e in store.entries(kind, aircraft_id=owner)]
        listed = [_line(store, entry) for entry in _until([*entries, *sheets, *loads], on)]
    mark = f" ({INVENTED})" * plate.record.invented
    day = f"on {on}" if on else "now"
    return "\n".join(
        [
            f"Battery {serial}{mark}, entry {plate.id}",
            *([f"Installed on {plate.record.installed_on}"] if plate.record.installed_on else []),
            *dropped,
            "",
            f"In force {day}",
            *(f"  {line}" if line else "" for line in record_toml(battery).splitlines()),
            "",
            "On record",
            *listed,
        ]
    )


def _dropped_words(store: Store, plate: Entry[BatteryPlate]) -> list[str]:
    """That histories do not count which were learned while the plate was mistyped."""
    every = store.entries(HistoryRevision, battery_id=plate.id)
    left_out = len(every) - len(histories_that_count(store, plate))
    if not left_out:
        return []
    do = "does" if left_out == 1 else "do"
    return [
        f"{counted(left_out, 'charge time')} learned while the plate was another, or from such a "
        f"one, {do} not count; any correction of this entry, as of its note, has them learned anew"
    ]


def _until(entries: list[Entry[Any]], on: date | None) -> list[Entry[Any]]:
    shown = [e for e in entries if on is None or (day_of(e.record) or on) <= on]
    return sorted(shown, key=lambda entry: entry.order)


def _line(store: Store, entry: Entry[Any]) -> str:
    return (
        f"  {day_of(entry.record) or 'always'!s:10}  {summary(store, entry.record)}  [{entry.id}]"
    )


def summary(store: Entries, record: Record) -> str:
    """One record in a few words.

    Parameters
    ----------
    store : Store or OneLook
        Looked into for the aircraft of a move.
    record : Record
        Of a kind that the store keeps.

    Returns
    -------
    str
        The kind, a colon and what it says.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    word = KIND_OF_RECORD[type(record)].word.capitalize()
    match record:
        case CardRevision():
            said = f"{record.document or 'no document named'} ({record.reason})"
        case HistoryRevision():
            said = (
                f"learned from completed tapers, charge time {record.history.charge_time_h:.2f} h"
            )
        case KnownState():
            said = f"{100 * record.state_of_charge:.0f} % charged"
        case Move():
            where = store.entry(record.aircraft_id).record.tail if record.aircraft_id else None
            said = f"{'to ' + where if where else 'off aircraft'} ({record.reason})"
        case Connection():
            said = f"{record.file_name}: {outcome_words(record)}"
        case BenchCheck():
            said = _check_words(record)
        case Servicing():
            said = _found_words(store, record)
        case LoadConfiguration() if record.on is not None:
            said = _choice_words(record)
        case LoadPlan():
            said = f"{_plan_words(record)}, {_source_words(record)}"
        case ShopSupply():
            said = f"{record.name}: {_plate_words(record)}, circuits: {circuits_words(record)}"
        case OwnerSheet():
            said = f"{record.kind}: {record.file_name}"
        case _:
            said = next(str(getattr(record, name)) for name in ("serial", "tail", "name")
                        if hasattr(record, name))  # fmt: skip
    return f"{word}: {said}"


SERVICING_WORDS = {
    ServicingFound.CAPACITY: "capacity as measured",
    ServicingFound.FAULTY_CELL: "a faulty cell",
    ServicingFound.NOTHING_WRONG: "nothing wrong",
}
"""What servicing found, as buttons and lists name it."""


def _found_words(store: Entries, servicing: Servicing) -> str:
    if servicing.check_id is None:
        return SERVICING_WORDS[servicing.found]
    return f"capacity {_check_words(store.entry(servicing.check_id).record)}"


def _choice_words(chosen: LoadConfiguration) -> str:
    off = f"; left off: {', '.join(chosen.left_off)}" if chosen.left_off else ""
    supply = f" on {chosen.supply}" if chosen.supply else ""
    return f"{chosen.name}{supply}{off}"


def _source_words(plan: LoadPlan) -> str:
    loads = plan.loads
    said = f"said by {loads.said_by}" if loads.said_by else "nobody named who said so"
    return f"{loads.document or 'no document named'}, {said}"


def outcome_words(connection: Connection) -> str:
    """The outcome of a connection, or that it was not assessed (anew) and why.

    Parameters
    ----------
    connection : Connection

    Returns
    -------
    str
    """
    if (result := connection.result) is None:
        return f"not assessed ({connection.not_assessed or 'no result given'})"
    words = OUTCOME_WORDS[Outcome(result["outcome"])]
    return words if connection.not_assessed is None else f"{words} ({connection.not_assessed})"


def _check_words(check: BenchCheck) -> str:
    return f"{'at least ' * check.is_lower_bound}{check.capacity_ah:g} Ah"


ALREADY = "already in the record"
"""How the line begins of what was told before and is kept once."""

ONCE_A_DAY = "the same finding of one day is kept once, measured again or not"
"""What the line adds where it was told as measured again."""


def taken_text(taken: Taken, file_name: str) -> str:
    """What became of one connection file, said after it was committed.

    Parameters
    ----------
    taken : Taken
    file_name : str
        As the user named it.

    Returns
    -------
    str
        On one line, with the id of the entry; on another where they are on record elsewhere.
    """
    record, remark = taken.entry.record, f" ({taken.remark})" if taken.remark else ""
    if taken.was_there:
        return f"{ALREADY}: {file_name}  [{taken.entry.id}]"
    said = f"{record.day}: {outcome_words(record)}{remark}"
    also = f"\n{taken.elsewhere}" if taken.elsewhere else ""
    return f"confirmed: {file_name}: {said}  [{taken.entry.id}]{also}"


def deletions_text(deletions: Iterable[Deletion]) -> str:
    """Deletions that can be restored.

    Parameters
    ----------
    deletions : iterable of Deletion
        In the order to show them.

    Returns
    -------
    str
        A table with the ids to restore by, times in UTC.
    """
    rows = [
        (f"{d.recorded_at:%Y-%m-%d %H:%M} UTC", f"{entries_words(d.entries)}", d.reason, d.id)
        for d in deletions
    ]
    return table_text([("deleted", "what", "reason", "id"), *rows]) if rows else "Nothing deleted."


def entries_words(entries: Iterable[tuple[str, str]]) -> str:
    """How many entries there are of which kind.

    Parameters
    ----------
    entries : iterable of (str, str)
        Table and id of each.

    Returns
    -------
    str
        As ``2 x connection``, in the order in which kinds are met.
    """
    count: dict[str, int] = {}
    for table, _ in entries:
        count[table] = count.get(table, 0) + 1
    return ", ".join(f"{n} x {KIND_OF_TABLE[table].word}" for table, n in count.items())


def history_text(store: Store, entry_id: str) -> str:
    """Every row of an entry, first writing first, and the fields a correction changed.

    Parameters
    ----------
    store : Store
    entry_id : str

    Returns
    -------
    str
        Several lines, times in UTC; the first names the entry as it is now.

    Raises
    ------
    InputError
        No such entry.
    StoreError
        The record cannot be read.
    """
    rows = store.history(entry_id)
    lines = [f"{summary(store, rows[-1].record)}  [{entry_id}]"]
    for before, row in zip((None, *rows), rows, strict=False):
        why = row.correction_reason or "first writing"
        lines.append(f"{row.recorded_at:%Y-%m-%d %H:%M:%S} UTC  {why}")
        changed = _changes(before.record if before else None, row.record)
        lines += [f"  {name} = {value}" for name, value in changed]
    deleted = [d for d in store.deletions() if any(e == entry_id for _, e in d.entries)]
    lines += [f"{d.recorded_at:%Y-%m-%d %H:%M:%S} UTC  deleted: {d.reason}" for d in deleted]
    return "\n".join(lines)


def _changes(before: Record | None, after: Record) -> list[tuple[str, object]]:
    shown = after.model_dump(mode="json", exclude_none=before is None)
    old = before.model_dump(mode="json") if before else {}
    return [
        (name, "(JSON)" if name == "assessment" else value)
        for name, value in shown.items()
        if before is None or old[name] != value
    ]
