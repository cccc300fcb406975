"""``budget``: whether a task fits on a ground supply, and what must be left off."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from batterymodel.commands.told import declare_known
from batterymodel.commands.told_log import LOG_HELP, declare_columns
from batterymodel.errors import InputError

if TYPE_CHECKING:
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
        nargs="?",
        metavar="LOADS.toml",
        help="the aircraft's consumers ([[consumers]]: name, continuous_a, ...) and tasks "
        "([[tasks]]: name, minutes, needs, wants); without, those of --tail on record",
    )
    command.add_argument(
        "--tail",
        metavar="TAIL",
        help="aircraft on record: its loads with what connections taught, and its battery as it "
        "was seen last, where no file is given of them",
    )
    command.add_argument(
        "--database",
        metavar="URL",
        help="file or URL of the record (BATTERYMODEL_DATABASE_URL)",
    )
    command.add_argument(
        "--task", metavar="NAME", help="one of its tasks; without, all of them in short"
    )
    command.add_argument("--log", metavar="LOG.csv", help=LOG_HELP)
    command.add_argument("--battery", metavar="B.toml", help="the battery of that log")
    declare_known(command)
    command.add_argument(
        "--supply-name", metavar="NAME", help="a supply on record, in place of --supply"
    )
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
        To be printed as it stands; of a record, above the budget what was taken from where.

    Raises
    ------
    InputError
        Options that do not go together, an unknown task, what is not in the record, or a file or
        value that cannot be used.
    FitError
        Readings that determine no taper.
    StoreError
        The record cannot be opened or read.
    """
    from batterymodel.commands.budget_basis import basis_of

    basis = basis_of(options)
    names = _task_names(basis.loads, options)
    budgets = [basis.budget(name, options.supply_temp) for name in names]
    if not options.json:
        return basis.text(budgets)
    print(basis.heading(budgets[0]).strip(), end="\n" * bool(basis.taken), file=sys.stderr)
    return budgets[0].model_dump_json(indent=2)


def _task_names(loads: AircraftLoads, options: argparse.Namespace) -> tuple[str, ...]:
    """The task that was asked for, else all of the aircraft's."""
    known = tuple(task.name for task in loads.tasks)
    if not known:
        where = options.loads or f"{loads.tail} on record"
        raise InputError(
            f"{where}: has no task; a [[tasks]] with name, minutes and needs would be right"
        )
    if options.task is not None:
        return (loads.task(options.task).name,)
    if options.json and len(known) > 1:
        raise InputError(f"--json needs --task with one of: {', '.join(known)}")
    return known
