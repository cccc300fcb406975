"""How right the answers on record turned out, as sentences, as text and as JSON."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from batterymodel.assessment import ESTIMATE_VERSION
from batterymodel.basis.text import counted
from batterymodel.inputs.records import Chemistry
from batterymodel.reference.chemistry import data_for
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.say.record import table_text
from batterymodel.track.conformal import LEAST_CASES, MANY_CASES, Widening
from batterymodel.track.score import (
    LATEST,
    LEAST_SHOWN,
    PROMISED,
    Found,
    OutcomeCase,
    RangeCase,
    Tally,
    TrackRecord,
    TruthFrom,
    Verdict,
    over_time,
    tallies,
    tally_of,
)

NOTHING_YET = (
    "No answer could be checked yet. What checks one: a connection read to its end, the voltage at "
    "rest after it, a capacity check, and what servicing found."
)
NO_RANGE_YET = "No range could be checked yet: read a connection to its end."
NO_RANGE_OF_THIS = (
    "No range of this version of the estimate could be checked yet: read a connection to its end."
)
NO_RANGE_SURE = "No range could be checked yet by a truth that is surer than the range itself."
AS_ESTIMATED, ESTIMATED = "as the estimate alone gives them", "what the estimate alone gives"
NOTHING_FOUND = (
    "No outcome was held against a find yet: note a capacity check, or what servicing found."
)
TRUTH_WORDS = {
    TruthFrom.TAPER: "charge still to return, by the end of the taper",
    TruthFrom.REST: "state of charge, by the voltage at rest after",
}
FOUND_WORDS = {
    Found.ENOUGH: "capacity enough",
    Found.LOW: "capacity too low",
    Found.FAULTY_CELL: "a faulty cell",
    Found.NOTHING_WRONG: "nothing wrong",
}
SOURCE_WORDS = {
    TruthFrom.TAPER: "the end of the taper",
    TruthFrom.REST: "the voltage at rest after",
}
REST_HELPS = (
    "A voltage at rest tells a battery's charge only roughly; a connection read from its first "
    "minutes to its end tells more."
)
VERDICT_WORDS = {
    Verdict.RIGHT: "right",
    Verdict.WRONG: "wrong",
    Verdict.OPEN: "still open then",
    Verdict.NOT_TOLD: "not told by what was found",
}
HEADER = ("", "ranges", "held", "share", "off by", "too high by")
GROUPINGS: dict[str, Callable[[RangeCase], str]] = {
    "By what told the truth": lambda case: TRUTH_WORDS[case.truth_from],
    "By kind of battery": lambda case: case.answered.kind,
    "By outcome": lambda case: OUTCOME_WORDS[case.answered.answer.outcome],
}
"""What ranges are counted by, with the heading of each."""


def headline(record: TrackRecord) -> str:
    """How right it has been, in a sentence or two.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    str
    """
    if not record.present:
        return _none_yet(record)
    tally = tally_of("all", record.present)
    if tally.cases < LEAST_SHOWN:
        so_far = f"{counted(tally.cases, 'range')} checked so far: {_held(tally)}"
        return f"{so_far}. How often they hold is told from {LEAST_SHOWN} on."
    said = (
        f"Of {counted(tally.cases, 'range')} that could be checked, {tally.covered} held the truth"
    )
    return f"{said}: {_percent(tally.share)} %, where {_percent(PROMISED)} % should."


def _none_yet(record: TrackRecord) -> str:
    if record.former:
        return NO_RANGE_OF_THIS
    if record.unsure:
        return NO_RANGE_SURE
    return NO_RANGE_YET if record.outcomes else NOTHING_YET


def _held(tally: Tally) -> str:
    """How many of a few held the truth."""
    if tally.covered in (0, tally.cases):
        every = "it" if tally.cases == 1 else "both" if tally.cases == 2 else "all of them"
        none = "it missed" if tally.cases == 1 else "none of them held"
        return f"{every} held the truth" if tally.covered else f"{none} the truth"
    return f"{tally.covered} held the truth, {tally.cases - tally.covered} missed it"


def _percent(share: float) -> str:
    """A share in percent; whole only where it is so by itself, never 0 or 100 by rounding."""
    said = f"{100.0 * share:.0f}"
    return f"{100.0 * share:.1f}" if said in ("0", "100") and 0.0 < share < 1.0 else said


def standing_line(record: TrackRecord, chemistry: Chemistry) -> str | None:
    """One line for the box of an outcome: how right ranges of this chemistry have been here.

    Parameters
    ----------
    record : TrackRecord
    chemistry : Chemistry

    Returns
    -------
    str or None
        None while there are too few cases to say anything.
    """
    own = [case for case in record.present if case.answered.chemistry == chemistry]
    if len(own) < LEAST_SHOWN:
        return None
    latest = own[-LATEST:]
    held = sum(case.is_covered for case in latest)
    said = f"How right it has been here: {held} of the last {len(latest)} ranges held the truth"
    found = record.widening(chemistry)
    if found.factor == 1.0:
        return f"{said}."
    missed = f"{found.misses} of {counted(found.cases, 'range')} missed"
    return f"{said} as they were shown. {missed} {AS_ESTIMATED}. {_widened(found)}"


def _widened(found: Widening) -> str:
    """What a factor other than 1 does to the ranges; without its number where that reads as 1."""
    times = f"{found.factor:.2g}"
    hardly, by = ("hardly ", "") if times == "1" else ("", f": {times} times {ESTIMATED}")
    if found.factor > 1.0:
        return f"Ranges are therefore {hardly}wider{by}."
    return f"Ranges are therefore shown {hardly}narrower{by}. Outcomes are judged as before."


def widening_sentences(record: TrackRecord) -> tuple[str, ...]:
    """What follows for the next ranges, a sentence for each chemistry that was checked.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    tuple of str
    """
    return tuple(_next_ranges(name, record.widening(name)) for name in _chemistries(record))


def _chemistries(record: TrackRecord) -> list[str]:
    return sorted({case.answered.chemistry for case in record.present})


def _next_ranges(chemistry: str, found: Widening) -> str:
    label = data_for(Chemistry(chemistry)).label.capitalize()
    missed = f"{label}: {found.misses} of {counted(found.cases, 'range')} missed"
    if found.factor != 1.0:
        return f"{missed} {AS_ESTIMATED}. {_widened(found)}"
    if found.cases < LEAST_CASES:
        so_far = f"{counted(found.cases, 'case')} so far"
        return (
            f"{label}: {so_far}; whether ranges must be wider is looked at from {LEAST_CASES} on."
        )
    if found.misses == 0:
        missed = f"{label}: none of {counted(found.cases, 'range')} missed the truth"
    else:
        missed += ", no more than chance explains"
    if found.cases >= MANY_CASES:
        return f"{missed}. Ranges stay as they are."
    return (
        f"{missed}. Ranges stay as they are; whether they may be narrower is looked at from "
        f"{MANY_CASES} on."
    )


def about_sentences(record: TrackRecord) -> tuple[str, ...]:
    """What was left out of the count, and answers of another version.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    tuple of str
    """
    found = []
    if record.unsure:
        found.append(_unscored(record))
    if record.former:
        tally = tally_of("former", record.former)
        found.append(
            f"Answers of another version of the estimate: {tally.covered} of "
            f"{counted(tally.cases, 'range')} held the truth. They do not widen those of this one."
        )
    return tuple(found)


def _unscored(record: TrackRecord) -> str:
    """How many truths were left unscored, of how many, and why."""
    words = [f"{n} by {SOURCE_WORDS[told]}" for told, n in record.unsure_by.items()]
    were = "was" if record.unsure == 1 else "were"
    every = counted(len(record.ranges) + record.unsure, "truth")
    said = f"{record.unsure} of {every} {were} left unscored ({', '.join(words)}): less sure than "
    said += "the range, so that a miss and a hit look alike."
    if record.unsure_by.get(TruthFrom.REST):
        said += f" {REST_HELPS}"
    return said


def outcome_sentences(record: TrackRecord) -> tuple[str, ...]:
    """What servicing and capacity checks say of the outcomes before them.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    tuple of str
        Empty where nothing was found yet.
    """
    if not record.outcomes:
        return ()
    count = {v: n for v, n in record.verdicts().items() if n}
    words = ", ".join(f"{n} {VERDICT_WORDS[verdict]}" for verdict, n in count.items())
    said = f"{counted(len(record.outcomes), 'outcome')} held against what was found: {words}."
    against = sum(bool(case.opposite) for case in record.outcomes)
    if against:
        said += f" In {against} of them, finds contradict each other."
    return (said,)


def outcome_lines(record: TrackRecord) -> tuple[str, ...]:
    """Each outcome that was held against a find, the latest first.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    tuple of str
    """
    return tuple(_outcome_line(case) for case in reversed(record.outcomes))


def _outcome_line(case: OutcomeCase) -> str:
    said = OUTCOME_WORDS[case.answered.answer.outcome]
    words = (
        f"{case.answered.on}  {said}; found {case.found_on}: {FOUND_WORDS[case.found]} "
        f"({VERDICT_WORDS[case.verdict]})"
    )
    other = [f"{one.on}: {FOUND_WORDS[one.found]}" for one in case.opposite if one.found]
    return f"{words}; contradicted by {', '.join(other)}" if other else words


def tally_words(tally: Tally) -> str:
    """One group of ranges in a line for a narrow page.

    Parameters
    ----------
    tally : Tally

    Returns
    -------
    str
    """
    said = f"{tally.name}: {tally.covered} of {tally.cases} held the truth"
    if tally.cases >= LEAST_SHOWN:
        bounds = f"{_percent(tally.low)} to {_percent(tally.high)}"
        said += f" (in the long run {bounds} %, 90 % range)"
    off = "off by" if tally.cases == 1 else "typically off by"
    return f"{said}; {off} {_points(tally.error_points)} of charge"


def _points(points: float) -> str:
    said = f"{points:.1f}"
    return f"{said} point{'s' * (said != '1.0')}"


def score_text(record: TrackRecord) -> str:
    """The track record for the terminal.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    str
        Errors in points of state of charge.
    """
    lines = [headline(record), *widening_sentences(record), *about_sentences(record)]
    for title, name_of in GROUPINGS.items():
        if record.present:
            lines += ["", f"{title}, errors in points of charge", _table(record.present, name_of)]
    moments = over_time(record.present)
    if moments:
        lines += ["", f"Over time, the last {LATEST} ranges up to each day, or all where fewer"]
        lines += [f"  {m.on}  {_percent(m.share)} % of {m.cases} held the truth" for m in moments]
    outcomes = outcome_sentences(record)
    if outcomes:
        lines += ["", *outcomes, *(f"  {line}" for line in outcome_lines(record))]
    return "\n".join(lines)


def _table(cases: Sequence[RangeCase], name_of: Callable[[RangeCase], str]) -> str:
    return table_text([HEADER, *(_row(tally) for tally in tallies(cases, name_of))])


def _row(tally: Tally) -> tuple[str, ...]:
    return (
        tally.name,
        str(tally.cases),
        str(tally.covered),
        f"{_percent(tally.share)} %" if tally.cases >= LEAST_SHOWN else "",
        f"{tally.error_points:.1f}",
        f"{tally.bias_points:+.1f}",
    )


def score_json(record: TrackRecord) -> str:
    """The track record as one JSON object; shares from 0 to 1, errors in points of charge.

    Parameters
    ----------
    record : TrackRecord

    Returns
    -------
    str
    """
    present, former = record.present, record.former
    return json.dumps(
        {
            "estimate_version": ESTIMATE_VERSION,
            "promised": PROMISED,
            "all": _tally_json("all", present),
            "groups": {
                name: [vars(tally) | {"share": tally.share} for tally in found]
                for name, found in _grouped(present).items()
            },
            "over_time": [vars(moment) for moment in over_time(present)],
            "widening": {name: vars(record.widening(name)) for name in _chemistries(record)},
            "another_version": _tally_json("another version", former),
            "truths_too_unsure": record.unsure,
            "truths_too_unsure_by": record.unsure_by,
            "ranges": [_range_json(case) for case in record.ranges],
            "outcomes": [_outcome_json(case) for case in record.outcomes],
            "verdicts": record.verdicts(),
        },
        indent=2,
        default=str,
    )


def _grouped(cases: Sequence[RangeCase]) -> dict[str, tuple[Tally, ...]]:
    return {
        "truth": tallies(cases, lambda case: case.truth_from),
        "kind": tallies(cases, lambda case: case.answered.kind),
        "outcome": tallies(cases, lambda case: case.answered.answer.outcome),
    }


def _tally_json(name: str, cases: Sequence[RangeCase]) -> dict[str, Any] | None:
    if not cases:
        return None
    tally = tally_of(name, cases)
    return vars(tally) | {"share": tally.share}


def _range_json(case: RangeCase) -> dict[str, Any]:
    answer = case.answered.answer
    return {
        "connection": case.answered.connection_id,
        "on": case.answered.on,
        "kind": case.answered.kind,
        "outcome": answer.outcome,
        "until_s": answer.until_s,
        "truth_from": case.truth_from,
        "known_on": case.known_on,
        "told": case.told.model_dump(),
        "widening": answer.widening,
        "truth": case.truth,
        "truth_sd": case.truth_sd,
        "needed_factor": case.needed,
        "held": case.is_covered,
        "made_by": answer.made_by,
    }


def _outcome_json(case: OutcomeCase) -> dict[str, Any]:
    return {
        "connection": case.answered.connection_id,
        "on": case.answered.on,
        "outcome": case.answered.answer.outcome,
        "decided_by": case.answered.answer.decided_by,
        "found": case.found,
        "found_on": case.found_on,
        "verdict": case.verdict,
        "contradicted_by": [{"found": one.found, "found_on": one.on} for one in case.opposite],
    }
