"""What one connection on record shows: its taper, and the capacity in service where rests tell it.

Both come from one fit. It is kept beside the record with the digest of all it was made from, and
made again where that differs now.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import numpy as np
from pydantic import ValidationError

from batterymodel.capacity.in_service import (
    BatteryTemps,
    InServiceCapacity,
    battery_temps,
    connection_fit,
    in_service_of_fit,
)
from batterymodel.charts.record import LEAST_FLOW, TaperSignature
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Battery, Readings
from batterymodel.rules.results import Result
from batterymodel.store import Entry, Store
from batterymodel.store.kept_results import KeptResult, digest_of, keep_results, kept_results
from batterymodel.store.one_look import OneLook, one_look
from batterymodel.store.records import BatteryPlate, Connection
from batterymodel.store.told_readings import readings_of
from batterymodel.taper.fit import TaperFit

KIND = "connection look"
MOST_KEPT = 600
"""Points of a taper that are kept and drawn at most, first and last among them (own choice: eight
tapers then stay below the 5,000 rows that a chart takes)."""

_ASSESSED = {"assessment", "not_assessed"}
"""Fields of a connection that say nothing of what its readings show."""


class ConnectionLook(Result):
    """What a connection shows; None where it does not.

    ``time_s``, ``current_per_ah``: the taper as in `TaperSignature`, at most `MOST_KEPT` points;
    ``taper_c`` [degC]. ``why_not`` says why there is no capacity in service of a connection with
    both rest voltages.
    """

    on: date
    taper_c: float | None = None
    time_s: tuple[float, ...] | None = None
    current_per_ah: tuple[float, ...] | None = None
    estimate: InServiceCapacity | None = None
    why_not: str | None = None

    @property
    def taper(self) -> TaperSignature | None:
        """The taper, to lay over others."""
        if self.time_s is None or self.current_per_ah is None:
            return None
        flow = np.array(self.current_per_ah)
        return TaperSignature(self.on, self.taper_c, np.array(self.time_s), flow)


def has_rests(connection: Connection) -> bool:
    """Whether rest voltages before and after tell of the capacity in service.

    Parameters
    ----------
    connection : Connection

    Returns
    -------
    bool
    """
    return connection.rest_voltage_v is not None and connection.rest_after_v is not None


@dataclass
class Looks:
    """The connections of one battery, each looked at once; `looks_at` makes one."""

    store: Store
    look: OneLook
    plate: Entry[BatteryPlate]
    kept: dict[str, KeptResult]
    made: dict[str, KeptResult]

    @property
    def entries(self) -> tuple[Entry[Connection], ...]:
        """Connections of the battery, in order of their day."""
        return self.look.entries(Connection, battery_id=self.plate.id)

    def of(self, entry: Entry[Connection]) -> ConnectionLook:
        """What a connection shows, as it was kept where nothing it rests on has changed.

        Parameters
        ----------
        entry : Entry of Connection

        Returns
        -------
        ConnectionLook
        """
        battery = self.look.battery_before(self.plate, entry)
        told = entry.record.model_dump_json(exclude=_ASSESSED)
        digest = digest_of(KIND, told, battery.model_dump_json())
        kept = self.made.get(entry.id) or self.kept.get(entry.id)
        found = None if kept is None or kept.digest != digest else _read(kept.value)
        if found is None:
            found = connection_look(partial(readings_of, self.store), entry.record, battery)
            self.made[entry.id] = KeptResult(digest, found.model_dump_json())
        return found


@contextmanager
def looks_at(store: Store, serial: str) -> Iterator[Looks]:
    """Look at the connections of a battery; what had to be made is kept at the end.

    Parameters
    ----------
    store : Store
    serial : str

    Yields
    ------
    Looks

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    made: dict[str, KeptResult] = {}
    try:
        with one_look(store) as look:
            plate = store.plate(serial)
            ids = [entry.id for entry in look.entries(Connection, battery_id=plate.id)]
            yield Looks(store, look, plate, kept_results(store, KIND, ids), made)
    finally:
        if made:
            keep_results(store, KIND, made)


def connection_look(
    readings_of: Callable[[Connection], Readings], told: Connection, battery: Battery
) -> ConnectionLook:
    """What a connection shows, by one fit of its taper.

    Parameters
    ----------
    readings_of : callable
        Gives the readings of a connection; it may raise a `BatteryModelError`.
    told : Connection
    battery : Battery
        As the connection found it.

    Returns
    -------
    ConnectionLook
    """
    try:
        readings = readings_of(told)
        temps = battery_temps(readings, told.ambient_c)
        fit = connection_fit(
            readings,
            battery,
            told.supply,
            temps,
            load_a=told.load_a,
            load_sd_a=told.load_sd_a,
        )
    except BatteryModelError as error:
        return ConnectionLook(on=told.day, why_not=str(error) if has_rests(told) else None)
    taper = _taper(fit, battery.rated_capacity_ah) | {"taper_c": temps.taper_c}
    return ConnectionLook(on=told.day, **taper, **_in_service(fit, readings, battery, temps, told))


def _taper(fit: TaperFit, rated_ah: float) -> dict[str, Any]:
    """Battery current above load and float current, over capacity, as the fit separates them."""
    signal = fit.signal
    flow = (signal.current_a - fit.base(signal.time_s)) / rated_ah
    shown = np.flatnonzero((signal.usable | signal.current_limited) & (flow > LEAST_FLOW))
    if shown.size < 2:
        return {}
    drawn = np.linspace(0, shown.size - 1, min(shown.size, MOST_KEPT)).round().astype(int)
    at = shown[drawn]
    return {
        "time_s": tuple(signal.time_s[at].tolist()),
        "current_per_ah": tuple(flow[at].tolist()),
    }


def _in_service(
    fit: TaperFit, readings: Readings, battery: Battery, temps: BatteryTemps, told: Connection
) -> dict[str, Any]:
    if told.rest_voltage_v is None or told.rest_after_v is None:
        return {}
    try:
        estimate = in_service_of_fit(
            fit,
            readings,
            battery,
            temps,
            rest_before_v=told.rest_voltage_v,
            rest_after_v=told.rest_after_v,
            on=told.day,
        )
    except BatteryModelError as error:
        return {"why_not": str(error)}
    return {"estimate": estimate}


def _read(value: str) -> ConnectionLook | None:
    """What was kept; None where other hands spoilt it."""
    try:
        return ConnectionLook.model_validate_json(value)
    except ValidationError:
        return None
