"""Brings a database to the tables this version knows, with a backup of what was there."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from batterymodel.errors import StoreError
from batterymodel.store.engine import BUSY_S, write_transaction
from batterymodel.store.faults import NO_DATABASE, said_plainly

REVISIONS = ("0001", "0002", "0003", "0004", "0005", "0006", "0007", "0008")
"""Every revision of the tables, oldest first; the last one is what this version works with."""

HEAD = REVISIONS[-1]


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
        A newer database, another program's database, a fault of the disk.
    """
    with said_plainly(where):
        with engine.connect() as connection:
            revision = _revision(connection, where)
        backup = _migrate(engine, where) if revision != HEAD else None
        if engine.dialect.name == "sqlite":
            _use_write_ahead_log(engine)
    return backup


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
        if revision == HEAD:
            return None
        backup = None
        if revision is not None and engine.dialect.name == "sqlite":
            backup = write_backup(Path(str(engine.url.database)), revision)
        upgrade(connection, HEAD)
        return backup


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
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "batterymodel.store:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


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
