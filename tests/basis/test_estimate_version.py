"""The version of the estimate: it follows every module that decides, and no other."""

from __future__ import annotations

import ast
import shutil
from pathlib import Path

import pytest

import batterymodel
from batterymodel.basis.estimate_version import DECIDING, LIBRARIES, estimate_version, version_of

PACKAGE = Path(batterymodel.__file__).resolve().parent
RESULTS = ("assessment", "capacity.in_service", "charts.record", "fade.forecast")
"""Modules whose results are kept beside the record."""


def imported_by(module: str) -> set[str]:
    """Modules of the package that a module imports, as dotted names below it."""
    path = PACKAGE / f"{module.replace('.', '/')}.py"
    path = path if path.exists() else PACKAGE / module.replace(".", "/") / "__init__.py"
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("batterymodel."):
            found.add(node.module.removeprefix("batterymodel."))
    return found


def rested_on() -> set[str]:
    """Everything that `RESULTS` import, and what these import."""
    seen, ahead = set(), set(RESULTS)
    while ahead:
        module = ahead.pop()
        seen.add(module)
        ahead |= imported_by(module) - seen
    return seen


def is_deciding(module: str) -> bool:
    return module.split(".")[0] in DECIDING or f"{module.replace('.', '/')}.py" in DECIDING


LOOKS_ONLY = {"charts.style"}
"""What only says how a chart looks: a kept result holds no chart."""


def test_every_module_a_kept_result_rests_on_decides_the_version():
    found = {module for module in rested_on() if not is_deciding(module)}
    assert found - LOOKS_ONLY == set()
    assert len(rested_on()) > 50


@pytest.mark.parametrize(
    "changed",
    [
        "assessment.py",
        "taper/fit.py",
        "fade/models.py",
        "reference/chemistry.py",
        "capacity/in_service.py",
        "say/connection_looks.py",
        "say/kept_forecast.py",
    ],
)
def test_a_change_of_a_deciding_module_is_another_version(tmp_path, changed):
    copy = shutil.copytree(PACKAGE, tmp_path / "copy", ignore=shutil.ignore_patterns("*.pyc"))
    before = version_of(copy, LIBRARIES)
    assert version_of(copy, LIBRARIES) == before
    path = copy / changed
    path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert version_of(copy, LIBRARIES) != before


def test_a_page_or_a_library_is_told_apart(tmp_path):
    copy = shutil.copytree(PACKAGE, tmp_path / "copy", ignore=shutil.ignore_patterns("*.pyc"))
    before = version_of(copy, LIBRARIES)
    (copy / "pages" / "kept.py").write_text("", encoding="utf-8")
    assert version_of(copy, LIBRARIES) == before
    assert version_of(copy, (*LIBRARIES, "one more")) != before


def test_a_module_that_is_missing_is_no_version(tmp_path):
    with pytest.raises(FileNotFoundError):
        version_of(tmp_path, ())


def test_the_version_that_runs_is_that_of_the_package():
    assert len(estimate_version()) == 64
    assert estimate_version() == estimate_version()
