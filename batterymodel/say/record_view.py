"""One battery's record, made ready to be shown: timeline, capacity over time, its tapers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import Any

from batterymodel.capacity.check import CapacityResult
from batterymodel.capacity.in_service import InServiceCapacity
from batterymodel.charts.record import TaperSignature
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.fade.forecast import FadeForecast, fade_forecast
from batterymodel.inputs.check_record import CheckRecord, MeasuredCapacity, checks_from_measured
from batterymodel.inputs.records import Battery, Limits, Record, record_from
from batterymodel.say.attention import Remark, reasoned_outcome_remark, since_servicing
from batterymodel.say.connection_looks import Looks, has_rests, looks_at
from batterymodel.say.kept_forecast import kept_forecast
from batterymodel.say.record import summary
from batterymodel.store import Entry, Store
from batterymodel.store.as_of import aircraft_in_force, battery_in_force, latest
from batterymodel.store.one_look import OneLook, one_look
from batterymodel.store.records import (
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    Move,
    OwnerSheet,
    Servicing,
    day_of,
)
from batterymodel.store.told_twice import each_once

NO_CHECK = "No capacity check of {serial} is on record yet; the first one begins its trend."

MOST_TAPERS = 8
"""Tapers that can be told apart in one chart; the latest are shown."""

_TIMELINE = (
    Connection,
    BenchCheck,
    Servicing,
    Move,
    CardRevision,
    HistoryRevision,
    KnownState,
    OwnerSheet,
)


@dataclass(frozen=True)
class Happening:
    """One line of the timeline."""

    on: date
    words: str
    entry_id: str
    kind: type[Record]


@dataclass(frozen=True)
class ServiceEstimate:
    """Capacity in service from one connection, or why there is none."""

    entry_id: str
    on: date
    estimate: InServiceCapacity | None
    why_not: str | None


@dataclass(frozen=True)
class RecordView:
    """All that the page of a battery's record shows of it.

    ``aircraft`` is the tail it is fitted to, None off aircraft; ``battery`` is as it is in force.
    ``outcome`` is that of the last connection. ``no_forecast`` is the sentence that stands in for
    the forecast where there is none.
    """

    aircraft: str | None
    outcome: Remark
    battery: Battery
    installed_on: date | None
    forecast: FadeForecast | None
    no_forecast: str | None
    service: tuple[ServiceEstimate, ...]
    tapers: tuple[TaperSignature, ...]
    timeline: tuple[Happening, ...]


def record_view(store: Store, serial: str, today: date) -> RecordView:
    """A battery's record as its page shows it, read in one look.

    Parameters
    ----------
    store : Store
    serial : str
    today : date
        Day from which the next check is advised.

    Returns
    -------
    RecordView

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    with looks_at(store, serial) as looks:
        look, plate, service = looks.look, looks.plate, _service_estimates(looks)
        aircraft = aircraft_in_force(look, plate.id, None)
        last = latest(looks.entries, None)
        forecast, no_forecast = None, None
        try:
            forecast = _forecast(looks, service, today)
        except BatteryModelError as error:
            no_forecast = str(error)
        return RecordView(
            aircraft=aircraft.record.tail if aircraft else None,
            outcome=since_servicing(
                store, plate.id, last, reasoned_outcome_remark(last.record if last else None)
            ),
            battery=battery_in_force(look, plate, None, None),
            installed_on=plate.record.installed_on,
            forecast=forecast,
            no_forecast=no_forecast,
            service=service,
            tapers=_tapers(looks),
            timeline=_timeline(look, plate.id),
        )


def timeline_of(store: Store, serial: str) -> tuple[Happening, ...]:
    """Everything on record of a battery, the latest first.

    Parameters
    ----------
    store : Store
    serial : str

    Returns
    -------
    tuple of Happening
        Entries without a day come with the earliest day there is.

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    with one_look(store) as look:
        return _timeline(look, store.plate(serial).id)


def _timeline(look: OneLook, battery_id: str) -> tuple[Happening, ...]:
    entries = sorted(_entries_of(look, battery_id), key=lambda entry: entry.order, reverse=True)
    return tuple(
        Happening(
            day_of(entry.record) or date.min,
            summary(look, entry.record),
            entry.id,
            type(entry.record),
        )
        for entry in entries
    )


def checks_of(store: Store, serial: str, until: date | None = None) -> CheckRecord:
    """Capacity checks of a battery and its estimates in service.

    Parameters
    ----------
    store : Store
    serial : str
    until : date, optional
        Later ones are left out.

    Returns
    -------
    CheckRecord
        Capacities at the reference temperature [Ah], by day.

    Raises
    ------
    InputError
        No such battery, or nothing measured of it.
    """
    with looks_at(store, serial) as looks:
        return _checks(looks, _service_estimates(looks), until)


def _checks(
    looks: Looks, service: tuple[ServiceEstimate, ...], until: date | None = None
) -> CheckRecord:
    told = each_once(looks.look.entries(BenchCheck, battery_id=looks.plate.id))
    bench = [e.record for e in told if until is None or e.record.on <= until]
    found = [
        MeasuredCapacity(c.on, c.capacity_ah, c.capacity_sd_ah, is_lower_bound=c.is_lower_bound)
        for c in bench
    ]
    found += [
        MeasuredCapacity(
            one.on, one.estimate.capacity_ah.mean, one.estimate.capacity_sd_ah, in_service=True
        )
        for one in service
        if one.estimate is not None and (until is None or one.on <= until)
    ]
    serial = looks.plate.record.serial
    if not found:
        raise InputError(NO_CHECK.format(serial=serial))
    return checks_from_measured(found, f"the record of {serial}")


def forecast_of(store: Store, serial: str, today: date, until: date | None = None) -> FadeForecast:
    """Forecast of a battery's capacity from its record.

    Parameters
    ----------
    store : Store
    serial : str
    today : date
        Day from which the next check is advised.
    until : date, optional
        What is on record of later days is left out.

    Returns
    -------
    FadeForecast

    Raises
    ------
    InputError
        No such battery, or nothing measured of it.
    """
    with looks_at(store, serial) as looks:
        return _forecast(looks, _service_estimates(looks), today, until)


def _forecast(
    looks: Looks,
    service: tuple[ServiceEstimate, ...],
    today: date,
    until: date | None = None,
) -> FadeForecast:
    battery = battery_in_force(looks.look, looks.plate, until, None)
    checks = _checks(looks, service, until)
    if until is not None:
        return fade_forecast(checks, battery, today=today)
    return kept_forecast(looks.store, looks.plate.id, checks, battery, today)


def service_estimates_of(store: Store, serial: str) -> tuple[ServiceEstimate, ...]:
    """Capacity in service from every connection with a rest voltage before and after.

    Parameters
    ----------
    store : Store
    serial : str

    Returns
    -------
    tuple of ServiceEstimate
        One for each such connection, with the reason where it gives none.

    Raises
    ------
    InputError
        No such battery.
    """
    with looks_at(store, serial) as looks:
        return _service_estimates(looks)


def _service_estimates(looks: Looks) -> tuple[ServiceEstimate, ...]:
    found = ((entry.id, looks.of(entry)) for entry in looks.entries if has_rests(entry.record))
    return tuple(ServiceEstimate(key, one.on, one.estimate, one.why_not) for key, one in found)


def tapers_of(store: Store, serial: str) -> tuple[TaperSignature, ...]:
    """Tapers of the latest connections that can be read.

    Parameters
    ----------
    store : Store
    serial : str

    Returns
    -------
    tuple of TaperSignature
        At most `MOST_TAPERS`, oldest first; time [s], current over rated capacity [A/Ah].

    Raises
    ------
    InputError
        No such battery.
    """
    with looks_at(store, serial) as looks:
        return _tapers(looks)


def _tapers(looks: Looks) -> tuple[TaperSignature, ...]:
    tapers = (looks.of(entry).taper for entry in reversed(looks.entries))
    shown = islice((taper for taper in tapers if taper is not None), MOST_TAPERS)
    return tuple(shown)[::-1]


def bench_check(
    battery_id: str, result: CapacityResult, on: date, note: str | None = None
) -> BenchCheck:
    """A result of `capacity.check.capacity_check` as the record keeps it.

    Parameters
    ----------
    battery_id : str
    result : CapacityResult
    on : date
        Day of the check.
    note : str, optional

    Returns
    -------
    BenchCheck
        Capacity, its error [Ah] and current [A] to 0.01, time [min] to 0.1; a lower bound where
        the discharge stopped early.

    Raises
    ------
    InputError
        A figure that the record cannot hold, or a note that is too long.
    """
    measured = result.capacity_ah
    bound = measured is None
    capacity = result.at_least_ah if measured is None else measured.mean
    told = {
        "battery_id": battery_id,
        "on": on,
        "capacity_ah": round(float(capacity or 0.0), 2),
        "capacity_sd_ah": None if bound else round(result.capacity_sd_ah, 2),
        "is_lower_bound": bound,
        "discharge_current_a": round(result.mean_current_a, 2),
        "minutes": round(result.minutes, 1),
        "temperature_c": result.temp_c,
        "end_voltage_v": result.end_voltage.value,
        "note": note,
    }
    return record_from(told, BenchCheck, "capacity check")


def fleet_of(store: Store) -> dict[str, str]:
    """Serial of every battery on record with the words to choose it by.

    Parameters
    ----------
    store : Store

    Returns
    -------
    dict
        In order of serial; empty without a battery.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        plates = sorted(store.entries(BatteryPlate), key=lambda entry: entry.record.serial)
        return {plate.record.serial: _battery_words(store, plate.record) for plate in plates}


def _battery_words(store: Store, plate: BatteryPlate) -> str:
    aircraft = store.aircraft_of(plate.serial)
    where = f"in {aircraft.record.tail}" if aircraft else "off aircraft"
    return f"{plate.serial}, {where}{', invented' * plate.invented}"


def changed_limits(before: Limits, after: Limits) -> tuple[str, ...]:
    """Names of the limits that differ between two cards.

    Parameters
    ----------
    before, after : Limits

    Returns
    -------
    tuple of str
        Field names in the order of `Limits`.
    """
    names = Limits.model_fields
    return tuple(name for name in names if getattr(before, name) != getattr(after, name))


def _entries_of(look: OneLook, battery_id: str) -> Iterator[Entry[Any]]:
    for kind in _TIMELINE:
        if kind is not OwnerSheet:
            yield from look.entries(kind, battery_id=battery_id)
    connections = {entry.id for entry in look.entries(Connection, battery_id=battery_id)}
    for sheet in look.entries(OwnerSheet):
        if sheet.record.connection_id in connections:
            yield sheet
