"""What was found of a battery after an answer: several finds, and which of them judges it."""

from __future__ import annotations

from collections.abc import Sequence

from batterymodel.track.kept import KeptAnswer
from batterymodel.track.score import Answered, Find, Found, OutcomeCase, Verdict, verdict_of


def outcome_case(answered: Answered, finds: Sequence[Find]) -> OutcomeCase | None:
    """An answer held against all that was found after it: no later find turns a wrong one right.

    A find that stands against the answer judges it, else one of a fault before one of none. A
    measured capacity outranks that nothing was wrong, and of faults it judges before one that was
    seen. A battery in which a fault was found may have
    been mended since, so that a sound find of that day or later does not stand against the answer
    that sent it away.

    Parameters
    ----------
    answered : Answered
    finds : sequence of Find
        In any order.

    Returns
    -------
    OutcomeCase or None
        With the finds that say the opposite; None where none of them tells anything.
    """
    told = [find for find in finds if find.found is not None]
    counted = [find for find in told if find.counts and not _is_outranked(find, finds)]
    if not counted:
        return None
    faults = [find.on for find in counted if not find.is_sound]

    def place(find: Find) -> tuple[bool, bool, bool, int]:
        is_mended = find.is_sound and any(on <= find.on for on in faults)
        is_against = _is_against(answered.answer, find) and not is_mended
        return not is_against, find.is_sound, not find.is_measured, find.on.toordinal()

    judge = min(counted, key=place)
    others = [find for find in told if find.is_sound != judge.is_sound]
    opposite = tuple(sorted(others, key=lambda find: (find.on, find.found)))
    return OutcomeCase(answered, judge.found or Found.ENOUGH, judge.on, opposite)


def _is_outranked(find: Find, finds: Sequence[Find]) -> bool:
    is_measured = any(other.is_measured and other.counts for other in finds)
    return is_measured and find.found is Found.NOTHING_WRONG


def _is_against(answer: KeptAnswer, find: Find) -> bool:
    return find.found is not None and verdict_of(answer, find.found) is Verdict.WRONG
