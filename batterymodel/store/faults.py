"""Faults of databases and disks, said in one sentence each."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from batterymodel.errors import StoreError

FULL = "the disk is full; free some space and do it again. Nothing was changed"
READ_ONLY = "cannot be written to; choose a folder you may write in. Nothing was changed"
LOCKED = "is in use by another program; wait a moment and do it again. Nothing was changed"
DAMAGED = (
    "is damaged; keep the file as it is and go on from a backup beside it or from an exported ZIP"
)
OLD_AND_ONLY_READ = (
    "was written by an older version and must be brought up to date first, but cannot be written "
    "to; copy it into a folder you may write in. It was not touched"
)
UNSAVED_BESIDE = (
    "cannot be read where it may not be written, as its last writes stand in a file beside it; "
    "copy both into a folder you may write in"
)
SPOILT_TEXT = "Could not decode to UTF-8"
"""How Python's sqlite3 begins to say that a text in the database is none; it gives no code."""

NO_DATABASE = "is not a database of this tool; give another file. It was not touched"
NOT_OPENED = "cannot be opened; check that the folder exists and may be written in"
DISK_FAULT = (
    "the disk refused a read or a write (full, over a quota, or failing); free some space or "
    "choose another disk and do it again. Nothing was changed"
)
NOT_REACHED = "the database server cannot be reached, or refuses the user or the database name"

_SQLITE = {
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_IOERR: DISK_FAULT,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_PERM: READ_ONLY,
    sqlite3.SQLITE_BUSY: LOCKED,
    sqlite3.SQLITE_LOCKED: LOCKED,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: NO_DATABASE,
    sqlite3.SQLITE_CANTOPEN: NOT_OPENED,
    sqlite3.SQLITE_TOOBIG: "a file is too large for the database. Nothing was changed",
}

_POSTGRES = {
    "53": FULL,
    "25006": READ_ONLY,
    "42501": "the user may not write in this database. Nothing was changed",
    "55P03": LOCKED,
    "40": LOCKED,
    "08": NOT_REACHED,
    "28": NOT_REACHED,
    "3D": NOT_REACHED,
    "57": "the database server was stopped; do it again when it is back. Nothing was changed",
}


class SpoiltValueError(Exception):
    """A value in the database is not of its column's kind; `said_plainly` says so."""


@contextmanager
def said_plainly(where: str) -> Iterator[None]:
    """Turn a fault of database or disk into a `StoreError` of one sentence.

    Parameters
    ----------
    where : str
        The file or database that the sentence names first.

    Yields
    ------
    None
        Faults inside the ``with`` block are turned; every other error goes through.

    Raises
    ------
    StoreError
        What went wrong, and what would help.
    """
    try:
        yield
    except DBAPIError as error:
        raise StoreError(f"{where}: {_cause(error.orig)}") from error
    except SpoiltValueError as error:
        raise StoreError(f"{where}: {DAMAGED}") from error
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{where}: {_cause(error)}") from error
    except SQLAlchemyError as error:
        raise StoreError(f"{where}: the database gave an unexpected answer ({error})") from error


def _cause(error: BaseException | None) -> str:
    if isinstance(error, sqlite3.Error):
        code = getattr(error, "sqlite_errorcode", None)
        if code is not None and code & 0xFF in _SQLITE:
            return _SQLITE[code & 0xFF]
        if str(error).startswith(SPOILT_TEXT):
            return DAMAGED
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror.lower()}. Nothing was changed"
    state = getattr(error, "sqlstate", None)
    for start, words in _POSTGRES.items():
        if state and state.startswith(start):
            return words
    if type(error).__name__ == "OperationalError" and state is None and _is_psycopg(error):
        return NOT_REACHED
    first = (str(error).strip().splitlines() or [type(error).__name__])[0]
    return f"the database refused ({first}). Nothing was changed"


def _is_psycopg(error: BaseException | None) -> bool:
    return type(error).__module__.split(".")[0] == "psycopg"
