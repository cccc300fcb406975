"""``budget``: whether a task fits on a ground supply, and what must be left off."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING, Any

from batterymodel.commands.told import assessed, declare_known, told_supply
from batterymodel.commands.told_log import LOG_HELP, declare_columns, told_readings
from batterymodel.errors import InputError

if TYPE_CHECKING:
    from batterymodel.budget.results import Budget
    from batterymodel.inputs.load_plan import AircraftLoads


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    command = commands.add_parser(
        "budget",
        help="whether a task fits on a ground supply, and what to leave off",
        description="What of a task fits on a supply and its wall circuit, what is left off, what "
        "motors' starts do to the bus, and how long the battery alone would last.",
    )
    command.add_argument(
        "loads",
        metavar="LOADS.toml",
        help="the aircraft's consumers ([[consumers]]: name, continuous_a, ...) and tasks "
        "([[tasks]]: name, minutes, needs, wants)",
    )
    command.add_argument(
        "--task", metavar="NAME", help="one of its tasks; without, all of them in short"
    )
    command.add_argument("--log", metavar="LOG.csv", help=LOG_HELP)
    command.add_argument("--battery", metavar="B.toml", help="the battery of that log")
    declare_known(command, supply_needed=True)
    command.add_argument(
        "--supply-temp", type=float, metavar="C", help="temperature of the air at the supply [°C]"
    )
    declare_columns(command)
    command.add_argument("--json", action="store_true", help="print one JSON object (of one task)")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The budget of a task, or of all tasks in short; or one JSON object.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares; a log and its battery together, or neither.

    Returns
    -------
    str
        To be printed as it stands.

    Raises
    ------
    InputError
        Options that do not go together, an unknown task, or a file or value that cannot be used.
    FitError
        Readings that determine no taper.
    """
    from batterymodel.inputs.load_plan import read_aircraft_loads
    from batterymodel.say.budget import budget_text, tasks_text

    loads = read_aircraft_loads(options.loads)
    names = _task_names(loads, options)
    battery, taken = _told_of_battery(options)
    budgets = _budgets(loads, names, battery, options)
    if options.json:
        return budgets[0].model_dump_json(indent=2)
    return taken + (budget_text(budgets[0]) if len(budgets) == 1 else tasks_text(budgets))


def _task_names(loads: AircraftLoads, options: argparse.Namespace) -> tuple[str, ...]:
    """The task that was asked for, else all of the aircraft's."""
    known = tuple(task.name for task in loads.tasks)
    if not known:
        raise InputError(
            f"{options.loads}: has no task; a [[tasks]] with name, minutes and needs would be right"
        )
    if options.task is not None:
        return (loads.task(options.task).name,)
    if options.json and len(known) > 1:
        raise InputError(f"--json needs --task with one of: {', '.join(known)}")
    return known


def _budgets(
    loads: AircraftLoads,
    names: tuple[str, ...],
    battery: dict[str, Any],
    options: argparse.Namespace,
) -> list[Budget]:
    from batterymodel.budget.plan import budget

    supply = told_supply(options)
    assert supply is not None  # argparse asks for it
    temp_c, on = options.supply_temp, options.on or date.today()
    return [budget(loads, name, supply, supply_temp_c=temp_c, on=on, **battery) for name in names]


def _told_of_battery(options: argparse.Namespace) -> tuple[dict[str, Any], str]:
    """What a log and its battery tell `plan.budget`, and how the log's columns were taken."""
    if options.log is None and options.battery is None:
        _refuse_without_log(options)
        return {}, ""
    if options.log is None or options.battery is None:
        raise InputError("give --log LOG.csv and --battery B.toml together, or neither")
    from batterymodel.budget.battery import battery_now
    from batterymodel.inputs.records import read_battery
    from batterymodel.say.connection import columns_taken

    readings, column_map = told_readings(options)
    battery = read_battery(options.battery)
    _, temps_c = readings.battery_temps()
    told = {
        "battery_now": battery_now(assessed(readings, battery, options), battery.chemistry),
        "battery": battery,
        "readings": readings,
        "battery_temp_c": float(temps_c[-1]) if temps_c.size else options.ambient,
    }
    return told, "" if column_map.own else f"{columns_taken(column_map)}\n\n"


def _refuse_without_log(options: argparse.Namespace) -> None:
    """Refuse what says something of a log where there is none."""
    for name in ("rest_voltage", "load", "ambient", "column", "decimal"):
        if getattr(options, name) not in (None, []):
            option = name.replace("_", "-")
            raise InputError(f"--{option} is of a log; give --log and --battery beside it")
