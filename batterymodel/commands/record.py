"""``record``: the battery's record, kept for years; `record_work` does what is asked for."""

from __future__ import annotations

import argparse
import sys

from batterymodel.commands import day, record_add


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command and what it can do.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    words = "keep the batteries' record: connections, capacity checks, moves, limits cards"
    command = commands.add_parser("record", help=words, description=words)
    command.set_defaults(run=run)
    database = argparse.ArgumentParser(add_help=False)
    database.add_argument(
        "--database", metavar="URL", help="file or URL of the record (BATTERYMODEL_DATABASE_URL)"
    )
    deeds = command.add_subparsers(dest="deed", required=True, parser_class=type(command))

    def deed(name: str, words: str) -> argparse.ArgumentParser:
        return deeds.add_parser(name, help=words, description=words, parents=[database])

    record_add.add_to(deeds.add_parser("add", help="put something into the record"), database)
    listing = deed("list", "list the batteries")
    listing.add_argument("--deleted", action="store_true", help="list what was deleted instead")
    show = deed("show", "show one battery and everything on record")
    show.add_argument("serial", metavar="SERIAL", help="battery on record")
    show.add_argument("--on", type=day, metavar="DATE", help="as it was on this day")
    capacity = deed("capacity", "what connections tell of a battery's capacity in service")
    capacity.add_argument("serial", metavar="SERIAL", help="battery on record")
    capacity.add_argument("--json", action="store_true", help="print one JSON object")
    loads = deed("loads", "consumers and tasks of an aircraft as 'budget' takes them (TOML)")
    loads.add_argument("tail", metavar="TAIL", help="aircraft on record")
    loads.add_argument("--on", type=day, metavar="DATE", help="as told up to this day")
    loads.add_argument(
        "--as-told", action="store_true", help="without what its connections taught since"
    )
    score = deed("score", "how right the answers on record turned out")
    score.add_argument("--json", action="store_true", help="print one JSON object")
    history = deed("history", "show how an entry came to be as it is")
    history.add_argument("id", metavar="ID", help="entry, as record show names it")
    correct = deed("correct", "correct an entry; the old row stays readable")
    correct.add_argument("id", metavar="ID", help="entry, as record show names it")
    correct.add_argument("changes", metavar="FIELD=VALUE", nargs="+", help="empty value: none")
    correct.add_argument("--reason", required=True, metavar="TEXT", help="why")
    _declare_deletion(deed("delete", "take an entry out of sight"))
    restore = deed("restore", "bring back what was deleted")
    restore.add_argument("id", metavar="ID", help="of the deletion, or of an entry in it")
    restore.add_argument("--reason", default="restored", metavar="TEXT", help="why")
    deed("export", "write the whole record into a ZIP").add_argument(
        "zip", metavar="FILE.zip", help="where to write it"
    )
    taking = deed("import", "take in an exported ZIP, or a folder of readings")
    taking.add_argument("path", metavar="PATH", help="FILE.zip, or a folder of CSV files")
    taking.add_argument("--serial", metavar="SERIAL", help="battery of all the folder's files")
    record_add.declare_told(taking)
    demo = deed("demo", "fill an empty record with invented data")
    demo.add_argument("--remove", action="store_true", help="remove it again (recoverably)")


def _declare_deletion(command: argparse.ArgumentParser) -> None:
    command.add_argument("id", metavar="ID", help="entry, as record show names it")
    command.add_argument("--reason", required=True, metavar="TEXT", help="why")
    command.add_argument("--yes", action="store_true", help="do not ask")


def run(options: argparse.Namespace) -> str:
    """The answer of what was asked for.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares; its `deed` is one of `record_work.DEEDS`.

    Returns
    -------
    str
        To be printed as it stands.

    Raises
    ------
    InputError
        What is not in the record, or a file or value that cannot be put into it.
    StoreError
        A record or ZIP that cannot be opened, read or written.
    """
    from batterymodel.commands.record_work import DEEDS
    from batterymodel.store import open_store

    store = open_store(options.database)
    if store.backup:
        print(f"the record was brought up to date; as it was: {store.backup}", file=sys.stderr)
    return DEEDS[options.deed](store, options)
