"""Which version of the estimate this is: a number that changes with every module that decides.

It is read off the modules themselves and off the libraries they compute with, so nobody can forget
to raise it. A changed comment changes it too; that costs a computation, never a wrong answer.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cache
from importlib.metadata import version
from pathlib import Path

DECIDING = (
    "assessment.py",
    "basis",
    "capacity",
    "charts/record.py",
    "errors.py",
    "fade",
    "inputs",
    "reference",
    "rules",
    "say/connection_looks.py",
    "say/kept_forecast.py",
    "soc",
    "taper",
)
"""Modules and folders of the package that a kept result rests on; its inputs have their digest."""

LIBRARIES = ("numpy", "pandas", "scipy", "scikit-learn")
"""Libraries that a result is computed with."""

_PACKAGE = Path(__file__).resolve().parents[1]


@cache
def estimate_version() -> str:
    """The version of the estimate that runs here.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    return version_of(_PACKAGE, (f"{name} {version(name)}" for name in LIBRARIES))


def version_of(package: Path, libraries: Iterable[str]) -> str:
    """The version of the estimate of a package's folder.

    Parameters
    ----------
    package : Path
        With the modules of `DECIDING`.
    libraries : iterable of str
        Names and versions of what it computes with.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.

    Raises
    ------
    FileNotFoundError
        A module or folder of `DECIDING` is not there.
    """
    said = hashlib.sha256("\n".join(libraries).encode())
    for path in _deciding(package):
        content = path.read_bytes()
        said.update(f"\n{path.relative_to(package).as_posix()} {len(content)}\n".encode())
        said.update(content)
    return said.hexdigest()


def _deciding(package: Path) -> list[Path]:
    found: list[Path] = []
    for name in DECIDING:
        place = package / name
        modules = sorted(place.rglob("*.py")) if place.is_dir() else [place]
        if not modules:
            raise FileNotFoundError(place)
        found += modules
    return found
