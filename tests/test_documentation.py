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
from tests.benchmarks.report import DOCUMENT, TABLES, between, with_table

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BENCHMARKS = DOCUMENT.read_text(encoding="utf-8")
WORDS = {12: "twelve", 29: "Twenty-nine"}


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


@pytest.mark.parametrize("command", commands())
def test_every_command_is_in_the_readme(command):
    assert re.search(rf"(batterymodel |`){command}\b", README)


@pytest.mark.parametrize("command", commands())
def test_every_argument_of_a_command_is_explained(command):
    for option in commands()[command]._actions:
        if not isinstance(option, argparse._SubParsersAction):
            assert (option.help or "").strip(), option.option_strings or option.dest


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
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
            if not target.startswith("http"):
                assert (ROOT / target).exists(), target


def test_files_that_are_named_exist():
    for text in (README, DEVELOPERS):
        for named in re.findall(r"`((?:tests|batterymodel|sample_data)/[\w/.-]+)`", text):
            assert (ROOT / named).exists(), named


@pytest.mark.tools
def test_modules_import_only_from_their_left():
    """The contract of `pyproject.toml`; CI runs it as a command too."""
    linter = pytest.importorskip("importlinter.cli", reason="needs tests/requirements.txt")
    assert linter.lint_imports(no_cache=True) == linter.EXIT_STATUS_SUCCESS


def test_streamlit_stays_in_the_pages():
    for path in (ROOT / "batterymodel").rglob("*.py"):
        if path.parent.name == "pages":
            continue
        assert not re.search(r"^\s*(import|from) streamlit", path.read_text(), re.M), path


# --- figures ---------------------------------------------------------------------------------


def trust_rows() -> list[tuple[str, str]]:
    """Rows of the README's table of trust: their figures, and the section they come from."""
    table = README.split("## How far to trust it")[1].split("\n## ")[0]
    pattern = r"^\|[^|]+\|([^|]+)\| \[[^]]+\]\(tests/benchmarks/README\.md#([a-z-]+)\) \|$"
    return re.findall(pattern, table, re.M)


def benchmark_sections() -> dict[str, str]:
    """Sections of the benchmark document by the anchor of their heading."""
    parts = re.split(r"^## (.+)$", BENCHMARKS, flags=re.M)[1:]
    anchors = [re.sub(r"[^a-z -]", "", head.lower()).replace(" ", "-") for head in parts[::2]]
    return dict(zip(anchors, parts[1::2], strict=True))


def numbers(text: str) -> set[str]:
    """Every number of a text, written as it stands."""
    return set(re.findall(r"\d+(?:[.,]\d+)*", text))


def test_figures_of_trust_stand_in_the_benchmark_section_they_name():
    rows, sections = trust_rows(), benchmark_sections()
    assert len(rows) >= 10
    for figures, anchor in rows:
        assert numbers(figures), "a row of the table of trust without a figure"
        assert numbers(figures) <= numbers(sections[anchor]), (figures, anchor)


def test_every_table_of_the_benchmarks_has_its_place():
    for name in TABLES:
        assert between(BENCHMARKS, name).strip(), f"{name} is empty"
    assert set(re.findall(r"<!-- ([a-z-]+) -->", BENCHMARKS)) == set(TABLES)


def test_a_table_is_written_between_its_markers_only():
    text = "before\n<!-- a -->\nold\n<!-- /a -->\nafter <!-- b -->\n"
    assert with_table(text, "a", ["| new |"]) == (
        "before\n<!-- a -->\n\n| new |\n\n<!-- /a -->\nafter <!-- b -->\n"
    )
    for missing in ("b", "c"):
        with pytest.raises(ValueError, match=f"/{missing} --> must stand once"):
            with_table(text, missing, ["| new |"])
