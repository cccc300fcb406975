"""Taking a folder of readings into the record, file by file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from batterymodel.errors import InputError
from batterymodel.store.intake import Taken, Told, add_connection
from batterymodel.store.records import MAX_FILE_BYTES
from batterymodel.store.store import Store


def connection_files(store: Store, folder: Path, serial: str | None) -> list[tuple[str, Path]]:
    """Serial and path of every readings CSV in a folder, in order of name.

    Parameters
    ----------
    store : Store
    folder : Path
    serial : str or None
        Battery of the CSV files of the folder itself; None takes those of its subfolders, each
        named by the serial of its battery.

    Returns
    -------
    list of (str, Path)

    Raises
    ------
    InputError
        No CSV files, or a battery that is not in the record.
    """
    pattern = "*.csv" if serial else "*/*.csv"
    found = sorted(path for path in folder.glob(pattern) if path.is_file())
    if not found:
        raise InputError(
            f"{folder}: no CSV files there; put the files of a battery into a subfolder named by "
            "its serial, or name the battery for all of them"
        )
    files = [(serial or path.parent.name, path) for path in found]
    for name in sorted({name for name, _ in files}):
        store.plate(name)
    return files


def import_connections(
    store: Store, files: list[tuple[str, Path]], told: Told
) -> Iterator[tuple[Path, Taken]]:
    """Take connections in one by one; each is committed before it is handed on.

    Parameters
    ----------
    store : Store
    files : list of (str, Path)
        Serial and readings CSV, as `connection_files` gives them.
    told : Told
        Holds for every one of them.

    Yields
    ------
    Path, Taken
        The file and the connection it gave, in the order of `files`.

    Raises
    ------
    InputError
        A file that cannot be read or taken in; those before it stay in the record.
    """
    for serial, path in files:
        try:
            with path.open("rb") as file:
                data = file.read(MAX_FILE_BYTES + 1)
        except OSError as error:
            reason = (error.strerror or type(error).__name__).lower()
            raise InputError(f"{path}: cannot be read ({reason})") from None
        yield path, add_connection(store, serial, data, path.name, told)
