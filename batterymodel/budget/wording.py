"""Every sentence of the ground power budget: templates filled in by its rules."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor

from batterymodel.basis.intervals import Interval
from batterymodel.budget.endurance import MOST_MINUTES, StoppedBy, WearGrade
from batterymodel.budget.results import Part, Settled, Verdict
from batterymodel.inputs.records import Supply
from batterymodel.reference.limits import Limit
from batterymodel.rules.wording import minutes_words

VERDICT_WORDS = {
    Verdict.FITS: "Fits",
    Verdict.FITS_WITH_LESS: "Fits with less",
    Verdict.TOO_MUCH: "Does not fit",
}

VERDICT_SIGNS = {Verdict.FITS: "✓", Verdict.FITS_WITH_LESS: "!", Verdict.TOO_MUCH: "✕"}

RULE_WORDS = {
    "output_limit": "Load against the limit",
    "limit_unconfirmed": "Limit to confirm",
    "bus_limit_unconfirmed": "Bus voltage to confirm",
    "over_hours": "Load over hours",
    "left_off": "Left off",
    "stays_on": "Must stay on",
    "battery_draw": "Draw of the battery",
    "battery_outcome": "The battery itself",
    "bus_voltage_low": "Voltage at the aircraft",
    "bus_voltage_high": "Highest bus voltage",
    "start_dip": "Motor start",
    "long_start": "Long start",
    "start_circuit": "Start against circuit and cable",
    "start_alone": "Start without a battery",
    "battery_alone": "Without ground power",
    "draws_more": "Draws more than before",
    "supply_warm": "Warm supply",
    "wall_circuit_unknown": "Wall circuit",
    "cable_current": "Current in the cable",
    "load_figures": "Source of the currents",
}

CHECK_WORDS = {
    "battery": "what the battery draws",
    "battery_since": "how the battery is since",
    "wall_circuit": "wall circuit",
    "cable": "voltage lost in the cable",
    "cable_current": "what current the cable may carry (its marking or its maker's papers tell; "
    "give it with the supply)",
    "supply_temp": "temperature at the supply",
    "bus_limit": "which voltage the aircraft's bus needs",
    "long_start": "how far a long start runs the battery down",
    "start_time": "how long each start takes",
    "start_circuit": "whether the breaker of the wall circuit and the cable bear the surge of a "
    "short start",
    "other_loads": "what else hangs on the same wall circuit",
}

WHY = {
    (Part.NEEDED, True): "needed for this task",
    (Part.STAYS_ON, True): "may not be switched off, by the aircraft's manual",
    (Part.WANTED, True): "useful, and there is room for it",
    (Part.WANTED, False): "useful, but it does not fit",
    (Part.NOT_IN_TASK, False): "not part of this task",
}

HEADLINES = {
    Verdict.FITS: "{task} fits on {supply}, {spare} to spare below the {limit} of the {name}{but}.",
    Verdict.FITS_WITH_LESS: "{task} fits on {supply} without {off}, {spare} to spare below the "
    "{limit} of the {name}{but}.",
    Verdict.TOO_MUCH: "{task} does not fit on {supply}: even the least that must run is, with "
    "its margin, {short} over the {limit} of the {name}.",
}

HEADLINE_AT_LIMIT = (
    "{task} does not fit on {supply} now: the battery would take about {draw}, all that is left "
    "and more. Once the battery draws about {float}, {then}{but}. When that is, nobody can tell "
    "yet."
)

SETTLED = {
    Verdict.FITS: "all of it fits, {spare} to spare below the {limit} of the {name}",
    Verdict.FITS_WITH_LESS: "it fits without {off}, {spare} to spare below the {limit} of the "
    "{name}",
    Verdict.TOO_MUCH: "what must run is, with its margin, still {short} over the {limit} of the "
    "{name}",
}

CIRCUIT_UNKNOWN = "; the wall circuit is not known"

BUT = " But {said}."
BUTS = {
    "battery_outcome": "first the battery: {outcome}",
    "bus_voltage_low": "the bus may have as little as {low}, under the {limit} {need}",
    "bus_voltage_high": "the bus may have as much as {high}, over the {limit} {bears}",
    "start_dip": "the start of {name} may bring the bus down to {low}, and {limit} is needed",
    "start_alone": "the start of {names} is more than the supply gives",
    "start_circuit": "the start of {names} is more than the {limit} of the {which}",
}
"""What a load that fits is no use without, by the rule that found it."""

HEADLINE_WITHOUT_BATTERY = " What the battery draws is not counted."

TEXTS = {
    "output_limit.ok": "What runs draws {load} ({low} to {high}), {battery}. With its margin it "
    "stays {spare} below the {limit} of the {name}.",
    "output_limit.watch": "What must run draws {load} ({low} to {high}), {battery}. With its "
    "margin it is {short} over the {limit} of the {name}.",
    "output_limit.at_limit": "What must run and the {draw} that the battery would take are more "
    "than the supply gives now: the battery takes all that is left. Once the battery draws about "
    "{float}, {then}.",
    "limit_unconfirmed.watch": "The limit that binds, {limit} of the {name}, is generic: "
    "{source}. Confirm it before relying on it.",
    "bus_limit_unconfirmed.watch": "The aircraft's papers did not tell what its bus must keep: "
    "{which} is of a power standard. Confirm it before relying on it.",
    "over_hours.note": "For less than three hours only: over three hours or more the wall circuit "
    "carries {limit}, and this load with its margin is {short} more.",
    "left_off.watch": "There is no room for {names}. The fewest and least needed are left off.",
    "left_off.note": "Not part of this task and left off: {names}.",
    "stays_on.note": "Stays on by the aircraft's manual, and is counted in full: {names}.",
    "battery_draw.unknown": "Nobody told what the battery draws: it is not counted. A discharged "
    "battery can take all that the supply has left; read the ammeter after connection.",
    "battery_draw.at_limit": "The supply is at its limit: the battery takes all that the consumers "
    "leave, and would take about {value}. Wait for its current to fall.",
    "battery_outcome.bad": "Of the battery {by}: {outcome}. {meaning} That comes before this task.",
    "bus_voltage_low.ok": "The bus has {value} ({low} to {high}) at the aircraft, above the "
    "{limit} {need}.",
    "bus_voltage_low.note": "The supply gives {value} ({low} to {high}). What the cable takes of "
    "it nobody told; the bus must keep the {limit} {need}.",
    "bus_voltage_low.watch": "The bus may have as little as {low} at the aircraft, under the "
    "{limit} {need}: use a shorter or thicker cable, or less load.",
    "bus_voltage_low.supply": "The supply gives as little as {supply}, under the {limit} {need}, "
    "whatever the cable: have its voltage set or checked.",
    "bus_voltage_high.watch": "The bus may have as much as {high} at the aircraft, over the "
    "{limit} {bears}: have the supply's voltage checked.",
    "start_dip.ok": "The start of {name} ({starting} for {seconds}) brings the bus "
    "down to {value} ({low} to {high}), above the {limit} {need}; the battery gives up to {peak} "
    "for it.",
    "start_dip.unproven": "The start of {name} ({starting} for {seconds}) brings the "
    "bus down to {value} ({low} to {high}) if the battery is sound, which the readings do not show "
    "yet; {limit} is needed.",
    "start_dip.long": "The start of {name} ({starting} for {seconds}) brings the bus "
    "down to {value} ({low} to {high}) at first, above the {limit} {need}; what it falls further "
    "in a start this long is not known.",
    "long_start.watch": "The start of {names} lasts {most:.0f} s or more: what the battery loses "
    "of its charge in it, and how its resistance grows with the time, was not looked at. The bus "
    "may fall further than is said here: watch its voltage during the start, and break the start "
    "off where it falls too low.",
    "start_circuit.watch": "In the start of {names} up to {value} come from the supply for "
    "{seconds:.2g} s, more than the {limit} of the {which}: a breaker may open in it and leave the "
    "bus without ground power, a cable may get hot. Start it on a circuit and a cable that carry "
    "this, or not at all.",
    "start_dip.watch": "The start of {name} ({starting} for {seconds}) brings the bus "
    "down to {value} ({low} to {high}); {limit} is needed. Start it before the others are on, or "
    "on more supply.",
    "start_alone.note": "The battery covers the start of {names}. Without a sound battery on the "
    "bus it is more than the supply gives: its voltage falls, and what else is on may reset.",
    "start_alone.watch": "The start of {names} is more than the supply gives, and no battery is "
    "known to cover it: the voltage may fall, and what else is on may reset.",
    "battery_alone.note": "Without ground power the battery carries this load for {minutes} "
    "until {until}; the task takes {task}. The whole task would take {depth}, {wear}. Reserve for "
    "the start, {reserve:.0f} %: {source}.",
    "battery_alone.no_load": "Nothing of this task draws current: without ground power the battery "
    "is hardly used.",
    "draws_more.watch": "{name} drew {seen} where {before} was known of it: {more} more "
    "({low} to {high}). It counts with {counted} here. Have it looked at, or correct its entry.",
    "supply_warm.note": "At {value:.0f} °C the supply gives {output} instead of {rated}.",
    "supply_warm.watch": "The rating holds up to {limit:.0f} °C and the air at the supply has "
    "{value:.0f} °C: how much less it gives there is not known. Its maker's papers tell.",
    "wall_circuit_unknown.watch": "What the wall circuit carries is not known: it may trip below "
    "the limits that were looked at. Tell its breaker, and the supply's input current at full load "
    "or its input voltage.",
    "cable_current.watch": "The cable may have to carry {load}, more than the {limit} of a wire "
    "table for copper of its size in a bundle. The table is not of this cable and was not seen: "
    "read what the cable may carry off its marking or in its maker's papers, and give it with the "
    "supply. Until then feel whether cable and plugs get warm.",
    "load_figures.note": "The currents come from no document that was named. Measure them, or take "
    "them from the aircraft's papers.",
}

BEARS, STANDARD_BEARS = "that it bears", "of the power standard"
NEED, STANDARD_NEED = "that it needs", "of the power standard"
"""What follows a bus voltage that the aircraft's papers ask for, and one that none of them told."""

UNTIL = {
    StoppedBy.RESERVE: "only {reserve:.0f} % is left for the start",
    StoppedBy.LEAST_VOLTAGE: "the bus voltage is too low",
}

TIMED, UNTIMED = "about {seconds:.2g} s", "{seconds:.2g} s or so, as nobody told its time"
"""How long a start takes, told and not told."""

DEPTH = "{depth:.0f} % of what it holds when full"
DEPTH_BEYOND = "more than is in it"

WEAR = {
    WearGrade.SHALLOW: "which costs it next to nothing",
    WearGrade.MARKED: "and each such discharge costs it some of its life",
    WearGrade.BELOW_TOP_OFF: "too much to be topped off in place afterwards",
    WearGrade.DEEP: "a deep discharge, which costs it much of its life",
}

HEADLINE_START = " The start of {name} dips the bus to {value}."

BY_READINGS = "the readings say"

BATTERY_COUNTED = "with {draw} for the battery"
BATTERY_NOT_COUNTED = "the battery not counted"

NEXT_STEPS = {
    "leave_off": "Leave off before connecting: {names}.",
    "one_by_one": "Switch on one after another, never together: {starting}. Each start was looked "
    "at with the others running.",
    "expect": "With this on, the supply's ammeter should show about {load} ({low} to {high}); more "
    "means that something else is on.",
    "expect_without": "With this on and no battery the supply's ammeter should show about {load} "
    "({low} to {high}). What is above is the battery's draw, or something else that is on.",
    "wait": "Wait {wait}, and read the ammeter again: by then the draw of the battery should have "
    "fallen far enough for all of it.",
    "settle": "Wait, and read the ammeter again: once the battery draws about {float}, {then}. "
    "When that is, the readings do not tell.",
    "too_much": "Do the task in parts, or use a supply and a circuit that give {short} more.",
}

TEMPERATURES = {
    "battery_temp_c": "temperature at the battery",
    "supply_temp_c": "temperature at the supply",
}

BUDGET_CAUTIONS = (
    "Switch consumers only as the aircraft's manual says, at their switches; never pull a breaker "
    "that the manual forbids to pull.",
    "This is advice. The aircraft's manual governs, and the electrical code of the place governs "
    "the wall circuit.",
    "A ground supply for bus power is not for engine starting.",
)


def tell(key: str, **values: object) -> str:
    """The sentence under a key of `TEXTS` with its values filled in.

    Parameters
    ----------
    key : str
        Rule and variant, such as ``output_limit.ok``.
    **values : object
        By the names in the sentence's braces.

    Returns
    -------
    str
    """
    return TEXTS[key].format(**values)


def need_words(limit: Limit) -> str:
    """Whose the lowest bus voltage is: what the bus needs, else what a standard says.

    Parameters
    ----------
    limit : Limit

    Returns
    -------
    str
    """
    return STANDARD_NEED if limit.generic else NEED


def bears_words(limit: Limit) -> str:
    """Whose the highest bus voltage is: what the bus bears, else what a standard says.

    Parameters
    ----------
    limit : Limit

    Returns
    -------
    str
    """
    return STANDARD_BEARS if limit.generic else BEARS


def amperes(current_a: float) -> str:
    """A current in words: whole amperes from ten on, tenths below.

    Parameters
    ----------
    current_a : float
        [A].

    Returns
    -------
    str

    >>> amperes(17.6), amperes(3.04)
    ('18 A', '3 A')
    """
    rounded = round(current_a) if abs(current_a) >= 10.0 else round(current_a, 1)
    return f"{rounded:g} A"


def amperes_spare(current_a: float) -> str:
    """Current that is left, in words, rounded down.

    Parameters
    ----------
    current_a : float
        [A].

    Returns
    -------
    str

    >>> amperes_spare(17.6), amperes_spare(3.09)
    ('17 A', '3 A')
    """
    steps = 1.0 if current_a >= 10.0 else 10.0
    return f"{floor(steps * current_a + 1e-9) / steps:g} A"


def amperes_short(current_a: float) -> str:
    """Current that is too much, in words, rounded up.

    Parameters
    ----------
    current_a : float
        [A].

    Returns
    -------
    str

    >>> amperes_short(17.2), amperes_short(3.01)
    ('18 A', '3.1 A')
    """
    steps = 1.0 if current_a >= 10.0 else 10.0
    return f"{ceil(steps * current_a - 1e-9) / steps:g} A"


def volts(voltage_v: float) -> str:
    """A voltage in words, to a tenth.

    Parameters
    ----------
    voltage_v : float
        [V].

    Returns
    -------
    str
    """
    return f"{voltage_v:.1f} V"


def lasting_words(minutes: Interval) -> str:
    """How long a battery lasts, in words; no longer than is told (`MOST_MINUTES`).

    Parameters
    ----------
    minutes : Interval
        [min].

    Returns
    -------
    str
        With its range.
    """
    if minutes.low >= MOST_MINUTES:
        return "more than a week"
    if minutes.high >= MOST_MINUTES:
        return f"at least {minutes_words(minutes.low)}"
    return f"{minutes_words(minutes.mean)} ({minutes.low:.0f} to {minutes.high:.0f})"


def about_minutes(minutes: Interval) -> str:
    """A time that is not known to the minute, in words.

    Parameters
    ----------
    minutes : Interval
        [min].

    Returns
    -------
    str
        With its range, where there is one.
    """
    about = f"about {minutes_words(minutes.mean)}"
    if minutes.high - minutes.low < 1.0:
        return about
    return f"{about} ({minutes.low:.0f} to {minutes.high:.0f})"


def listed(names: Iterable[str]) -> str:
    """Names in one phrase.

    Parameters
    ----------
    names : iterable of str

    Returns
    -------
    str

    >>> listed(["Radio", "Lights", "Fan"])
    'Radio, Lights and Fan'
    """
    *before, last = names
    return f"{', '.join(before)} and {last}" if before else last


def settled_words(settled: Settled) -> str:
    """What would hold once the battery's draw has fallen, to stand behind that condition.

    Parameters
    ----------
    settled : Settled

    Returns
    -------
    str
        Without a capital and a full stop.
    """
    room = settled.room
    return SETTLED[settled.verdict].format(
        spare=amperes_spare(room.spare_a),
        short=amperes_short(-room.spare_a),
        limit=amperes(room.limit_a),
        name=room.name,
        off=listed(settled.left_off) if settled.left_off else "",
    )


def supply_words(supply: Supply) -> str:
    """What a supply is called: its name, else its rating.

    Parameters
    ----------
    supply : Supply

    Returns
    -------
    str
    """
    return supply.name or f"the {supply.rated_current_a:g} A supply"
