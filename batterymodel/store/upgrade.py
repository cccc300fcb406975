"""Brings a database to the tables this version knows, with a backup of what was there."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from batterymodel.errors import StoreError
from batterymodel.store.engine import BUSY_S, is_only_read, write_transaction
from batterymodel.store.faults import NO_DATABASE, OLD_AND_ONLY_READ, said_plainly
from batterymodel.store.tables import Base

if TYPE_CHECKING:
    from alembic.config import Config

REVISIONS = ("0001", "0002", "0003", "0004", "0005", "0006", "0007", "0008")
"""Every revision of the tables, oldest first; the last one is what this version works with."""

HEAD = REVISIONS[-1]

LEFT_OUT = "0007"
"""For a while 0008 followed 0006: a record of that time says 0008 and lacks what 0007 brings."""

BROUGHT_BY_IT = frozenset({"servicings", "connections.answers", "connections.seen_later"})
_COLUMNS = {
    "sqlite": "SELECT m.name, c.name FROM sqlite_master m JOIN pragma_table_info(m.name) c "
    "WHERE m.type = 'table'",
    "postgresql": "SELECT table_name, column_name FROM information_schema.columns "
    "WHERE table_schema = current_schema()",
}


def bring_up_to_date(engine: Engine, where: str) -> Path | None:
    """Migrate to `HEAD`, with a backup where there was data to lose.

    Parameters
    ----------
    engine : Engine
        From `engine_for`.
    where : str
        The database as messages name it.

    Returns
    -------
    Path or None
        The backup written before the migration; None where the tables were up to date or new, and
        for PostgreSQL, of which none is written.

    Raises
    ------
    StoreError
        A newer database, another program's database, one that lacks a table or column, an older
        one that may only be read, a fault of the disk.
    """
    with said_plainly(where):
        with engine.connect() as connection:
            ready = _revision(connection, where) == HEAD and not lacking(connection)
        if is_only_read(engine):
            if not ready:
                raise StoreError(f"{where}: {OLD_AND_ONLY_READ}")
            return None
        backup = None if ready else _migrate(engine, where)
        if engine.dialect.name == "sqlite":
            _use_write_ahead_log(engine)
    return backup


def lacking(connection: Connection) -> frozenset[str]:
    """Tables and columns of this version that the database has not.

    Parameters
    ----------
    connection : Connection

    Returns
    -------
    frozenset of str
        ``table`` for a whole table, else ``table.column``; empty where all are there.
    """
    there: dict[str, set[str]] = {}
    for table, column in connection.execute(text(_COLUMNS[connection.dialect.name])):
        there.setdefault(table, set()).add(column)
    lacked = set()
    for table in Base.metadata.tables.values():
        if table.name not in there:
            lacked.add(table.name)
        else:
            lacked |= {str(c) for c in table.columns if c.name not in there[table.name]}
    return frozenset(lacked)


def _use_write_ahead_log(engine: Engine) -> None:
    """Readers and a writer side by side; kept in the file, so another opener may be at it too."""
    give_up = time.monotonic() + BUSY_S
    while True:
        try:
            with closing(engine.raw_connection()) as connection:
                connection.cursor().execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > give_up:
                raise
            time.sleep(0.02)


def _migrate(engine: Engine, where: str) -> Path | None:
    with write_transaction(engine) as connection:
        revision = _revision(connection, where)
        lacked = lacking(connection) if revision == HEAD else frozenset()
        if revision == HEAD and not lacked:
            return None
        if lacked and lacked != BROUGHT_BY_IT:
            raise _lacks(where, lacked)
        backup = None
        if revision is not None and engine.dialect.name == "sqlite":
            backup = write_backup(Path(str(engine.url.database)), revision)
        if lacked:
            _run_left_out(connection)
        else:
            _upgrade_whole(connection, where, backup)
        return backup


def _upgrade_whole(connection: Connection, where: str, backup: Path | None) -> None:
    upgrade(connection, HEAD)
    lacked = lacking(connection)
    if lacked:
        if backup is not None:
            backup.unlink(missing_ok=True)
        raise _lacks(where, lacked)


def _lacks(where: str, lacked: frozenset[str]) -> StoreError:
    return StoreError(
        f"{where}: lacks '{min(lacked)}', which its version of the tables has; go on from a backup "
        "beside it or from an exported ZIP. It was not touched"
    )


def _run_left_out(connection: Connection) -> None:
    """Run the one migration that was left out; the later ones have run."""
    from alembic import command  # slow to import, and needed once in a database's life

    config = _config(connection)
    command.stamp(config, REVISIONS[REVISIONS.index(LEFT_OUT) - 1])
    command.upgrade(config, LEFT_OUT)
    command.stamp(config, HEAD)


def _revision(connection: Connection, where: str) -> str | None:
    """The revision the database is at; None where it is empty."""
    tables = inspect(connection).get_table_names()
    if "alembic_version" not in tables:
        if tables:
            raise StoreError(f"{where}: {NO_DATABASE}")
        return None
    revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if revision is not None and revision not in REVISIONS:
        raise StoreError(
            f"{where}: was written by a newer version of this tool (tables {revision}, this one "
            f"knows {HEAD}); update the tool. The database was not touched"
        )
    return revision


def upgrade(connection: Connection, revision: str) -> None:
    """Run the migrations up to a revision inside the connection's transaction.

    Parameters
    ----------
    connection : Connection
        In a write transaction; committed by the caller.
    revision : str
        One of `REVISIONS`, not older than the one the database is at.
    """
    from alembic import command  # slow to import, and needed once in a database's life

    command.upgrade(_config(connection), revision)


def _config(connection: Connection) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "batterymodel.store:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def write_backup(database: Path, revision: str) -> Path:
    """A copy of a SQLite database beside it, named by revision and moment (UTC).

    Parameters
    ----------
    database : Path
    revision : str
        The one the database is at, for the name.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    sqlite3.Error
        A copy that cannot be written whole; none is left behind.
    """
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    backup = database.with_name(f"{database.name}.tables-{revision}.{stamp}.backup")
    try:
        with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(backup)) as copy:
            source.backup(copy)
    except sqlite3.Error:
        backup.unlink(missing_ok=True)
        raise
    return backup
