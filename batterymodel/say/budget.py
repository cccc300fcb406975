"""A ground power budget as readable text: for the terminal, and in pieces for the page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from batterymodel.basis.intervals import Interval
from batterymodel.budget.results import Budget, ConsumerLine, Part, Start, Verdict
from batterymodel.budget.selection import HELD
from batterymodel.budget.wording import (
    CHECK_WORDS,
    CIRCUIT_UNKNOWN,
    RULE_WORDS,
    WHY,
    amperes,
    amperes_short,
    amperes_spare,
    lasting_words,
    listed,
    settled_words,
    volts,
)
from batterymodel.rules.case import OWN_RULE
from batterymodel.rules.results import Finding, Severity
from batterymodel.rules.wording import (
    NOT_CHECKED,
    SEVERITY_WORDS,
    chance_words,
    minutes_words,
    source_words,
)
from batterymodel.say import budget_wording as words
from batterymodel.say.connection import amount, percent, wrapped

NAME_WIDTH = 28
"""Columns of the terminal for a consumer's name (own choice)."""

GRAVE = (Severity.SERVICE, Severity.DISCONNECT)


SAID_ALREADY = ("battery_outcome", "start_alone")
"""Rules of which the answer speaks in words of its own."""


@dataclass(frozen=True)
class ConsumerRow:
    """One consumer as read: on or off, its current with range, its start, and why."""

    name: str
    state: str
    current: str
    spread: str
    start: str
    why: str


@dataclass(frozen=True)
class LimitRow:
    """One limit as read: its current, what it leaves, its source, and whether it binds."""

    name: str
    limit: str
    room: str
    source: str
    binds: bool


@dataclass(frozen=True)
class WayRow:
    """One thing as it is on ground power, and on the battery alone."""

    name: str
    on_ground_power: str
    on_battery: str


def answer(budget: Budget) -> str:
    """The answer in one sentence: does it fit, what is to spare, how far a start dips the bus.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
        Without a capital and a full stop, to stand behind the task's name.
    """
    said = words.BATTERY_FIRST if battery_first(budget) else _verdict_words(budget)
    parts = [said, _start_words(budget), *_but_words(budget)]
    if budget.battery_a is None:
        parts.append(words.DRAW_UNKNOWN)
    return "; ".join(part for part in parts if part)


def battery_first(budget: Budget) -> bool:
    """Whether the battery must come off before anything is said of the load.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    bool
    """
    return any(finding.severity in GRAVE for finding in budget.findings)


def consumer_rows(budget: Budget) -> tuple[ConsumerRow, ...]:
    """Every consumer: those that run first, then by what they are to the task.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    tuple of ConsumerRow
        Otherwise in the order of the aircraft's list.
    """
    starts = {start.name: start for start in budget.starts}
    parts = tuple(Part)
    ordered = sorted(budget.consumers, key=lambda one: (not one.runs, parts.index(one.part)))
    return tuple(_consumer_row(one, starts.get(one.name)) for one in ordered)


def load_words(budget: Budget) -> str:
    """What all that is on takes, the battery left out.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
        One sentence.
    """
    load = budget.load
    return words.ALL_TOGETHER.format(
        at_once=amperes(load.at_once_a),
        average=amperes(load.average_a),
        charge=f"{load.charge_ah:.2g} Ah" if load.charge_ah < 1.0 else f"{load.charge_ah:.0f} Ah",
    )


def limit_rows(budget: Budget) -> tuple[LimitRow, ...]:
    """Every limit of the supply's output, the lowest that counts first.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    tuple of LimitRow
    """
    spare = {room.name: room.spare_a for room in budget.room}
    return tuple(
        LimitRow(
            name=limit.name,
            limit=amperes(limit.limit_a),
            room=_room_words(spare.get(limit.name)),
            source=source_words(limit.source, limit.generic),
            binds=limit.applies and limit.name == budget.room[0].name,
        )
        for limit in budget.capability.limits
    )


def way_rows(budget: Budget) -> tuple[WayRow, ...]:
    """The task on ground power beside the task on the battery alone.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    tuple of WayRow
        Empty where no battery is known that may be used.
    """
    alone = budget.on_battery
    if alone is None:
        return ()
    fits = budget.verdict is not Verdict.TOO_MUCH
    helps = any(_is_beyond(start) for start in budget.starts)
    depth, _ = percent(alone.wear.depth)
    return (
        WayRow(words.WAYS["time"], words.AS_LONG, lasting_words(alone.minutes)),
        WayRow(
            words.WAYS["enough"],
            words.YES if fits else words.NO,
            words.CHANCE.format(chance=chance_words(alone.chance_enough)),
        ),
        WayRow(
            words.WAYS["taken"],
            words.FOR_STARTS if helps else words.NOTHING_TAKEN,
            words.TAKEN.format(charge=amount(alone.charge_ah, "Ah")[0], depth=depth),
        ),
        WayRow(words.WAYS["after"], words.STAYS_CHARGED, " ".join(_ranged(alone.soc_after))),
    )


def way_words(budget: Budget) -> str:
    """With and without ground power in sentences: time on the battery alone and the wear of it.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
        That of the finding, or what must be told to know it.
    """
    found = (finding.text for finding in budget.findings if finding.rule == "battery_alone")
    return next(found, words.ALONE_UNKNOWN)


def not_checked_words(budget: Budget) -> str:
    """What nobody told, in one sentence; empty where all of it is known.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
    """
    what = ", ".join(CHECK_WORDS[name] for name in budget.not_checked)
    return NOT_CHECKED.format(what=what) if what else ""


def learned_words(budget: Budget) -> tuple[str, ...]:
    """What the load steps of the connection taught of consumers, a sentence for each.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    tuple of str
    """
    return tuple(
        words.LEARNED.format(
            name=one.name,
            seen=f"{one.seen_a:.1f} A",
            before=f"{one.before_a.mean:.1f} A",
            after=f"{one.after_a.mean:.1f} A",
            readings=one.readings,
            counted=f"{one.counted_a.mean:.1f} A",
        )
        for one in budget.learned
    )


def budget_text(budget: Budget) -> str:
    """The whole budget: answer, consumers, limits, both ways, findings, next steps, cautions.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
        Several lines of `WIDTH`.
    """
    parts = [
        wrapped(f"{budget.task}: {answer(budget)}."),
        wrapped(not_checked_words(budget)),
        "",
        f"Consumers of {budget.tail}",
        *_consumer_lines(budget),
        wrapped(load_words(budget), "  "),
        "",
        f"What {budget.supply} can give",
        *_limit_lines(budget),
        "",
        "With and without ground power",
        *_way_lines(budget),
        *_learned_lines(budget),
        "",
        "Findings",
        *(line for finding in budget.findings for line in _finding_lines(finding)),
        "",
        "What to do next",
        *(wrapped(step, f"  {i}. ") for i, step in enumerate(budget.next_steps, 1)),
        "",
        "Cautions",
        *(wrapped(caution, "  ! ") for caution in budget.cautions),
    ]
    return "\n".join(parts)


def tasks_text(budgets: Iterable[Budget]) -> str:
    """Several tasks of one aircraft, a sentence for each.

    Parameters
    ----------
    budgets : iterable of Budget

    Returns
    -------
    str
        Lines of `WIDTH`.
    """
    lines = [
        wrapped(
            words.TASK_LINE.format(
                task=one.task, minutes=minutes_words(one.minutes), answer=answer(one)
            ),
            "  - ",
        )
        for one in budgets
    ]
    return "\n".join([*lines, "", wrapped(words.NAME_A_TASK)])


def _verdict_words(budget: Budget) -> str:
    tightest = budget.room[0]
    off = [one.name for one in budget.consumers if one.part is Part.WANTED and not one.runs]
    but = CIRCUIT_UNKNOWN if "wall_circuit" in budget.not_checked else ""
    if budget.settled is not None and budget.verdict is Verdict.TOO_MUCH:
        then = settled_words(budget.settled) + but
        return words.NOT_NOW.format(float=amperes(budget.settled.battery_a.mean), then=then)
    return words.ANSWERS[budget.verdict].format(
        but=but,
        spare=amperes_spare(budget.spare_a),
        short=amperes_short(-budget.spare_a),
        name=tightest.name,
        off=listed(off) if off else "",
    )


def _start_words(budget: Budget) -> str:
    """The start that dips the bus most, or those that nothing is known to cover."""
    if any(but.rule == "start_dip" for but in budget.buts):
        return ""
    dips = [(s, s.with_battery) for s in budget.starts if s.with_battery is not None]
    if dips:
        start, dip = min(dips, key=lambda pair: pair[1].least_bus_v.low)
        value = volts(dip.least_bus_v.mean)
        dips_words = words.DIPS if start.timed else words.DIPS_UNTIMED
        return dips_words.format(seconds=_seconds(start), name=start.name, value=value)
    names = [start.name for start in budget.starts if _is_beyond(start)]
    uncovered = words.THEN_UNCOVERED if battery_first(budget) else words.UNCOVERED
    return uncovered.format(names=listed(names)) if names else ""


def _but_words(budget: Budget) -> list[str]:
    """What else stands against it; of the battery and an uncovered start is said already."""
    return [but.said for but in budget.buts if but.rule not in SAID_ALREADY]


def _is_beyond(start: Start) -> bool:
    return start.supply_alone.chance_within < HELD


def _seconds(start: Start) -> str:
    return f"{start.starting_s:.2g} s{'' if start.timed else words.NOT_TIMED}"


def _consumer_row(one: ConsumerLine, start: Start | None) -> ConsumerRow:
    current = one.continuous_a
    starts = words.NO_START if one.starting_a is None else amperes(one.starting_a)
    if start is not None:
        starts = words.STARTS_WITH.format(starting=starts, seconds=_seconds(start))
    return ConsumerRow(
        name=one.name,
        state=words.ON if one.runs else words.OFF,
        current=amperes(current.mean),
        spread=f"{amperes(current.low).removesuffix(' A')} to {amperes(current.high)}",
        start=starts,
        why=one.why,
    )


def _room_words(spare_a: float | None) -> str:
    if spare_a is None:
        return words.NOT_FOR_THIS_TASK
    if spare_a < 0.0:
        return words.SHORT.format(short=amperes_short(-spare_a))
    return words.SPARE.format(spare=amperes_spare(spare_a))


def _ranged(fraction: Interval) -> tuple[str, str]:
    best, spread = percent(fraction)
    return best, f"({spread.removesuffix(' %')})"


def _consumer_lines(budget: Budget) -> list[str]:
    """Consumers below what they are to the task; those that are no part of it by name only."""
    lines = [f"  {'':{NAME_WIDTH + 2}}{words.DRAWS:>7}   {words.RANGE:14}{words.STARTS}"]
    rows = consumer_rows(budget)
    for state, why in dict.fromkeys((row.state, row.why) for row in rows):
        group = [row for row in rows if (row.state, row.why) == (state, why)]
        head = words.GROUP.format(state=state.capitalize(), why=why)
        if why == WHY[Part.NOT_IN_TASK, False]:
            lines.append(wrapped(f"{head}: {', '.join(row.name for row in group)}", "  "))
        else:
            lines += [f"  {head}", *(line for row in group for line in _consumer_line(row))]
    return lines


def _consumer_line(row: ConsumerRow) -> list[str]:
    """One line; two where the name is long."""
    figures = f"{row.current:>7}   {row.spread:14}{row.start}"
    if len(row.name) >= NAME_WIDTH:
        return [f"    {row.name}", f"    {'':{NAME_WIDTH}}{figures}"]
    return [f"    {row.name:{NAME_WIDTH}}{figures}"]


def _limit_lines(budget: Budget) -> list[str]:
    lines = []
    for row in limit_rows(budget):
        room = words.BINDS.format(room=row.room) if row.binds else row.room
        lines.append(f"  {row.name:28}{row.limit:>7}   {room}")
        lines.append(wrapped(f"from {row.source}", " " * 14))
    return lines


def _way_lines(budget: Budget) -> list[str]:
    rows = way_rows(budget)
    if not rows:
        return [wrapped(way_words(budget), "  ")]
    head = WayRow("", words.ON_GROUND_POWER, words.ON_BATTERY)
    return [f"  {row.name:32}{row.on_ground_power:24}{row.on_battery}" for row in (head, *rows)]


def _learned_lines(budget: Budget) -> list[str]:
    learned = learned_words(budget)
    lines = [wrapped(line, "  - ") for line in learned]
    return ["", "Learned from the load steps of this log", *lines] if learned else []


def _finding_lines(finding: Finding) -> list[str]:
    mark = SEVERITY_WORDS[finding.severity]
    lines = [wrapped(f"{RULE_WORDS[finding.rule]}: {finding.text}", f"  {mark:>10}  ")]
    if finding.source and (finding.limit is not None or finding.source != OWN_RULE):
        source = source_words(finding.source, finding.generic)
        lead = "from" if finding.limit is None else "limit from"
        lines.append(wrapped(f"{lead} {source}", " " * 14))
    return lines
