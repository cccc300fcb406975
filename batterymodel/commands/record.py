"""``record``: the battery's record, kept for years."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from tqdm import tqdm

from batterymodel.commands import day, recordadd
from batterymodel.errors import InputError
from batterymodel.samples.demo import fill_demo, remove_demo
from batterymodel.say.record import (
    battery_text,
    deletions_text,
    entries_words,
    fleet_text,
    history_text,
    summary,
    taken_text,
)
from batterymodel.store import Store, open_store
from batterymodel.store.archive import export_zip
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import connection_files, import_connections
from batterymodel.store.zip_import import import_zip


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command and what it can do."""
    words = "keep the batteries' record: connections, capacity checks, moves, limits cards"
    command = commands.add_parser("record", help=words, description=words)
    command.set_defaults(run=run)
    database = argparse.ArgumentParser(add_help=False)
    database.add_argument(
        "--database", metavar="URL", help="file or URL of the record (BATTERYMODEL_DATABASE_URL)"
    )
    deeds = command.add_subparsers(dest="deed", required=True, parser_class=type(command))

    def deed(name: str, words: str, work: object) -> argparse.ArgumentParser:
        parser = deeds.add_parser(name, help=words, description=words, parents=[database])
        parser.set_defaults(work=work)
        return parser

    recordadd.add_to(deeds.add_parser("add", help="put something into the record"), database)
    listing = deed("list", "list the batteries", list_batteries)
    listing.add_argument("--deleted", action="store_true", help="list what was deleted instead")
    show = deed("show", "show one battery and everything on record", show_battery)
    show.add_argument("serial", metavar="SERIAL", help="battery on record")
    show.add_argument("--on", type=day, metavar="DATE", help="as it was on this day")
    history = deed("history", "show how an entry came to be as it is", show_history)
    history.add_argument("id", metavar="ID", help="entry, as record show names it")
    correct = deed("correct", "correct an entry; the old row stays readable", correct_entry)
    correct.add_argument("id", metavar="ID", help="entry, as record show names it")
    correct.add_argument("changes", metavar="FIELD=VALUE", nargs="+", help="empty value: none")
    correct.add_argument("--reason", required=True, metavar="TEXT", help="why")
    _declare_deletion(deed("delete", "take an entry out of sight", delete_entry))
    restore = deed("restore", "bring back what was deleted", restore_entries)
    restore.add_argument("id", metavar="ID", help="of the deletion, or of an entry in it")
    restore.add_argument("--reason", default="restored", metavar="TEXT", help="why")
    deed("export", "write the whole record into a ZIP", export_record).add_argument(
        "zip", metavar="FILE.zip", help="where to write it"
    )
    taking = deed("import", "take in an exported ZIP, or a folder of readings", import_into)
    taking.add_argument("path", metavar="PATH", help="FILE.zip, or a folder of CSV files")
    taking.add_argument("--serial", metavar="SERIAL", help="battery of all the folder's files")
    recordadd.declare_told(taking)
    demo = deed("demo", "fill an empty record with invented data", demo_data)
    demo.add_argument("--remove", action="store_true", help="remove it again (recoverably)")


def _declare_deletion(command: argparse.ArgumentParser) -> None:
    command.add_argument("id", metavar="ID", help="entry; all that belongs to it goes too")
    command.add_argument("--reason", required=True, metavar="TEXT", help="why")
    command.add_argument("--yes", action="store_true", help="do not ask")


def run(options: argparse.Namespace) -> str:
    """The answer of what was asked for."""
    store = open_store(options.database)
    if store.backup:
        print(f"the record was brought up to date; as it was: {store.backup}", file=sys.stderr)
    return options.work(store, options)


def list_batteries(store: Store, options: argparse.Namespace) -> str:
    """The batteries, or the deletions."""
    return deletions_text(store.deletions()) if options.deleted else fleet_text(store)


def show_battery(store: Store, options: argparse.Namespace) -> str:
    """One battery."""
    return battery_text(store, options.serial, options.on)


def show_history(store: Store, options: argparse.Namespace) -> str:
    """Every row of an entry."""
    return history_text(store, options.id)


def correct_entry(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms a correction."""
    pairs = [change.partition("=") for change in options.changes]
    for field, equals, _ in pairs:
        if not equals:
            raise InputError(f"'{field}' is no change; write FIELD=VALUE")
    changes = {field: value or None for field, _, value in pairs}
    entry = corrected_entry(store, options.id, changes, options.reason)
    return f"corrected: {summary(store, entry.record)}  [{entry.id}]"


def delete_entry(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms a deletion, or that there was none."""
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
    """The line that confirms a restoration."""
    return f"restored: {entries_words(store.restore(options.id, options.reason).entries)}"


def export_record(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the ZIP."""
    return f"wrote {options.zip}: {export_zip(store, options.zip, progress)} rows and files"


def import_into(store: Store, options: argparse.Namespace) -> str:
    """What was taken in; of a folder each file is confirmed by a line of its own."""
    path = Path(options.path)
    if not path.is_dir():
        merged = import_zip(store, path, progress)
        return f"took in {merged.added} rows and files; {merged.there_already} were there already"
    files = connection_files(store, path, options.serial)
    told = recordadd.told_from(options)
    new = 0
    with tqdm(total=len(files), desc="connections", **_BAR, **_shown()) as bar:
        for file, taken in import_connections(store, files, told):
            tqdm.write(taken_text(taken, str(file.relative_to(path))), file=sys.stdout)
            sys.stdout.flush()
            new += not taken.was_there
            bar.update()
    return f"took in {new} connections; {len(files) - new} were there already"


_BAR: dict[str, Any] = {"leave": False, "unit": ""}


def _shown() -> dict[str, Any]:
    return {"file": sys.stderr, "disable": not sys.stderr.isatty()}


def progress(items: Sequence[Any], title: str) -> Iterable[Any]:
    """Walk a sequence behind a progress bar on stderr, where that is a terminal."""
    return tqdm(items, desc=title, **_BAR, **_shown())


def demo_data(store: Store, options: argparse.Namespace) -> str:
    """The line that says what was invented, or removed."""
    if options.remove:
        gone = remove_demo(store)
        return f"removed the demo data; 'record restore {gone.id}' brings it back"
    return f"filled with {fill_demo(store)} invented connections; 'record list' shows them"
