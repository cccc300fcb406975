"""Sentences and words of a ground power budget that page and terminal share."""

from __future__ import annotations

from batterymodel.budget.results import Verdict

ANSWERS = {
    Verdict.FITS: "fits, {spare} to spare{but}",
    Verdict.FITS_WITH_LESS: "fits without {off}, {spare} to spare{but}",
    Verdict.TOO_MUCH: "does not fit, {short} over the {name}",
}

NOT_NOW = (
    "does not fit now, the battery taking all that is left; once the battery draws {float}, {then}"
)
BATTERY_FIRST = "not with this battery: it must come off first"
NOT_TIMED = " (not told)"
DIPS = "the {seconds} start of {name} dips the bus to {value}"
DIPS_UNTIMED = "the start of {name} dips the bus to {value}"
THEN_UNCOVERED = "then nothing covers the start of {names}"
UNCOVERED = "no battery is known to cover the start of {names}"
DRAW_UNKNOWN = "the battery's draw is not counted"

ON, OFF = "on", "off"
DRAWS, RANGE, STARTS = "draws", "range", "starts with"
GROUP = "{state}, {why}"
NO_START = "-"
STARTS_WITH = "{starting} for {seconds}"

ALL_TOGETHER = (
    "What is on takes {at_once} at once and {average} on average: {charge} over the task."
)

SPARE, SHORT = "{spare} to spare", "{short} too much"
BINDS = "{room}: this one binds"
NOT_FOR_THIS_TASK = "from three hours on only"

WAYS = {
    "time": "Time",
    "enough": "Enough for this task",
    "taken": "Taken from the battery",
    "after": "Charge of the battery after it",
}
ON_GROUND_POWER, ON_BATTERY = "on ground power", "on the battery alone"
YES, NO = "yes", "no"
CHANCE = "with a chance of {chance}"
TAKEN = "{charge}, {depth} of what it holds"
AS_LONG = "as long as it is on"
STAYS_CHARGED = "stays, or rises"
FOR_STARTS, NOTHING_TAKEN = "help with starts", "nothing"
ALONE_UNKNOWN = (
    "How long the battery alone would last is not known: give its readings and its plate."
)

LEARNED = (
    "{name} took {seen} where {before} was known: put {after} into its entry, "
    "with readings = {readings}. It counts with {counted} here."
)

TASK_LINE = "{task} ({minutes}): {answer}."
NAME_A_TASK = "Name one of them with --task for all that is said of it."
