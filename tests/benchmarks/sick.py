"""What the tool says of sick batteries, of sound ones that look sick, and of misread ones.

``python -m tests.benchmarks.sick [--half calibration] [--per-family 40] [--only NAME]``, with
``--markdown`` the table as Markdown.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from typing import Any

from tests.benchmarks.sickbay.cases import FAMILIES, SEEDS, cases
from tests.benchmarks.sickbay.combined import COMBINED
from tests.benchmarks.sickbay.family import Family
from tests.benchmarks.sickbay.mistakes import MISTAKES
from tests.benchmarks.sickbay.scores import (
    Score,
    row_of,
    rows_of,
    runaway_lines,
    scored,
    taper_lines,
    totals_of,
)
from tests.benchmarks.sickbay.sick import SICK
from tests.benchmarks.sickbay.sound import SOUND

GROUPS = {
    "sound, watched in any weather and with any meter": SOUND,
    "misread, mistold or on a poor supply": MISTAKES,
    "sick": SICK,
    "sick, and misread or mistold": COMBINED,
}
NAME_WIDTH, FIGURE_WIDTH = 38, 10
SHORT = {
    "top_off": "top off",
    "keep_watching": "watch",
}


def chosen_families(only: str | None) -> list[Family]:
    """Families whose name holds the text; all without one."""
    return [f for f in FAMILIES if only is None or only.lower() in f.name.lower()]


def group_rows(scores: Sequence[Score]) -> list[dict[str, Any]]:
    """Figures of each group of families, and of all."""
    rows = []
    for name, families in GROUPS.items():
        within = {family.name for family in families}
        rows.append(row_of(name, [s for s in scores if s.case.family in within]))
    return [*rows, row_of("all", scores)]


def document_lines(half: str = "last", per_family: int = 30) -> Iterable[str]:
    """Groups, totals, time to disconnect, measured tapers and families, as Markdown."""
    every = cases(half, per_family)
    scores = [scored(case) for case in every]
    yield f"Half: {half}, {per_family} cases of each of {len(FAMILIES)} families."
    yield ""
    yield from text_lines(group_rows(scores), markdown=True)
    yield ""
    for sentence in (*totals_of(scores), *runaway_lines(every), *taper_lines()):
        yield f"- {sentence}"
    yield ""
    yield from text_lines(rows_of(scores), markdown=True)


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
