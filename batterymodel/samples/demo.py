"""An invented record to look at: the fleet of Saltmarsh Field over six years.

Nothing in it was measured. Ids and moments are fixed, so two records filled with it are equal.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from batterymodel.errors import StoreError
from batterymodel.inputs.records import Battery
from batterymodel.samples.connections import (
    PLACE,
    SCENARIO_DAY,
    Sample,
    load_scenario,
    sample_readings_path,
)
from batterymodel.samples.loads import HANGAR_SUPPLY, LIGHT_SINGLE, LIGHT_TWIN, SAID_ON
from batterymodel.store import Deletion, Entry, Store, open_store
from batterymodel.store.engine import demo_url
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    Consumer,
    LoadConfiguration,
    LoadPlan,
    Move,
    ShopSupply,
    WallCircuit,
)

SEED = 20260302
NOTE = f"Invented demo data of {PLACE}"
REMOVED = "demo data removed"
_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "batterymodel:demo:saltmarsh-field")
_WRITTEN = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
_INSTALLED = date(2020, 3, 2)
_CHECK_SD_AH = 0.6
_BORROWED = "SF-110"

_DAYS = {
    "completed-taper": date(2026, 2, 9),
    "marked-load-steps": date(2026, 2, 16),
    "no-card-no-load": date(2026, 2, 20),
}
"""Days of the sample connections that are not of `SCENARIO_DAY`."""


@dataclass(frozen=True)
class _Wear:
    """Capacity of an invented battery by its age in years [Ah]: two straight lines."""

    at_first_ah: float
    per_year_ah: float
    turn_years: float = np.inf
    after_turn_per_year_ah: float = 0.0

    def capacity_ah(self, years: float) -> float:
        later = max(years - self.turn_years, 0.0)
        early = min(years, self.turn_years)
        return self.at_first_ah + self.per_year_ah * early + self.after_turn_per_year_ah * later


WEAR = {
    "SF-106": _Wear(40.6, -1.75),
    "SF-103": _Wear(41.0, -0.35, 4.0, -4.2),
    "SF-101": _Wear(40.8, -0.3),
}
"""The steady fader, the one that turns, and the one that is fine."""

RAMP_CHECK = (
    Consumer(name="Avionics master", continuous_a=9.0, peak_a=12.0),
    Consumer(name="Cabin and panel lights", continuous_a=3.5, peak_a=4.0),
    Consumer(name="Fuel pump", continuous_a=5.0, peak_a=14.0),
)
EVERYTHING_ON = (
    *RAMP_CHECK,
    Consumer(name="Air conditioning blower", continuous_a=18.0, peak_a=32.0),
)

CIRCUITS = (
    WallCircuit(name="Hangar wall", circuit_breaker_a=15.0),
    WallCircuit(name="Workshop", circuit_breaker_a=20.0),
)
RAMP_CART = ShopSupply(
    name="Ramp cart",
    rated_current_a=30.0,
    input_voltage_v=120.0,
    input_current_full_load_a=9.0,
    circuits=(WallCircuit(name="Ramp post", circuit_breaker_a=15.0),),
    note=NOTE,
    invented=True,
)


def open_demo() -> Store:
    """The demo record in its file of its own, filled when it is opened first.

    Returns
    -------
    Store

    Raises
    ------
    StoreError
        A file that cannot be opened or filled, or sample files that are not there.
    """
    store = open_store(demo_url())
    if store.is_empty():
        try:
            fill_demo(store)
        except StoreError:
            if store.is_empty():
                raise
    return store


def fill_demo(store: Store) -> int:
    """Fill an empty record with the invented fleet, in one transaction.

    Parameters
    ----------
    store : Store
        One into which nothing was ever written.

    Returns
    -------
    int
        Number of connections.

    Raises
    ------
    StoreError
        A record that is not empty, sample files that are not there, or a fault of the database.
    """
    samples, supply = load_scenario()
    if not samples:
        raise StoreError("the sample connections are not installed; get the sample_data folder")
    script = store.with_clock(*_clock_and_ids())
    with script.writing():
        if not script.is_empty():
            raise StoreError(
                f"{store.where}: has entries already; demo data goes into an empty record only"
            )
        batteries = _add_fleet(script, samples)
        for sample in sorted(samples, key=lambda s: (_day(s), s.key)):
            told = Told(
                tail=sample.battery.tail,
                on=_day(sample),
                supply=supply,
                rest_voltage_v=sample.rest_voltage_v,
                load_a=sample.load_a,
                ambient_c=sample.ambient_c,
            )
            data = sample_readings_path(sample.key).read_bytes()
            add_connection(script, batteries[sample.key], data, f"{sample.key}.csv", told)
        _add_ground_power(script)
    return len(samples)


def remove_demo(store: Store) -> Deletion:
    """Take all demo data out of sight in one go; `Store.restore` with its id brings it back.

    Parameters
    ----------
    store : Store
        Batteries, aircraft and supplies that are not marked invented stay.

    Returns
    -------
    Deletion

    Raises
    ------
    StoreError
        No demo data in the record, or a fault of the database.
    """
    with store.writing():
        ids = [
            entry.id
            for kind in (BatteryPlate, Aircraft, ShopSupply)
            for entry in store.entries(kind, invented=True)
        ]
        if not ids:
            raise StoreError(f"{store.where}: holds no demo data")
        return store.delete(ids, REMOVED)


def _day(sample: Sample) -> date:
    return _DAYS.get(sample.key, SCENARIO_DAY)


def _clock_and_ids() -> tuple[Callable[[], datetime], Callable[[], str]]:
    written = {"moments": 0, "ids": 0}

    def now() -> datetime:
        written["moments"] += 1
        return _WRITTEN + timedelta(seconds=written["moments"])

    def new_id() -> str:
        written["ids"] += 1
        return str(uuid.uuid5(_SPACE, str(written["ids"])))

    return now, new_id


def _add_fleet(store: Store, samples: tuple[Sample, ...]) -> dict[str, str]:
    """Aircraft, batteries, checks and moves; returns the serial of each sample's battery."""
    owners = {sample.battery.tail: sample for sample in samples if sample.battery.history}
    aircraft = {
        tail: store.add(Aircraft(tail=tail, note=NOTE, invented=True)) for tail in sorted(owners)
    }
    serials = {tail: f"SF-10{tail[-1]}" for tail in aircraft}
    for tail, serial in serials.items():
        plate = _add_battery(store, serial, owners[tail].battery)
        why = "New battery fitted"
        on_aircraft = aircraft[tail].id
        store.add(Move(battery_id=plate.id, aircraft_id=on_aircraft, on=_INSTALLED, reason=why))
    _add_loan(store, samples, aircraft["DEMO-2"].id, serials["DEMO-2"])
    _add_loads(store, aircraft["DEMO-1"].id)
    return {
        s.key: _BORROWED if s.key == "no-card-no-load" else serials[s.battery.tail] for s in samples
    }


def _add_battery(store: Store, serial: str, battery: Battery) -> Entry[BatteryPlate]:
    worn = serial in WEAR
    told = battery.model_copy(update={"capacity_check": None}) if worn else battery
    plate = add_battery(store, serial, told, _INSTALLED, note=NOTE, invented=True)
    if worn:
        _add_checks(store, plate.id, serial)
    return plate


def _add_checks(store: Store, battery_id: str, serial: str) -> None:
    """A check each half year for five and a half years, with the error of a bench."""
    noise = np.random.default_rng([SEED, int(serial[-3:])])
    for half_year in range(12):
        on = _INSTALLED + timedelta(days=round(half_year * 182.625))
        capacity = WEAR[serial].capacity_ah(half_year / 2.0) + noise.normal(0.0, _CHECK_SD_AH)
        current_a = 40.0
        store.add(
            BenchCheck(
                battery_id=battery_id,
                on=on,
                capacity_ah=round(capacity, 1),
                capacity_sd_ah=_CHECK_SD_AH,
                discharge_current_a=current_a,
                minutes=round(60.0 * capacity / current_a, 1),
                temperature_c=25.0,
                end_voltage_v=20.0,
                note=NOTE,
            )
        )


def _add_loan(store: Store, samples: tuple[Sample, ...], aircraft_id: str, own_serial: str) -> None:
    """DEMO-2 flew some days with a borrowed battery while the connector of its own was replaced."""
    borrowed = next(s.battery for s in samples if s.key == "no-card-no-load")
    loan = add_battery(store, _BORROWED, borrowed, date(2026, 2, 18), note=NOTE, invented=True)
    own = store.plate(own_serial).id
    for battery_id, on_aircraft, on, reason in (
        (own, None, date(2026, 2, 18), "To the bench: worn connector to be replaced"),
        (loan.id, aircraft_id, date(2026, 2, 18), "Borrowed while the aircraft's own is away"),
        (loan.id, None, date(2026, 2, 25), "Given back"),
        (own, aircraft_id, date(2026, 2, 25), "Back from the bench"),
    ):
        store.add(Move(battery_id=battery_id, aircraft_id=on_aircraft, on=on, reason=reason))


def _add_loads(store: Store, aircraft_id: str) -> None:
    for name, consumers in (("Ramp check", RAMP_CHECK), ("Everything on", EVERYTHING_ON)):
        store.add(
            LoadConfiguration(aircraft_id=aircraft_id, name=name, consumers=consumers, note=NOTE)
        )


def _add_ground_power(store: Store) -> None:
    """Load plans of the aircraft that have one, and the supplies with their wall circuits."""
    for loads in (LIGHT_SINGLE, LIGHT_TWIN):
        aircraft = store.aircraft(loads.tail)
        store.add(LoadPlan(aircraft_id=aircraft.id, on=SAID_ON, loads=loads, note=NOTE))
    plate = {**HANGAR_SUPPLY.model_dump(), "circuit_breaker_a": None}
    store.add(ShopSupply(**{**plate, "circuits": CIRCUITS, "note": NOTE, "invented": True}))
    store.add(RAMP_CART)
