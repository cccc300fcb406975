"""One battery's record, made ready to be shown: timeline, capacity over time, its tapers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from batterymodel.capacity.check import CapacityResult
from batterymodel.capacity.in_service import InServiceCapacity, in_service_capacity
from batterymodel.charts.record import LEAST_FLOW, TaperSignature
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.fade.forecast import FadeForecast, fade_forecast
from batterymodel.inputs.check_record import CHECK, IN_SERVICE, CheckRecord, checks_from_frame
from batterymodel.inputs.records import Limits, Record, record_from
from batterymodel.say.record import summary
from batterymodel.store import Entry, Store
from batterymodel.store.intake import readings_of
from batterymodel.store.records import (
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    Move,
    OwnerSheet,
    day_of,
)
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from

NO_CHECK = "No capacity check of {serial} is on record yet; the first one begins its trend."

MOST_TAPERS = 8
"""Tapers that can be told apart in one chart; the latest are shown."""

_TIMELINE = (Connection, BenchCheck, Move, CardRevision, HistoryRevision, KnownState, OwnerSheet)


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
    with store.reading():
        entries = list(_entries_of(store, store.plate(serial).id))
        entries.sort(key=lambda entry: entry.order, reverse=True)
        return tuple(
            Happening(
                day_of(entry.record) or date.min,
                summary(store, entry.record),
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
    with store.reading():
        plate = store.plate(serial)
        found = store.entries(BenchCheck, battery_id=plate.id)
        rows = [_check_row(e.record) for e in found if until is None or e.record.on <= until]
        rows += [
            (
                seen.on,
                seen.estimate.capacity_ah.mean,
                seen.estimate.capacity_sd_ah,
                IN_SERVICE,
                "no",
            )
            for seen in service_estimates_of(store, serial)
            if seen.estimate is not None and (until is None or seen.on <= until)
        ]
    if not rows:
        raise InputError(NO_CHECK.format(serial=serial))
    names = ["on", "capacity_ah", "capacity_sd_ah", "kind", "lower_bound"]
    frame = pd.DataFrame([tuple(map(_as_text, row)) for row in rows], columns=names)
    return checks_from_frame(frame, f"the record of {serial}")


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
    with store.reading():
        checks, battery = checks_of(store, serial, until), store.battery(serial, until)
        return fade_forecast(checks, battery, today=today)


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
    with store.reading():
        plate = store.plate(serial)
        found = store.entries(Connection, battery_id=plate.id)
        return tuple(
            _service_estimate(store, serial, entry)
            for entry in found
            if entry.record.rest_voltage_v is not None and entry.record.rest_after_v is not None
        )


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
    with store.reading():
        plate = store.plate(serial)
        found = store.entries(Connection, battery_id=plate.id)[::-1]
        tapers = (_taper(store, serial, entry) for entry in found)
        return tuple([t for t in tapers if t is not None][:MOST_TAPERS][::-1])


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


def _entries_of(store: Store, battery_id: str) -> Iterator[Entry[Any]]:
    for kind in _TIMELINE:
        if kind is not OwnerSheet:
            yield from store.entries(kind, battery_id=battery_id)
    for connection in store.entries(Connection, battery_id=battery_id):
        yield from store.entries(OwnerSheet, connection_id=connection.id)


def _check_row(check: BenchCheck) -> tuple[object, ...]:
    bound = "yes" if check.is_lower_bound else "no"
    return check.on, check.capacity_ah, check.capacity_sd_ah, CHECK, bound


def _as_text(value: object) -> str:
    return "" if value is None else str(value)


def _service_estimate(store: Store, serial: str, entry: Entry[Connection]) -> ServiceEstimate:
    told = entry.record
    try:
        estimate = in_service_capacity(
            readings_of(store, told),
            store.battery(serial, told.day, before=told.started_at, again=entry.id),
            told.supply,
            rest_before_v=float(told.rest_voltage_v or 0.0),
            rest_after_v=float(told.rest_after_v or 0.0),
            temp_c=told.ambient_c,
            load_a=told.load_a,
            load_sd_a=told.load_sd_a,
            on=told.day,
        )
    except BatteryModelError as error:
        return ServiceEstimate(entry.id, told.day, None, str(error))
    return ServiceEstimate(entry.id, told.day, estimate, None)


def _taper(store: Store, serial: str, entry: Entry[Connection]) -> TaperSignature | None:
    """Battery current above load and float current, over capacity, as the fit separates them."""
    told = entry.record
    try:
        readings = readings_of(store, told)
        battery = store.battery(serial, told.day, before=told.started_at, again=entry.id)
        signal = signal_from(readings, told.supply, told.load_a, told.load_sd_a)
        fit = fit_taper(signal, prior_for(battery, None))
    except BatteryModelError:
        return None
    flow = (signal.current_a - fit.base(signal.time_s)) / battery.rated_capacity_ah
    shown = (signal.usable | signal.current_limited) & (flow > LEAST_FLOW)
    if shown.sum() < 2:
        return None
    temps = readings.battery_temp_c
    temp = told.ambient_c
    if temps is not None and np.isfinite(temps).any():
        temp = float(np.nanmedian(temps))
    return TaperSignature(told.day, temp, signal.time_s[shown], flow[shown])
