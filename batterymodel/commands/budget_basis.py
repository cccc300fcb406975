"""What a budget of the command line rests on: files, and the record where no file is given."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from batterymodel.budget.battery import battery_now
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Budget
from batterymodel.commands.told import assessed, told_supply
from batterymodel.commands.told_log import told_readings
from batterymodel.errors import InputError
from batterymodel.inputs.load_plan import AircraftLoads, read_aircraft_loads
from batterymodel.inputs.records import Supply, read_battery
from batterymodel.say.budget import budget_text, tasks_text
from batterymodel.say.connection import columns_taken, wrapped
from batterymodel.say.ground_power import (
    PowerBasis,
    battery_words,
    learned_from_words,
    loads_words,
    power_basis,
    taught_words,
    view_on,
)
from batterymodel.store import Store, open_store
from batterymodel.store.power import supply_named

OF_A_LOG = ("rest_voltage", "load", "ambient", "column", "decimal")
LOADS_OF_FILE = "Consumers and tasks: {file}; nothing of the record is learned into them."
SUPPLY_OF_RECORD = "Supply: {name}{circuit}, of the record."
SUPPLY_OF_FILE = "Supply: {file}."
BATTERY_OF_FILES = "Battery: {battery}, as {log} shows it."


@dataclass(frozen=True)
class Basis:
    """Loads, supply and battery of the budgets that are asked for; ``taken`` says from where.

    ``power`` is what the record was asked for; None where it was not asked for the aircraft.
    """

    loads: AircraftLoads
    supply: Supply
    told: dict[str, Any]
    now: datetime
    taken: tuple[str, ...]
    columns: str = ""
    power: PowerBasis | None = None

    def budget(self, task: str, supply_temp_c: float | None) -> Budget:
        """The budget of a task; by what the record knows, exactly as its page has it.

        Parameters
        ----------
        task : str
        supply_temp_c : float or None
            Air at the supply [degC].

        Returns
        -------
        Budget
        """
        if self.power is not None:
            return view_on(self.power, task, self.supply, self.now, supply_temp_c).budget
        told = {"supply_temp_c": supply_temp_c, "on": self.now.date(), **self.told}
        return budget(self.loads, task, self.supply, **told)

    def text(self, budgets: Sequence[Budget]) -> str:
        """The budget of one task, or of several in short, below what was taken from where.

        Parameters
        ----------
        budgets : sequence of Budget

        Returns
        -------
        str
            What a connection on record taught is told as counted, not as a figure for a file.
        """
        if len(budgets) > 1:
            return self.heading(budgets[0]) + tasks_text(budgets)
        (found,) = budgets
        shown = found if self.power is None else found.model_copy(update={"learned": ()})
        return self.heading(found) + budget_text(shown)

    def heading(self, found: Budget) -> str:
        """What was taken from where, to stand above a budget; empty where all was told by files.

        Parameters
        ----------
        found : Budget

        Returns
        -------
        str
            Wrapped lines, each sentence on its own.
        """
        taught = taught_words(found) if self.power is not None else ()
        lines = "\n".join(wrapped(words) for words in (*self.taken, *taught))
        return "".join(f"{part}\n\n" for part in (self.columns, lines) if part)


def basis_of(options: argparse.Namespace) -> Basis:
    """What was told by files, and what the record tells of the aircraft and supply it names.

    Parameters
    ----------
    options : Namespace
        What `budget.add_to` declares.

    Returns
    -------
    Basis

    Raises
    ------
    InputError
        Options that do not go together, what is not in the record, or a file that cannot be used.
    FitError
        Readings that determine no taper.
    StoreError
        The record cannot be opened or read.
    """
    _refuse_what_does_not_go_together(options)
    loads = None if options.loads is None else read_aircraft_loads(options.loads)
    store = _record(options)
    supply = _supply(store, options)
    told, columns = _told_of_battery(supply, options)
    now = _moment(options.on)
    if options.tail is None:
        assert loads is not None  # one of both is asked for
        taken = () if store is None else _taken(supply, options)
        return Basis(loads, supply, told or {}, now, taken, columns)
    assert store is not None  # a tail asks for it
    power = power_basis(store, options.tail, now, loads, told)
    taken = (*_taken(supply, options), *_taken_of_aircraft(power, options, now))
    return Basis(power.learned.loads, supply, power.told, now, taken, columns, power)


def _refuse_what_does_not_go_together(options: argparse.Namespace) -> None:
    if options.loads is None and options.tail is None:
        raise InputError(
            "nothing says what the aircraft takes; LOADS.toml, or --tail with an aircraft on "
            "record, would be right"
        )
    if (options.supply is None) == (options.supply_name is None):
        given = "neither" if options.supply is None else "both"
        raise InputError(
            f"{given} of --supply S.toml and --supply-name NAME given; one would be right"
        )
    if options.database and options.tail is None and options.supply_name is None:
        raise InputError("--database is of a record; give --tail or --supply-name beside it")


def _record(options: argparse.Namespace) -> Store | None:
    if options.tail is None and options.supply_name is None:
        return None
    store = open_store(options.database)
    if store.backup:
        print(f"the record was brought up to date; as it was: {store.backup}", file=sys.stderr)
    return store


def _supply(store: Store | None, options: argparse.Namespace) -> Supply:
    if options.supply_name is None:
        supply = told_supply(options)
        assert supply is not None  # one of both is asked for
        return supply
    assert store is not None  # a supply on record asks for it
    shop, circuit = supply_named(store, options.supply_name), options.circuit
    if circuit is None and len(shop.circuits) > 1:
        names = ", ".join(one.name for one in shop.circuits)
        raise InputError(f"{shop.name}: has several circuits; give --circuit with one of: {names}")
    return shop.on_circuit(circuit)


def _moment(on: date | None) -> datetime:
    """Now, or the end of a day that was told."""
    now = datetime.now().astimezone()
    if on is None or on == now.date():
        return now
    return datetime.combine(on, time(23, 59)).astimezone()


def _taken(supply: Supply, options: argparse.Namespace) -> tuple[str, ...]:
    """Where the supply is from, beside a record."""
    if options.supply_name is None:
        return (SUPPLY_OF_FILE.format(file=options.supply),)
    circuit = f" on {options.circuit}" if options.circuit else ""
    return (SUPPLY_OF_RECORD.format(name=supply.name, circuit=circuit),)


def _taken_of_aircraft(
    power: PowerBasis, options: argparse.Namespace, now: datetime
) -> tuple[str, ...]:
    """Where loads and battery are from, beside a record."""
    loads = power.learned.loads
    said = (
        LOADS_OF_FILE.format(file=options.loads)
        if options.loads
        else loads_words(loads, power.learned.said_first)
    )
    files = {"battery": options.battery, "log": options.log}
    battery = BATTERY_OF_FILES.format(**files) if options.log else battery_words(power, now)
    return tuple(filter(None, (said, learned_from_words(power.learned), battery)))


def _told_of_battery(
    supply: Supply, options: argparse.Namespace
) -> tuple[dict[str, Any] | None, str]:
    """What a log and its battery tell `plan.budget`, and how the log's columns were taken."""
    if options.log is None and options.battery is None:
        _refuse_without_log(options)
        return None, ""
    if options.log is None or options.battery is None:
        raise InputError("give --log LOG.csv and --battery B.toml together, or neither")
    readings, column_map = told_readings(options)
    battery = read_battery(options.battery)
    _, temps_c = readings.battery_temps()
    assessment = assessed(readings, battery, options, supply)
    told = {
        "battery_now": battery_now(assessment, battery.chemistry),
        "battery": battery,
        "readings": readings,
        "battery_temp_c": float(temps_c[-1]) if temps_c.size else options.ambient,
    }
    return told, "" if column_map.own else columns_taken(column_map)


def _refuse_without_log(options: argparse.Namespace) -> None:
    """Refuse what says something of a log where there is none."""
    for name in OF_A_LOG:
        if getattr(options, name) not in (None, []):
            option = name.replace("_", "-")
            raise InputError(f"--{option} is of a log; give --log and --battery beside it")
