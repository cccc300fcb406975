"""What an answer says of the other batteries of a kind that it rests on, or was made without."""

from __future__ import annotations

from batterymodel.rules.case import Case
from batterymodel.rules.results import KindOnRecord
from batterymodel.rules.wording import (
    KIND_COUNTS,
    KIND_COUNTS_LITTLE,
    KIND_LEFT_OUT,
    WITHOUT_KIND,
    kind_words,
)
from batterymodel.soc.kinds import tells_more


def kind_on_record(case: Case) -> KindOnRecord | None:
    """The other batteries of its kind by their numbers, and whether the answer rests on them.

    Parameters
    ----------
    case : Case

    Returns
    -------
    KindOnRecord or None
        None where no other battery of the kind teaches anything.
    """
    kind = case.kind
    if kind is None:
        return None
    return KindOnRecord(
        batteries=kind.batteries,
        connections=kind.connections,
        rest_voltages=kind.rest_voltages,
        capacity_checks=len(kind.checks),
        in_use=case.battery.kind is not None,
    )


def kind_notes(case: Case) -> tuple[str, ...]:
    """What the answer rests on beside this battery's own record, or why it does not.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of str
        One sentence; none where no other battery of the kind teaches anything.
    """
    kind, battery = case.kind, case.battery
    if kind is None:
        return ()
    template = KIND_COUNTS if tells_more(kind, battery) else KIND_COUNTS_LITTLE
    if battery.kind is None:
        template = WITHOUT_KIND if case.kind_would_lift else KIND_LEFT_OUT
    return (template.format(**kind_words(kind, battery)),)
