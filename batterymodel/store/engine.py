"""Where the database is, how it is connected to, and its one transaction per write."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlalchemy import Connection, Engine, NullPool, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from batterymodel.errors import StoreError
from batterymodel.store.faults import SPOILT_TEXT, UNSAVED_BESIDE, said_plainly

URL_VARIABLE = "BATTERYMODEL_DATABASE_URL"
FILE_NAME = "record.sqlite"
DEMO_NAME = "record-invented-demo.sqlite"
BUSY_S = 20.0
"""How long one writer waits for another before it gives up [s] (own choice: a connection is
assessed inside its turn, which a slow machine takes seconds for)."""

_NO_FILE_BESIDE = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
"""What SQLite says where it may not make the files that it keeps beside a database."""

_WRITERS_LOCK = 280_028
NO_DRIVER = (
    "PostgreSQL needs the psycopg driver: install it with "
    "python -m pip install 'batterymodel[postgresql]' or 'psycopg[binary]>=3.2'"
)


def default_url() -> str:
    """The URL in `URL_VARIABLE`, else that of a file in the user's data folder."""
    given = os.environ.get(URL_VARIABLE)
    if given:
        return given
    return str(user_data_path("batterymodel", appauthor=False) / FILE_NAME)


def demo_url() -> str:
    """Where the invented demo record is: a file of its own, never that of the own record.

    Returns
    -------
    str
        A path beside the file of `default_url`, or in the user's data folder where the own record
        is in no file.

    Raises
    ------
    StoreError
        As `url_from`, for the own record.
    """
    own = url_from(None)
    if own.get_backend_name() != "sqlite":
        return str(user_data_path("batterymodel", appauthor=False) / DEMO_NAME)
    file = Path(str(own.database))
    return str(file.with_name(f"{file.stem}-invented-demo.sqlite"))


def url_from(given: str | Path | None) -> URL:
    """Database URL from a URL, a file path, or None for the default.

    Parameters
    ----------
    given : str, Path or None
        ``sqlite:///...``, ``postgresql://...``, or the path of a SQLite file; None or empty text
        takes `default_url`.

    Returns
    -------
    URL
        With the driver that the store uses.

    Raises
    ------
    StoreError
        A URL that cannot be read, names no file, or is of another kind of database.
    """
    told = str(given) if given else default_url()
    if "://" not in told:
        return URL.create("sqlite", database=str(Path(told).expanduser()))
    try:
        url = make_url(told)
    except (ArgumentError, ValueError):
        raise StoreError(
            "the database URL cannot be read; sqlite:///path/to/record.sqlite or "
            "postgresql://user@host/name would be right"
        ) from None
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() != "sqlite":
        raise StoreError(
            f"a {url.get_backend_name()} database cannot hold the record; give SQLite or PostgreSQL"
        )
    if not url.database or url.database == ":memory:":
        raise StoreError("the record needs a file; sqlite:///path/to/record.sqlite would be right")
    return url


def place_of(url: URL) -> str:
    """The database as messages name it: its file, or the URL without the password.

    Parameters
    ----------
    url : URL
        As `url_from` gives it.

    Returns
    -------
    str
    """
    if url.get_backend_name() == "sqlite":
        return str(url.database)
    return url.set(drivername="postgresql", query={}).render_as_string(hide_password=True)


def engine_for(url: URL) -> Engine:
    """Engine with foreign keys on and one writer at a time; `is_only_read` where none may write.

    One engine serves a database for the life of the process, so that statements are compiled once;
    it holds no connection open, so that a process may fork.

    Parameters
    ----------
    url : URL
        As `url_from` gives it.

    Returns
    -------
    Engine
        The same one each time a URL is asked for.

    Raises
    ------
    StoreError
        A path that is a folder or whose folder is missing, or no driver for PostgreSQL.
    """
    if url.get_backend_name() == "sqlite":
        path = Path(str(url.database))
        _check_file(path)
        return _engine(url, only_read=path.exists() and not os.access(path.parent, os.W_OK))
    return _engine(url)


def is_only_read(engine: Engine) -> bool:
    """Whether the database is a file in a folder that cannot be written in.

    Parameters
    ----------
    engine : Engine
        From `engine_for`.

    Returns
    -------
    bool
    """
    return bool(engine.get_execution_options().get("only_read", False))


@lru_cache(maxsize=16)
def _engine(url: URL, only_read: bool = False) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(
            url,
            poolclass=NullPool,
            execution_options={"only_read": only_read},
            **_opening(Path(str(url.database)), only_read),
        )
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    try:
        return create_engine(url, poolclass=NullPool)
    except ModuleNotFoundError:
        raise StoreError(NO_DRIVER) from None


def _opening(path: Path, only_read: bool) -> dict[str, Any]:
    if only_read:
        return {"creator": lambda: _opened_to_read(path)}
    return {"connect_args": {"timeout": BUSY_S}}


def _opened_to_read(path: Path) -> sqlite3.Connection:
    """Opened beside one who may write there; where there is none, as a file that stays as it is.

    SQLite keeps the last writes in a file of its own, and reads that only with a third file that it
    may make or finds there.
    """
    address = path.absolute().as_uri()
    connection = sqlite3.connect(f"{address}?mode=ro", uri=True, timeout=BUSY_S)
    try:
        connection.execute("PRAGMA schema_version")
        return connection
    except sqlite3.OperationalError as error:
        connection.close()
        if error.sqlite_errorcode & 0xFF not in _NO_FILE_BESIDE:
            raise
    for beside in (path.with_name(path.name + end) for end in ("-wal", "-journal")):
        if beside.exists() and beside.stat().st_size > 0:
            raise StoreError(f"{path}: {UNSAVED_BESIDE} ({beside.name})")
    return sqlite3.connect(f"{address}?mode=ro&immutable=1", uri=True)


def _check_file(path: Path) -> None:
    if path.is_dir():
        raise StoreError(f"{path}: is a folder; give the path of a database file")
    if path.parent == user_data_path("batterymodel", appauthor=False):
        with said_plainly(str(path.parent)):
            path.parent.mkdir(parents=True, exist_ok=True)
    if not path.parent.is_dir():
        raise StoreError(f"{path}: there is no folder {path.parent}; make it first")


def _set_up_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    try:
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("SELECT 1 FROM sqlite_master")  # reads the names of all tables
    except UnicodeDecodeError:  # SQLite quotes a spoilt name, and Python cannot read the quotation
        raise sqlite3.DatabaseError(SPOILT_TEXT) from None


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def for_writing(engine: Engine) -> Engine:
    """The engine whose transactions write: on SQLite they take the write lock at once.

    Parameters
    ----------
    engine : Engine
        From `engine_for`; stays as it is.

    Returns
    -------
    Engine
        Shares its connections.
    """
    return engine.execution_options(writing=True)


def for_reading(engine: Engine) -> Engine:
    """The engine whose transactions see one moment of the database throughout.

    Parameters
    ----------
    engine : Engine
        From `engine_for`; stays as it is.

    Returns
    -------
    Engine
        Shares its connections.
    """
    if engine.dialect.name == "sqlite":
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ")


def wait_for_writers(connection: Connection) -> None:
    """Let one writer in at a time; SQLite did that at BEGIN.

    Parameters
    ----------
    connection : Connection
        In the transaction that is to write; the turn ends with it.

    Raises
    ------
    sqlalchemy.exc.DBAPIError
        No turn within `BUSY_S`; `said_plainly` makes a `StoreError` of it.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SET LOCAL lock_timeout = '{BUSY_S:.0f}s'"))
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})"))


@contextmanager
def write_transaction(engine: Engine) -> Iterator[Connection]:
    """One write transaction: all of it, or nothing.

    Parameters
    ----------
    engine : Engine
        From `engine_for`.

    Yields
    ------
    Connection
        Committed at the end of the ``with`` block, rolled back where that raises.
    """
    with for_writing(engine).begin() as connection:
        wait_for_writers(connection)
        yield connection
