"""What a sheet is made from: a connection with its battery, from files or from the record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from batterymodel.assessment import assess
from batterymodel.basis.text import alike
from batterymodel.errors import InputError
from batterymodel.fade.forecast import FadeForecast
from batterymodel.inputs.records import Battery, Supply
from batterymodel.rules.results import Assessment
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.say.battery_since import faulty_before
from batterymodel.say.record import outcome_words
from batterymodel.say.record_view import forecast_of
from batterymodel.sheet import wording as words
from batterymodel.sheet.content import SheetContent
from batterymodel.sheet.pdf import sheet_pdf
from batterymodel.sheet.sections import sheet_content
from batterymodel.store import Entry, Store
from batterymodel.store.kinds import known_battery
from batterymodel.store.once import add_once
from batterymodel.store.records import BatteryPlate, BenchCheck, Connection, OwnerSheet
from batterymodel.store.told_readings import readings_of, told_beside
from batterymodel.store.told_twice import each_once
from batterymodel.store.track_record import widening

KIND = "findings sheet"


@dataclass(frozen=True)
class SheetCase:
    """One assessed connection, and what the sheet says beside it.

    ``serial`` names the battery of the record it was assessed for, ``checks_on_file`` counts the
    record's capacity checks; None where no record was asked.
    """

    assessment: Assessment
    battery: Battery
    on: date
    supply: Supply | None = None
    forecast: FadeForecast | None = None
    name: str | None = None
    remarks: tuple[str, ...] = ()
    serial: str | None = None
    checks_on_file: int | None = None

    def content(self, owner: str | None = None) -> SheetContent:
        """The sheet for an owner.

        Parameters
        ----------
        owner : str, optional
            Name of the owner, at most 60 characters; without it the sheet says that none
            was given.

        Returns
        -------
        SheetContent

        Raises
        ------
        InputError
            A name that is too long.
        """
        return sheet_content(
            self.assessment,
            self.battery,
            self.on,
            supply=self.supply,
            forecast=self.forecast,
            owner=owner,
            name=self.name,
            remarks=self.remarks,
            checks_on_file=self.checks_on_file,
        )

    def pdf(self, owner: str | None = None, paper: str = "a4") -> bytes:
        """The sheet as a PDF file.

        Parameters
        ----------
        owner : str, optional
            Name of the owner, at most 60 characters.
        paper : str
            ``a4`` or ``letter``, in any case.

        Returns
        -------
        bytes
            As `sheet_pdf` gives them.

        Raises
        ------
        InputError
            A name that is too long, or another paper.
        """
        return sheet_pdf(self.content(owner), paper)


def connections_of(store: Store, serial: str) -> tuple[Entry[Connection], ...]:
    """Assessed connections of a battery on record, the latest first.

    Parameters
    ----------
    store : Store
    serial : str

    Returns
    -------
    tuple of Entry of Connection
        Without those whose readings could not be assessed.

    Raises
    ------
    InputError
        A serial that is not in the record.
    """
    with store.reading():
        found = store.entries(Connection, battery_id=store.plate(serial).id)
    return tuple(entry for entry in found[::-1] if entry.record.assessment is not None)


def recorded_case(store: Store, serial: str, connection_id: str | None = None) -> SheetCase:
    """A connection of the record, the latest where none is named.

    It is assessed with what the record knows of its day, because the record keeps no curves; where
    the answer is no longer the one on record, the sheet says so.

    Parameters
    ----------
    store : Store
    serial : str
    connection_id : str, optional
        `Entry.id` of an assessed connection of that battery.

    Returns
    -------
    SheetCase
        Its forecast is None where no capacity was ever measured.

    Raises
    ------
    InputError
        A battery that is not in the record, or no such connection.
    FitError
        A connection that what is on record now leaves without a taper.
    """
    with store.reading():
        entry = _chosen(store, serial, connection_id)
        told = entry.record
        readings = readings_of(store, told)
        battery = known_battery(store, serial, told.day, before=told.started_at, again=entry.id)
        values = told_beside(told)
        by = widening(store, battery.chemistry, told.day, but=entry.id)
        assessment = assess(readings, battery, on=told.day, widening=by, **values)
    case = SheetCase(assessment, battery, told.day, told.supply, serial=serial)
    before = outcome_words(told)
    changed = before != OUTCOME_WORDS[assessment.outcome]
    remarks = (words.CHANGED.format(before=before),) * changed
    return with_record(store, replace(case, remarks=remarks))


def with_record(store: Store, case: SheetCase) -> SheetCase:
    """The case with what the record knows of its battery up to its day.

    The battery is the one the case was assessed for, else the one whose serial its name is.

    Parameters
    ----------
    store : Store
    case : SheetCase

    Returns
    -------
    SheetCase
        With name, forecast and number of checks by the record; as it was where the battery is not
        in it, or is another by its plate. Its forecast is None where no capacity was measured.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        serial = _serial_of(store, case)
        if serial is None:
            return case
        plate, checks = store.plate(serial), _checks(store, serial)
        counted = [check for check in checks if check.on <= case.on]
        aircraft = store.aircraft_of(serial, case.on)
        faulty_on = faulty_before(store, plate, case.on)
        known = {
            words.INVENTED: plate.record.invented,
            words.LATER_CHECKS: len(counted) < len(checks),
            words.FAULTY_CELL.format(on=faulty_on): faulty_on is not None,
        }
        remarks = (said for said, holds in known.items() if holds and said not in case.remarks)
        return replace(
            case,
            serial=serial,
            name=_name(serial, aircraft.record.tail if aircraft else None),
            forecast=_forecast(store, serial, case.on),
            checks_on_file=len(counted),
            remarks=(*remarks, *case.remarks),
        )


def _serial_of(store: Store, case: SheetCase) -> str | None:
    """Serial on record of the battery of a case; None where it is not there."""
    wanted = alike(case.serial or case.battery.tail)
    for plate in store.entries(BatteryPlate):
        told, battery = plate.record, case.battery
        own = (told.chemistry, told.cells, told.rated_capacity_ah)
        same = own == (battery.chemistry, battery.cells, battery.rated_capacity_ah)
        if same and alike(told.serial) == wanted:
            return told.serial
    return None


def _checks(store: Store, serial: str) -> list[BenchCheck]:
    told = each_once(store.entries(BenchCheck, battery_id=store.plate(serial).id))
    return [entry.record for entry in told]


def _name(serial: str, tail: str | None) -> str:
    return serial if tail is None else words.IN_AIRCRAFT.format(serial=serial, tail=tail)


def keep_sheet(
    store: Store, connection_id: str, data: bytes, file_name: str, made_on: date
) -> Entry[OwnerSheet]:
    """Keep a sheet in the record with its connection.

    Parameters
    ----------
    store : Store
    connection_id : str
        `Entry.id` of the connection it is about.
    data : bytes
        The file as it was handed over.
    file_name : str
        Name to show it under, at most 300 characters.
    made_on : date

    Returns
    -------
    Entry of OwnerSheet
        The one on record where the same sheet was kept before.

    Raises
    ------
    InputError
        A connection that is missing or deleted, or a file that is too large.
    """
    with store.writing():
        sheet = OwnerSheet(
            connection_id=connection_id,
            made_on=made_on,
            kind=KIND,
            file_name=file_name,
            content_sha256=store.keep_file(data),
        )
        return add_once(store, sheet)[0]


def chosen_id(store: Store, serial: str, connection_id: str | None = None) -> str:
    """Id of the connection that `recorded_case` takes.

    Parameters
    ----------
    store : Store
    serial : str
    connection_id : str, optional
        The one asked for; else the latest that was assessed.

    Returns
    -------
    str
        `Entry.id`.

    Raises
    ------
    InputError
        A battery that is not in the record, or no such connection.
    """
    return _chosen(store, serial, connection_id).id


def _chosen(store: Store, serial: str, connection_id: str | None) -> Entry[Connection]:
    found = connections_of(store, serial)
    if connection_id is None and not found:
        raise InputError(f"battery '{serial}' has no assessed connection on record; add one first")
    if connection_id is None:
        return found[0]
    return _named(found, serial, connection_id)


def _named(found: Iterable[Entry[Connection]], serial: str, wanted: str) -> Entry[Connection]:
    for entry in found:
        if entry.id == wanted:
            return entry
    raise InputError(
        f"battery '{serial}' has no assessed connection '{wanted}'; 'record show {serial}' lists "
        "them with their ids"
    )


def _forecast(store: Store, serial: str, on: date) -> FadeForecast | None:
    """Forecast from the record up to a day; None where no capacity was measured."""
    try:
        return forecast_of(store, serial, on, until=on)
    except InputError:
        return None
