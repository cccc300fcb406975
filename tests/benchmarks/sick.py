"""What the tool says of sick batteries, of sound ones that look sick, and of misread ones.

``python -m tests.benchmarks.sick [--half calibration] [--per-family 40] [--only NAME]``, with
``--markdown`` the table as Markdown.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from typing import Any

from tests.benchmarks.sickbay.cases import FAMILIES, SEEDS, cases
from tests.benchmarks.sickbay.family import Family
from tests.benchmarks.sickbay.scores import rows_of, runaway_lines, scored, taper_lines, totals_of

NAME_WIDTH, FIGURE_WIDTH = 38, 10
SHORT = {
    "top_off": "top off",
    "keep_watching": "watch",
}


def chosen_families(only: str | None) -> list[Family]:
    """Families whose name holds the text; all without one."""
    return [f for f in FAMILIES if only is None or only.lower() in f.name.lower()]


def text_lines(rows: Sequence[dict[str, Any]], markdown: bool) -> Iterable[str]:
    """The table, aligned for a terminal or as Markdown."""
    heads = [SHORT.get(head, head) for head in rows[0]]
    yield _line(heads, markdown)
    if markdown:
        yield "|---" * len(heads) + "|"
    for row in rows:
        yield _line([_shown(value) for value in row.values()], markdown)


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return "-" if value != value else f"{value:.0f} %"
    return str(value)


def _line(values: Sequence[str], markdown: bool) -> str:
    if markdown:
        return "| " + " | ".join(values) + " |"
    rest = "".join(value.rjust(FIGURE_WIDTH + 2) for value in values[1:])
    return values[0].ljust(NAME_WIDTH) + rest


def main(arguments: list[str] | None = None) -> int:
    """Print table and totals."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--half", default="test", choices=tuple(SEEDS))
    parser.add_argument("--per-family", type=int, default=40, help="cases of each family")
    parser.add_argument("--only", help="families whose name holds this text")
    parser.add_argument("--markdown", action="store_true", help="the table as Markdown")
    parser.add_argument(
        "--no-growing",
        action="store_true",
        help="leave out the time to disconnect and the measured tapers",
    )
    options = parser.parse_args(arguments)
    families = chosen_families(options.only)
    if not families:
        parser.error(f"no family's name holds {options.only!r}")
    every = cases(options.half, options.per_family, families)
    scores = [scored(case) for case in every]
    for line in (*text_lines(rows_of(scores), options.markdown), "", *totals_of(scores)):
        print(line, flush=True)
    if not options.no_growing:
        for line in (*runaway_lines(every), *taper_lines()):
            print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
