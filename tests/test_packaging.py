"""What installing brings along, and what importing loads: both no more than is needed."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

import batterymodel

ROOT = Path(__file__).resolve().parent.parent
TEST_TOOLS = ("pytest", "hypothesis")
HEAVY = ("sklearn", "sqlalchemy", "altair", "streamlit", "batterymodel.sheet")
"""Not before they are used: models of fade, the record, charts, pages, the owner's sheet."""


def required() -> list[str]:
    """The lines of requirements.txt that name a package."""
    lines = (ROOT / "requirements.txt").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line and not line.startswith("#")]


def project() -> dict[str, Any]:
    """The project table of pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def declared() -> list[str]:
    """The runtime dependencies of pyproject.toml."""
    return project()["dependencies"]


def test_requirements_are_the_runtime_and_the_test_tools():
    tools = [line for line in required() if line.startswith(TEST_TOOLS)]
    assert len(tools) == 3
    assert [line for line in required() if line not in tools] == declared()


def test_the_installed_package_asks_for_no_test_tool():
    """A static list: what stands here is what pip reads (`.ci/run` reads it in the wheel)."""
    assert "dynamic" not in project()
    assert not [line for line in declared() if line.startswith(TEST_TOOLS)]


def test_what_is_skipped_without_a_test_tool_is_marked():
    """CI runs what is marked again once `tests/requirements.txt` is installed."""
    for path in (ROOT / "tests").rglob("test_*.py"):
        text = path.read_text(encoding="utf-8")
        if path != Path(__file__) and "pytestmark = pytest.mark." not in text:
            asked, marked = text.count("importorskip("), text.count("pytest.mark.tools")
            assert marked >= asked, path.name


@pytest.mark.parametrize(
    "code",
    [
        "import batterymodel",
        "import batterymodel; dir(batterymodel), batterymodel.Battery, batterymodel.InputError",
        "from batterymodel.cli import parser; parser().format_help()",
    ],
)
def test_nothing_heavy_is_loaded_before_it_is_used(code):
    asked = f"import sys; {code}; print(*[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, cwd=ROOT)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, "", "")


def test_every_public_name_is_there():
    for name in batterymodel.__all__:
        assert getattr(batterymodel, name) is not None
    assert set(batterymodel.__all__) <= set(dir(batterymodel))
    assert sorted(batterymodel.__all__) == batterymodel.__all__


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = batterymodel.nothing
