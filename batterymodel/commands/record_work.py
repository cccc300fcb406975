"""What ``record`` does with an opened record, by the word that asks for it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from tqdm import tqdm

from batterymodel.basis.text import counted
from batterymodel.commands.record_add_work import add_thing, told_from
from batterymodel.errors import InputError
from batterymodel.inputs.records import record_toml
from batterymodel.samples.demo import fill_demo, remove_demo
from batterymodel.say.ground_power import learned_from_words
from batterymodel.say.in_service import service_estimates_json, service_estimates_text
from batterymodel.say.record import (
    battery_text,
    deletions_text,
    entries_words,
    fleet_text,
    history_text,
    summary,
    taken_text,
)
from batterymodel.say.record_view import service_estimates_of
from batterymodel.say.track_record import score_json, score_text
from batterymodel.store import Store
from batterymodel.store.acts import State
from batterymodel.store.archive import export_zip
from batterymodel.store.corrections import AssessedWith, assessed_with, corrected_entry
from batterymodel.store.folder_intake import connection_files, import_connections
from batterymodel.store.in_progress import connections_in_progress
from batterymodel.store.learned_loads import learned_loads
from batterymodel.store.power import loads_in_force
from batterymodel.store.track_record import track_record
from batterymodel.store.zip_import import import_zip

OPEN_STATES = (State.IN_PROGRESS, State.LEFT)


def list_batteries(store: Store, options: argparse.Namespace) -> str:
    """The batteries, or the deletions.

    Parameters
    ----------
    store : Store
    options : Namespace
        `deleted` is read.

    Returns
    -------
    str
    """
    return deletions_text(store.deletions()) if options.deleted else fleet_text(store)


def show_battery(store: Store, options: argparse.Namespace) -> str:
    """One battery and everything on record.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial` and `on` (None: as it is now) are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A battery that is not on record.
    """
    return battery_text(store, options.serial, options.on)


def show_capacity(store: Store, options: argparse.Namespace) -> str:
    """What every connection with both rest voltages tells of the capacity in service.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial` and `json` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A battery that is not on record.
    """
    found = service_estimates_of(store, options.serial)
    say = service_estimates_json if options.json else service_estimates_text
    return say(options.serial, found)


def show_loads(store: Store, options: argparse.Namespace) -> str:
    """Consumers and tasks of an aircraft as TOML, their currents as connections taught them.

    Parameters
    ----------
    store : Store
    options : Namespace
        `tail`, `on` (None: as told last) and `as_told` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        An aircraft that is not on record, or of which no loads are.
    """
    loads = loads_in_force(store, options.tail, options.on)
    if loads is None:
        raise InputError(
            f"there are no loads of '{options.tail}' in the record; 'record add loads' adds them"
        )
    if options.as_told:
        return record_toml(loads).rstrip("\n")
    learned = learned_loads(store, loads)
    words = learned_from_words(learned)
    return (f"# {words}\n" * bool(words) + record_toml(learned.loads)).rstrip("\n")


def show_score(store: Store, options: argparse.Namespace) -> str:
    """How right the answers on record turned out.

    Parameters
    ----------
    store : Store
    options : Namespace
        `json` is read.

    Returns
    -------
    str
        Text, or one JSON object.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    record = track_record(store)
    return score_json(record) if options.json else score_text(record)


def show_history(store: Store, options: argparse.Namespace) -> str:
    """Every row of an entry.

    Parameters
    ----------
    store : Store
    options : Namespace
        `id` is read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        An id that is not in the record.
    """
    return history_text(store, options.id)


def correct_entry(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms a correction.

    Parameters
    ----------
    store : Store
    options : Namespace
        `id`, `changes` (texts ``FIELD=VALUE``; no value empties a field) and `reason` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A text that is no change, or what `corrected_entry` refuses.
    """
    pairs = [change.partition("=") for change in options.changes]
    for field, equals, _ in pairs:
        if not equals:
            raise InputError(f"'{field}' is no change; write FIELD=VALUE")
    changes = {field: value or None for field, _, value in pairs}
    entry = corrected_entry(store, options.id, changes, options.reason)
    said = f"corrected: {summary(store, entry.record)}  [{entry.id}]"
    return "; ".join([said, *_assessed_anew_words(assessed_with(store, entry))])


def _assessed_anew_words(found: AssessedWith) -> Iterator[str]:
    if found.anew:
        yield f"{_were(len(found.anew))} assessed and learned from anew by this plate"
    if found.kept:
        names = ", ".join(one.record.file_name for one in found.kept)
        ids = ", ".join(one.id for one in found.kept)
        yield (
            f"{_were(len(found.kept))} not assessed anew, because {names} cannot be assessed now: "
            f"the former answer stays as it was given, by the former plate  [{ids}]"
        )


def _were(many: int) -> str:
    return f"{counted(many, 'connection')} {'was' if many == 1 else 'were'}"


def delete_entry(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms a deletion, or that there was none.

    Parameters
    ----------
    store : Store
    options : Namespace
        `id`, `reason` and `yes` (without it the terminal is asked) are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        An entry that is missing or deleted already, no reason, or no terminal to ask.
    """
    going = [(table, entry) for entry, table in store.going_with(options.id).items()]
    if not (options.yes or _agreed(f"Delete {entries_words(going)}? [y/N] ")):
        return "nothing was deleted"
    gone = store.delete(options.id, options.reason)
    return f"deleted: {entries_words(gone.entries)}; 'record restore {gone.id}' brings it back"


def _agreed(question: str) -> bool:
    if not sys.stdin.isatty():
        raise InputError("deleting asks for a yes at the terminal; give --yes to go without")
    print(question, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def restore_entries(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms a restoration.

    Parameters
    ----------
    store : Store
    options : Namespace
        `id` (of the deletion, or of an entry in it) and `reason` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Nothing deleted under that id, or what `Store.restore` refuses.
    """
    return f"restored: {entries_words(store.restore(options.id, options.reason).entries)}"


def export_record(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the ZIP.

    Parameters
    ----------
    store : Store
    options : Namespace
        `zip`, the path of a file that is not there yet, is read.

    Returns
    -------
    str

    Raises
    ------
    StoreError
        A file that is there already or cannot be written.
    """
    count = export_zip(store, options.zip, progress)
    return f"wrote {options.zip}: {count} rows and files{_not_in_the_zip(store)}"


def _not_in_the_zip(store: Store) -> str:
    """What stays on this record, so that nobody takes the ZIP for all of it."""
    found = {f"connection{{}} {s}": len(connections_in_progress(store, s)) for s in OPEN_STATES}
    finished = connections_in_progress(store, State.FINISHED)
    found["reading{} that came late"] = sum(len(connection.late) for connection in finished)
    words = ", ".join(
        counted(count, what.format(""), what.format("s")) for what, count in found.items() if count
    )
    return f"; not in it, and kept here alone: {words}" if words else ""


def import_into(store: Store, options: argparse.Namespace) -> str:
    """What was taken in; of a folder each file is confirmed by a line of its own.

    Parameters
    ----------
    store : Store
    options : Namespace
        `path` (an exported ZIP, or a folder) is read; of a folder also `serial` and what
        `told_from` reads.

    Returns
    -------
    str
        The last line, with how many were new.

    Raises
    ------
    InputError
        A folder without readings, or a file in it that cannot be taken in.
    StoreError
        A ZIP that is damaged or does not fit the record.
    """
    path = Path(options.path)
    if not path.is_dir():
        merged = import_zip(store, path, progress)
        return f"took in {merged.added} rows and files; {merged.there_already} were there already"
    files = connection_files(store, path, options.serial)
    told = told_from(options)
    new = 0
    with tqdm(total=len(files), desc="connections", **_BAR, **_shown()) as bar:
        for file, taken in import_connections(store, files, told):
            tqdm.write(taken_text(taken, str(file.relative_to(path))), file=sys.stdout)
            sys.stdout.flush()
            new += not taken.was_there
            bar.update()
    before = counted(len(files) - new, "was", "were")
    return f"took in {counted(new, 'connection')}; {before} there already"


_BAR: dict[str, Any] = {"leave": False, "unit": ""}


def _shown() -> dict[str, Any]:
    return {"file": sys.stderr, "disable": not sys.stderr.isatty()}


def progress(items: Sequence[Any], title: str) -> Iterable[Any]:
    """Walk a sequence behind a progress bar on stderr, where that is a terminal.

    Parameters
    ----------
    items : sequence
    title : str
        Stands before the bar.

    Returns
    -------
    iterable
        The items in their order.
    """
    return tqdm(items, desc=title, **_BAR, **_shown())


def demo_data(store: Store, options: argparse.Namespace) -> str:
    """The line that says what was invented, or removed.

    Parameters
    ----------
    store : Store
    options : Namespace
        `remove` is read.

    Returns
    -------
    str

    Raises
    ------
    StoreError
        A record that is not empty, or one without demo data to remove.
    """
    if options.remove:
        gone = remove_demo(store)
        return f"removed the demo data; 'record restore {gone.id}' brings it back"
    count = fill_demo(store)
    return f"filled with invented batteries and {count} invented connections: see 'record list'"


DEEDS: dict[str, Callable[[Store, argparse.Namespace], str]] = {
    "add": add_thing,
    "list": list_batteries,
    "show": show_battery,
    "capacity": show_capacity,
    "loads": show_loads,
    "score": show_score,
    "history": show_history,
    "correct": correct_entry,
    "delete": delete_entry,
    "restore": restore_entries,
    "export": export_record,
    "import": import_into,
    "demo": demo_data,
}
"""What each word after ``record`` asks for."""
