"""The answer of a ground power budget as HTML: its ruled box, and rows for desk and phone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from batterymodel.budget.results import Budget, Part
from batterymodel.budget.wording import WHY, amperes, amperes_short, amperes_spare
from batterymodel.pages import boxed_sign, figures, shown, table
from batterymodel.say.budget import (
    ConsumerRow,
    answer,
    battery_first,
    not_checked_words,
)
from batterymodel.say.budget_wording import NO_START, STARTS
from batterymodel.say.connection import amount
from batterymodel.say.ground_power import box_of

WARNING = (
    "Advice only: the aircraft's manual says what may be switched off, and the electrical code of "
    "the place governs the wall circuit. Not for engine starting."
)

CONSUMERS = ("Consumer", "Switch", "Draws (90 % range)", "Starts with", "Why")
NOT_IN_TASK = WHY[Part.NOT_IN_TASK, False]


def power_box(budget: Budget, battery: str) -> str:
    """The ruled box: whether it fits, the answer in one sentence, and what to do next.

    Parameters
    ----------
    budget : Budget
    battery : str
        What the battery is counted with and from when, unescaped.

    Returns
    -------
    str
        HTML, a section named Outcome.
    """
    box, said = box_of(budget), answer(budget)
    steps = "".join(f"<li>{shown(step)}</li>" for step in _steps(budget))
    more = "".join(f"<p>{shown(words)}</p>" for words in (battery, not_checked_words(budget)))
    return (
        f'<section class="jc jc-box {box.kind}" aria-label="Outcome">'
        f'<h2 class="jc-word">{boxed_sign(box.sign)}<span>{box.word}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(said[0].upper() + said[1:])}.</b></p>'
        f"<ol>{steps}</ol>{more}</div>"
        f'<div class="jc-warn">{shown(WARNING)}</div></section>'
    )


def _steps(budget: Budget) -> tuple[str, ...]:
    """What to do next; where the battery must come off, that comes before all else."""
    if not battery_first(budget):
        return budget.next_steps
    return tuple(f.text for f in budget.findings if f.rule == "battery_outcome")


def power_figures(budget: Budget) -> str:
    """The figures to read first: what is to spare, load, limit and bus voltage.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
        HTML.
    """
    room, spare_a = budget.room[0], budget.spare_a
    load, spread = amount(room.load_a, "A")
    volts, volts_spread = amount(budget.voltage.at_aircraft_v, "V")
    left = ("To spare", amperes_spare(spare_a), "with its margin")
    if spare_a < 0.0:
        now = "Too much" if budget.settled is None else "Too much now"
        left = (now, amperes_short(-spare_a), "with its margin")
    return figures(
        [
            left,
            ("Load", load, f"90 % range: {spread}"),
            ("Limit that binds", amperes(room.limit_a), room.name),
            ("At the aircraft", volts, f"90 % range: {volts_spread}"),
        ]
    )


def consumers_html(rows: Sequence[ConsumerRow]) -> str:
    """The consumers: a table on a desk, and on a phone a list that names the rest in one line.

    Parameters
    ----------
    rows : sequence of ConsumerRow
        In the order to show them.

    Returns
    -------
    str
        HTML.
    """
    told = [(one.name, one.state, _drawn(one), one.start, one.why) for one in rows]
    rest = [one for one in rows if one.why == NOT_IN_TASK]
    items = "".join(_consumer_item(one) for one in rows if one not in rest)
    if rest:
        names = shown(", ".join(one.name for one in rest))
        items += (
            f"<li><span><b>{rest[0].state.capitalize()}</b>, {NOT_IN_TASK}: {names}</span></li>"
        )
    return (
        f'<div class="jc-desk">{table(CONSUMERS, told)}</div>'
        f'<ul class="jc jc-findings jc-phone">{items}</ul>'
    )


def _drawn(one: ConsumerRow) -> str:
    return f"{one.current} ({one.spread.removesuffix(' A')})"


def _consumer_item(one: ConsumerRow) -> str:
    start = "" if one.start == NO_START else f", {STARTS} {one.start}"
    return (
        f'<li><span class="jc-row-name"><b>{shown(one.name)}</b>: {one.state}</span>'
        f"<span>{shown(_drawn(one) + start)}</span>"
        f'<span class="jc-note">{shown(one.why)}</span></li>'
    )


def either(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows as a table on a desk, and as a list on a phone.

    Parameters
    ----------
    header : sequence of str
        Unescaped; the first column names the row.
    rows : sequence of sequences of str
        Unescaped, each as long as the header; an empty cell is left out of the list.

    Returns
    -------
    str
        HTML.
    """
    items = "".join(_item(header, row) for row in rows)
    return (
        f'<div class="jc-desk">{table(header, rows)}</div>'
        f'<ul class="jc jc-findings jc-phone">{items}</ul>'
    )


def _item(header: Sequence[str], row: Sequence[str]) -> str:
    cells: Iterable[tuple[str, str]] = zip(header[1:], row[1:], strict=True)
    told = "".join(
        f'<span class="jc-cell"><span class="jc-name">{shown(name)}</span>{shown(cell)}</span>'
        for name, cell in cells
        if cell
    )
    return f'<li><b class="jc-row-name">{shown(row[0])}</b>{told}</li>'


def named_rows(rows: Iterable[tuple[str, str]]) -> str:
    """Names, each with what is known of it, as a list that wraps.

    Parameters
    ----------
    rows : iterable of (str, str)
        Unescaped.

    Returns
    -------
    str
        HTML.
    """
    items = (
        f'<li><b class="jc-row-name">{shown(name)}</b><span>{shown(words)}</span></li>'
        for name, words in rows
    )
    return f'<ul class="jc jc-findings jc-named">{"".join(items)}</ul>'
