"""The documents stay true: commands, keys and files they name exist."""

import argparse
import re
from pathlib import Path

import pytest

from batterymodel.cli import parser
from batterymodel.commands.record_add_work import THINGS
from batterymodel.commands.record_work import DEEDS
from batterymodel.rules.findings import RULES
from batterymodel.samples.connections import load_scenario

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
WORDS = {12: "twelve", 18: "Eighteen", 19: "Nineteen", 20: "Twenty"}


def commands() -> dict[str, argparse.ArgumentParser]:
    """Every command by its words, with those below it: ``record``, ``record add``, ..."""
    found = {}

    def walk(above: argparse.ArgumentParser, words: tuple[str, ...]) -> None:
        for action in above._actions:
            if isinstance(action, argparse._SubParsersAction):
                for name, below in action.choices.items():
                    found[" ".join((*words, name))] = below
                    walk(below, (*words, name))

    walk(parser(), ())
    return found


def section(words: str) -> str:
    """Where the README speaks of a command: its line in a table, else the whole text."""
    lines = [line for line in README.splitlines() if re.match(rf"\| `{words}\b", line)]
    return "\n".join(lines) or README


@pytest.mark.parametrize("command", commands())
def test_every_command_and_option_is_in_the_readme(command):
    assert re.search(rf"(batterymodel |`){command}\b", README)
    for option in commands()[command]._actions:
        for flag in option.option_strings:
            if flag.startswith("--") and flag not in ("--help", "--database"):
                assert re.search(rf"{flag}\b(?!-)", section(command)), flag


def test_commands_below_commands_are_walked():
    assert {"assess", "record", "record add", "record add check"} <= set(commands())
    assert "--database" in README


def test_every_word_of_the_record_has_its_deed():
    words = [name.split() for name in commands() if name.startswith("record ")]
    assert {w[1] for w in words} == set(DEEDS)
    assert {w[2] for w in words if len(w) > 2} == set(THINGS)


def test_counts_in_the_readme_are_true():
    assert f"{WORDS[len(RULES)]} rules" in README
    assert f"{WORDS[len(load_scenario()[0])]} connections" in README


def test_every_module_is_in_the_contributors_map():
    """Each folder stands in the map with exactly its modules."""
    block = re.search(r"```\n(errors.*?)```", DEVELOPERS, re.S).group(1)
    said: dict[str, set[str]] = {}
    for line in block.splitlines():
        if not line.startswith(" "):
            place = line.split()[0].rstrip("/")
            said[place] = set()
        else:
            said[place] |= set(line.replace("·", " ").split())
    package = ROOT / "batterymodel"
    for path in package.iterdir():
        if path.is_dir() and (path / "__init__.py").exists():
            modules = {p.stem for p in path.glob("*.py") if not p.stem.startswith("__")}
            assert said[path.name] == modules, path.name
        elif path.suffix == ".py" and not path.stem.startswith("__"):
            assert path.stem in said


def test_every_step_says_what_comes_in_and_goes_out():
    for path in (ROOT / "batterymodel").glob("*/__init__.py"):
        if path.parent.name not in ("commands", "pages"):
            text = path.read_text()
            assert re.search(r"\bIn: ", text), path
            assert re.search(r"\bOut:\s", text), path


def test_files_that_are_linked_exist():
    for text in (README, DEVELOPERS):
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            if not target.startswith("http"):
                assert (ROOT / target).exists(), target


def test_modules_import_only_from_their_left():
    """The contract of `pyproject.toml`; CI runs it as a command too."""
    linter = pytest.importorskip("importlinter.cli", reason="needs tests/requirements.txt")
    assert linter.lint_imports(no_cache=True) == linter.EXIT_STATUS_SUCCESS


def test_streamlit_stays_in_the_pages():
    for path in (ROOT / "batterymodel").rglob("*.py"):
        if path.parent.name == "pages":
            continue
        assert not re.search(r"^\s*(import|from) streamlit", path.read_text(), re.M), path
