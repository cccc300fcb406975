"""What a sheet is made from: a connection with its battery, from files or from the record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from batterymodel.assessment import assess
from batterymodel.errors import InputError
from batterymodel.fade.forecast import FadeForecast
from batterymodel.inputs.records import Battery, Supply
from batterymodel.rules.results import Assessment
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.say.record import outcome_words
from batterymodel.say.record_view import forecast_of
from batterymodel.sheet import wording as words
from batterymodel.sheet.content import SheetContent
from batterymodel.sheet.pdf import sheet_pdf
from batterymodel.sheet.sections import sheet_content
from batterymodel.store import Entry, Store
from batterymodel.store.intake import TOLD_FIELDS, readings_of
from batterymodel.store.once import add_once
from batterymodel.store.records import Connection, OwnerSheet

KIND = "findings sheet"


@dataclass(frozen=True)
class SheetCase:
    """One assessed connection, and what the sheet says beside it."""

    assessment: Assessment
    battery: Battery
    on: date
    supply: Supply | None = None
    forecast: FadeForecast | None = None
    name: str | None = None
    remarks: tuple[str, ...] = ()

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
        plate, entry = store.plate(serial), _chosen(store, serial, connection_id)
        told = entry.record
        readings = readings_of(store, told)
        battery = store.battery(serial, told.day, before=told.started_at, again=entry.id)
        values = {name: getattr(told, name) for name in TOLD_FIELDS}
        assessment = assess(readings, battery, on=told.day, **values)
        forecast = _forecast(store, serial, told.day)
    name = serial
    if battery.tail != serial:
        name = words.IN_AIRCRAFT.format(serial=serial, tail=battery.tail)
    remarks = [words.INVENTED] * plate.record.invented
    before = outcome_words(told)
    if before != OUTCOME_WORDS[assessment.outcome]:
        remarks.append(words.CHANGED.format(before=before))
    return SheetCase(assessment, battery, told.day, told.supply, forecast, name, tuple(remarks))


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
    """Forecast from the whole record; None where no capacity was ever measured."""
    try:
        return forecast_of(store, serial, on)
    except InputError:
        return None
