"""Writes the tables of ``tests/benchmarks/README.md`` anew.

``python -m tests.benchmarks.report --only sick speed`` runs those benchmarks and puts what they
print between the markers ``<!-- sick -->`` and ``<!-- /sick -->`` of that file, and so on; without
``--only`` it runs all of them, the long ones too.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

from tests.benchmarks import (
    accuracy,
    bound,
    contenders,
    fade,
    fade_aged,
    kinds,
    lithium,
    power_budget,
    record_page,
    rerun,
    sheet,
    sick,
    speed,
    track,
)
from tests.benchmarks.generate import TEST

DOCUMENT = Path(__file__).with_name("README.md")


def _fade_fleet() -> Iterable[str]:
    batteries = fade.fleet(fade.BATTERIES, fade.TEST_SEED)
    yield fade.fleet_tables(list(fade.fleet_cases(batteries)))


def _fade_other() -> Iterable[str]:
    batteries = fade.fleet_of_other_shapes(fade.BATTERIES, fade.TEST_SEED)
    yield fade.fleet_tables(list(fade.fleet_cases(batteries)))


TABLES: dict[str, Callable[[], Iterable[str]]] = {
    "accuracy": partial(accuracy.table, TEST, 10, False),
    "unseen": partial(accuracy.table, TEST, 20, True),
    "settling": partial(accuracy.settling_lines, TEST),
    "contenders": contenders.table,
    "sick": sick.document_lines,
    "lithium": lithium.table,
    "kinds": partial(kinds.lines, 12),
    "kinds-capacity": kinds.capacity_lines,
    "bound": bound.lines,
    "fade-fleet": _fade_fleet,
    "fade-other": _fade_other,
    "fade-cells": lambda: [fade.cells_table()],
    "fade-origins": lambda: [fade.cells_models_table()],
    "fade-aged": fade_aged.lines,
    "track": track.lines,
    "power-budget": power_budget.lines,
    "speed": speed.lines,
    "rerun": rerun.lines,
    "record-page": record_page.lines,
    "sheet": sheet.lines,
}
"""What stands between the markers of a name."""


def markers(name: str) -> tuple[str, str]:
    """Where a table begins and ends in the document."""
    return f"<!-- {name} -->", f"<!-- /{name} -->"


def between(text: str, name: str) -> str:
    """What stands between the markers of a name; raises `ValueError` unless they stand once."""
    begin, end = markers(name)
    found = re.findall(f"{re.escape(begin)}\n(.*?){re.escape(end)}", text, re.S)
    if len(found) != 1 or text.count(begin) != 1 or text.count(end) != 1:
        raise ValueError(f"{begin} and {end} must stand once, in this order, each on its own line")
    return found[0]


def with_table(text: str, name: str, lines: Iterable[str]) -> str:
    """The text with other lines between the markers of a name."""
    begin, end = markers(name)
    old = between(text, name)
    new = "\n".join(["", *lines, "", ""])
    return text.replace(f"{begin}\n{old}{end}", f"{begin}\n{new}{end}")


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmarks and write their tables, each as soon as it is there."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", nargs="+", choices=tuple(TABLES), help="these tables (all)")
    for name in parser.parse_args(arguments).only or TABLES:
        lines = list(TABLES[name]())
        DOCUMENT.write_text(
            with_table(DOCUMENT.read_text(encoding="utf-8"), name, lines), encoding="utf-8"
        )
        print(f"wrote {name}: {len(lines)} lines", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
