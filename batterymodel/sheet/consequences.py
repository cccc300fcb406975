"""What the owner is asked and what follows if nothing is done, by the finding that decided.

A `Consequence` stands under the outcome alone and, where that says too much or too little, under
the outcome with the rule that decided. `consequence_of` is the one way to them.
"""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.inputs.records import Battery, Chemistry
from batterymodel.rules.results import Assessment, Outcome
from batterymodel.say.connection import percent

HALF = 0.5
"""State of charge up to which a battery is called half empty [0..1] (the word's own meaning)."""

LEAD_ACID = (Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA)
TOPPED_OFF = "topped_off"
"""In place of a rule: nothing speaks against topping off, and it is done."""


@dataclass(frozen=True)
class Consequence:
    """The question to the owner, the answers to it, and what happens if nothing is done."""

    asked: str
    choices: tuple[str, ...]
    nothing: tuple[str, ...]


IN_FLIGHT = "In flight it may run down too soon when the generator fails."
NOT_KNOWN = "If the readings stop here, no one knows if the battery is fit."
MAY_HOLD_LITTLE = "It may hold too little when the generator fails in flight."
UNWATCHED = (
    "Left on with no one to watch, it may be charged too long: the supply does not stop by itself."
)
TOO_HARD = "On this supply the battery may be charged too hard, grow hot, or never get full."

_WATCHING = (
    "Yes, keep watching and tell me the outcome.",
    "No, stop here and send the battery for service.",
)

_OUTCOMES = {
    Outcome.TOP_OFF: Consequence(
        "May ground power stay on until the current stops falling?",
        ("Yes, top off in place.", "No, take ground power off now."),
        (
            "Taken off now, the battery stays at about {now}. It can be topped off later.",
            UNWATCHED,
        ),
    ),
    Outcome.KEEP_WATCHING: Consequence(
        "May ground power stay on while the meter is watched?",
        _WATCHING,
        (NOT_KNOWN, MAY_HOLD_LITTLE),
    ),
    Outcome.SERVICE: Consequence(
        "May the battery be taken off the supply and sent for service?",
        (
            "Yes, send the battery for service.",
            "Measure once more first.",
            "Not now. The battery stays off ground power.",
        ),
        (TOO_HARD, IN_FLIGHT),
    ),
    Outcome.DISCONNECT: Consequence(
        "The battery is off the supply, or must be now. May it be sent to be inspected?",
        (
            "Yes, have the battery inspected.",
            "Replace the battery by the maker's instructions.",
            "Not now. The battery stays off ground power.",
        ),
        (
            "Do not wait. Left on, the battery can overheat, leak, or burn.",
            "It must not fly like this.",
        ),
    ),
}

_ASKED = {
    (Outcome.TOP_OFF, TOPPED_OFF): "May ground power be taken off when the aircraft no longer "
    "needs it?",
    (Outcome.KEEP_WATCHING, "set_voltage"): "May ground power stay on once its voltage is set to "
    "that of the battery?",
    (Outcome.KEEP_WATCHING, "battery_temperature"): "May ground power stay on while the warmth of "
    "the battery is measured?",
    (Outcome.KEEP_WATCHING, "current_rising"): "May ground power stay on as long as someone stays "
    "with it and is ready to switch off?",
    (Outcome.KEEP_WATCHING, "supply_trip"): "May ground power be used again once it is known why "
    "it went off?",
    (Outcome.KEEP_WATCHING, "rated_capacity"): "May ground power stay on while the plate of the "
    "battery is read again?",
}

_CHOICES = {
    (Outcome.TOP_OFF, TOPPED_OFF): ("Yes, take it off then.", "No, take it off now."),
    (Outcome.KEEP_WATCHING, "set_voltage"): (
        "Yes, set the voltage and keep watching.",
        "No, stop here and send the battery for service.",
    ),
    (Outcome.KEEP_WATCHING, "supply_trip"): (
        "Yes, find out why, then read anew.",
        "No, stop here and send the battery for service.",
    ),
}

_NOTHING = {
    (Outcome.TOP_OFF, TOPPED_OFF): (
        "Taken off now, the battery stays at about {now}.",
        UNWATCHED,
    ),
    (Outcome.KEEP_WATCHING, "set_voltage"): (
        "At this voltage the battery stops short of full.",
        MAY_HOLD_LITTLE,
    ),
    (Outcome.KEEP_WATCHING, "battery_temperature"): (
        "As long as no one knows how warm the battery is, it may grow too hot.",
        NOT_KNOWN,
    ),
    (Outcome.KEEP_WATCHING, "charge_current"): (
        "If it takes more than it may, the battery may grow hot and wear.",
        NOT_KNOWN,
    ),
    (Outcome.KEEP_WATCHING, "current_rising"): (
        "If it is the battery that takes more and more, it can overheat.",
        NOT_KNOWN,
    ),
    (Outcome.SERVICE, "battery_temperature"): (
        "Charged too cold, the battery may be harmed, and it looks fuller than it is.",
        IN_FLIGHT,
    ),
    (Outcome.SERVICE, "temperature_rise"): ("Left on, the battery may grow too hot.",),
    (Outcome.SERVICE, "charge_current"): ("Charged so hard, the battery may grow hot and wear.",),
    (Outcome.SERVICE, "set_voltage"): (
        "At such a voltage a battery is charged too hard. It may grow hot and wear.",
    ),
    (Outcome.SERVICE, "floor_current"): (
        "Left on, the battery may grow hot. Left off, it may run down by itself.",
        IN_FLIGHT,
    ),
    (Outcome.SERVICE, "taper_missing"): (
        "Left on, the battery may grow hot and never get full.",
        IN_FLIGHT,
    ),
    (Outcome.SERVICE, "rest_voltage"): (
        "If a cell has failed, the supply cannot mend it: the battery may grow hot.",
        IN_FLIGHT,
    ),
    (Outcome.SERVICE, "capacity"): (
        "Even when it is full it gives less than is asked. No supply can mend that.",
        IN_FLIGHT,
    ),
}

HALF_EMPTY = "A lead battery that is left half empty for weeks loses capacity for good."
MAYBE_HALF_EMPTY = "It may hold as little as {low}. " + HALF_EMPTY


def deciding(assessment: Assessment) -> str:
    """The rule whose finding decided the outcome.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    str
        For *Top off in place*, which no finding decides, `TOPPED_OFF` or nothing.
    """
    if assessment.outcome is Outcome.TOP_OFF:
        return TOPPED_OFF if assessment.is_topped_off else ""
    return assessment.findings[0].rule


def consequence_of(assessment: Assessment, battery: Battery) -> Consequence:
    """What the owner is asked, may answer, and has to expect.

    Parameters
    ----------
    assessment : Assessment
    battery : Battery
        A lead battery that may be half empty must not be left so.

    Returns
    -------
    Consequence
    """
    usual, key = _OUTCOMES[assessment.outcome], (assessment.outcome, deciding(assessment))
    now = percent(assessment.state_of_charge.now)[0]
    nothing = [said.format(now=now) for said in _NOTHING.get(key, usual.nothing)]
    return Consequence(
        _ASKED.get(key, usual.asked),
        _CHOICES.get(key, usual.choices),
        (*nothing, *_left_low(assessment, battery)),
    )


def _left_low(assessment: Assessment, battery: Battery) -> list[str]:
    """What a lead battery loses that stays as low as this one may be; nothing of one that is not.

    A battery whose power must come off at once has graver things to expect.
    """
    now = assessment.state_of_charge.now
    spared = battery.chemistry not in LEAD_ACID or assessment.outcome is Outcome.DISCONNECT
    if spared or now.low > HALF:
        return []
    if now.mean <= HALF:
        return [HALF_EMPTY]
    return [MAYBE_HALF_EMPTY.format(low=f"{100 * now.low:.0f} %")]
