"""Every sentence the tool says, in one place: templates filled by rules, pages and reports."""

from __future__ import annotations

from batterymodel.inputs.kinds import KindBelief
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.conditions import Condition
from batterymodel.rules.results import ConditionChance, Outcome, Severity

OUTCOME_WORDS = {
    Outcome.TOP_OFF: "Top off in place",
    Outcome.KEEP_WATCHING: "Keep watching",
    Outcome.SERVICE: "Send for servicing",
    Outcome.DISCONNECT: "Disconnect now",
}

OUTCOME_MEANING = {
    Outcome.TOP_OFF: "The supply is only topping off a battery that was nearly full.",
    Outcome.KEEP_WATCHING: "The readings so far do not settle it.",
    Outcome.SERVICE: "Take the battery off the supply and service it by its maker's instructions.",
    Outcome.DISCONNECT: "Take ground power off the battery at once.",
}

TOPPED_OFF_MEANING = "The supply has topped off a battery that was nearly full."

OUTCOME_SIGNS = {
    Outcome.TOP_OFF: "✓",
    Outcome.KEEP_WATCHING: "?",
    Outcome.SERVICE: "!",
    Outcome.DISCONNECT: "✕",
}

SEVERITY_SIGNS = {
    Severity.OK: "✓",
    Severity.NOTE: "i",
    Severity.WATCH: "?",
    Severity.SERVICE: "!",
    Severity.DISCONNECT: "✕",
}

RULE_WORDS = {
    "deep_discharge": "Charge at connection",
    "current_seen": "Fall of the current",
    "other_conditions": "What else it could be",
    "rest_voltage": "Rest voltage",
    "charge_current": "Charging current",
    "supply_at_limit": "Supply at its limit",
    "taper_missing": "Fall of the current",
    "current_rising": "Current rising",
    "battery_temperature": "Battery temperature",
    "temperature_rise": "Temperature rise",
    "set_voltage": "Supply voltage",
    "floor_current": "Current after the taper",
    "capacity": "Capacity",
    "capacity_check_overdue": "Capacity check due",
    "contradiction": "Evidence disagrees",
    "clamp": "Clamp and supply",
    "typing_slip": "Reading that stands alone",
    "clock_back": "Clock of the readings",
    "two_connections": "Two connections in one",
    "supply_trip": "Supply off meanwhile",
    "current_out": "Current out of the battery",
    "undeclared_load_step": "Load change not marked",
    "load_unknown": "Bus load not given",
    "short_window": "Length of readings",
    "taper_shape": "Shape of the taper",
    "wall_circuit": "Wall circuit",
    "charge_confirmed": "Charge confirmed",
    "unlike_any_taper": "Like a battery of its kind",
    "rated_capacity": "Rated capacity",
}

CONDITION_WORDS = {
    Condition.SOUND: "sound",
    Condition.ACCEPTS_LITTLE: "accepts little charge",
    Condition.WORN: "worn",
    Condition.SHORTED_CELL: "shorted cell",
    Condition.LEAK_OR_GASSING: "leaks or gasses",
    Condition.NOTHING_CHARGING: "nothing is charging",
    Condition.OVERHEATING: "overheats",
}

CHECK_WORDS = {
    "temperature": "temperature at the battery",
    "capacity": "present capacity",
    "rest_voltage": "rest voltage",
    "load": "bus load",
    "voltage": "voltage while charging",
}

COLUMN_UNITS = {
    "supply_current_a": "A",
    "battery_current_a": "A",
    "load_a": "A",
    "supply_voltage_v": "V",
    "battery_temp_c": "°C",
}

NOT_CHECKED = "Not checked: {what}."
CONDITIONS_SHOWN = "What fits these readings: {what}."
LEAST_SHOWN_CHANCE = 0.005
"""Least probability of a condition that is named (own choice)."""

SEVERITY_WORDS = {
    "ok": "fine",
    "note": "note",
    "watch": "watch",
    "service": "service",
    "disconnect": "disconnect",
}

AT_LIMIT_WORDS = {
    True: {"was": "was", "still": "is still"},
    False: {"was": "seems to have been", "still": "seems to be still"},
}
"""How sure it is that the supply was at its limit, by whether its rating was told."""

TEXTS = {
    "deep_discharge.ok": "The battery was {mean:.0f} % charged at connection ({low:.0f} to "
    "{high:.0f} %), above the {limit:.0f} % needed to top off in place.",
    "deep_discharge.watch": "Anything from {low:.0f} to {high:.0f} % charge at connection fits the "
    "readings (best value {mean:.0f} %); {limit:.0f} % is needed to top off in place.",
    "deep_discharge.unsure": "The battery was {mean:.0f} % charged at connection ({low:.0f} to "
    "{high:.0f} %), but the chance that it was below the {limit:.0f} % needed to top off in place "
    "is {chance}: too much to be sure.",
    "deep_discharge.service": "The battery was {mean:.0f} % charged at connection ({low:.0f} to "
    "{high:.0f} %), below the {limit:.0f} % needed to top off in place.",
    "deep_discharge.bound": "The supply was at its limit all the time, so the battery was at most "
    "{high:.0f} % charged at connection; the limit is {limit:.0f} %.",
    "current_seen.ok": "The current itself falls as that of a nearly full battery does.",
    "current_seen.level": "The current does not fall by more than its noise. A full battery, a "
    "leak and a broken circuit look the same so. Clamp the battery lead and keep reading.",
    "current_seen.half": "The current has fallen, but a joint or a cell that warms can do as much. "
    "A nearly full battery's falls on, to below {least:.1f} A: keep reading.",
    "current_seen.unsure": "By the current alone, the chance of a charge below {limit:.0f} % is "
    "{value:.0f} %. What was known before is not enough to top off.",
    "other_conditions.ok": "Too low a charge, a shorted cell, a leak or an open circuit would "
    "hardly show these readings (chance {chance}).",
    "other_conditions.ok_but_charge": "A shorted cell, a leak or an open circuit would hardly show "
    "these readings (chance {chance}); the charge is another question.",
    "other_conditions.watch.sound": "A sound battery below the limit may show the same readings "
    "(chance that topping off is wrong {chance}).",
    "other_conditions.watch.accepts_little": "The current may be small because battery or wiring "
    "accepts little, not because the battery is full (chance that topping off is wrong "
    "{chance}). The rest voltage before connecting, or a longer fall, would tell.",
    "other_conditions.watch.worn": "A worn battery that holds far less than its plate may show the "
    "same readings (chance that topping off is wrong {chance}). A capacity check or the "
    "rest voltage would tell.",
    "other_conditions.watch.shorted_cell": "A battery with a shorted cell may show the same "
    "readings (chance that topping off is wrong {chance}). The rest voltage would tell; the "
    "current of such a battery stops falling.",
    "other_conditions.rested.accepts_little": "The current may be small because battery or wiring "
    "accepts little, not because the battery is full (chance that topping off is wrong "
    "{chance}). A longer fall would tell.",
    "other_conditions.rested.worn": "A worn battery that holds far less than its plate may show "
    "the same readings (chance that topping off is wrong {chance}). A capacity check would tell.",
    "other_conditions.rested.shorted_cell": "A battery with a shorted cell may show the same "
    "readings (chance that topping off is wrong {chance}). Keep reading: its current stops "
    "falling.",
    "other_conditions.watch.leak_or_gassing": "A battery that leaks or gasses may show the same "
    "readings (chance that topping off is wrong {chance}). Keep reading: its current stops "
    "falling.",
    "other_conditions.watch.nothing_charging": "The readings fit a bus without its battery: relay, "
    "fuse or a cell may be open (chance that topping off is wrong {chance}). Clamp the "
    "battery lead, or isolate the battery for ten seconds and see whether the meter moves.",
    "other_conditions.watch.overheating": "A battery that overheats may show the same readings "
    "(chance that topping off is wrong {chance}).",
    "charge_confirmed.rest": "The rest voltage confirms a charge above the limit.",
    "charge_confirmed.fall": "The current was seen to fall.",
    "charge_confirmed.fall_then_rise": "The current was seen to fall before it rose.",
    "charge_confirmed.unseen": "Nothing confirms the charge yet: the current has not clearly "
    "fallen. Keep reading, or read the battery's voltage at rest.",
    "unlike_any_taper.fast": "The current falls faster than that of any battery of this kind known "
    "to the tool: check rated capacity, bus load and wiring; a badly worn battery falls so.",
    "unlike_any_taper.slow": "The current falls more slowly than that of any battery of this kind "
    "known to the tool: check bus load, rated capacity and wiring; a battery that accepts little "
    "falls so.",
    "unlike_any_taper.history": "The current does not fall as in this battery's earlier "
    "connections: check load and wiring, and whether the battery was changed.",
    "rated_capacity.watch": "A rated capacity of {value:g} Ah is not usual in a light aircraft "
    "({low:g} to {high:g} Ah): is a decimal point missing? Read the plate again.",
    "rest_voltage.ok": "Rest voltage {value:.2f} V is above the least of {limit:.2f} V.",
    "rest_voltage.watch": "Rest voltage {value:.2f} V is too close to the least of {limit:.2f} V "
    "to tell (chance of being below {chance:.0f} %).",
    "rest_voltage.service": "Rest voltage {value:.2f} V is below the least of {limit:.2f} V: the "
    "battery was deeply discharged or has a failed cell.",
    "charge_current.ok": "The battery takes at most {value:.1f} A, within its {limit:.1f} A.",
    "charge_current.watch": "The battery may take more than its {limit:.1f} A (best value "
    "{value:.1f} A): give the bus load or clamp the battery lead.",
    "charge_current.fallen": "At first the battery took some {value:.1f} A, more than the generic "
    "{limit:.1f} A; it takes less by now. The maker's figure on the limits card would tell whether "
    "that was too much.",
    "charge_current.service": "The battery takes {value:.1f} A, more than its {limit:.1f} A.",
    "supply_at_limit.note": "The supply {was} at its limit for {value:.1f} minutes, then let go.",
    "supply_at_limit.watch": "The supply {still} at its limit after {value:.1f} minutes.",
    "supply_at_limit.service": "The supply {was} at its limit for {value:.1f} minutes (longer than "
    "{limit:.0f}): the battery takes all it can get.",
    "supply_at_limit.unknown": "The supply {was} at its limit for {value:.1f} minutes (longer than "
    "{limit:.0f}); whether battery or bus takes that cannot be told without the bus load: read it "
    "with the battery isolated, or clamp the battery lead.",
    "supply_at_limit.load": "The supply {was} at its limit for {value:.1f} minutes, but the bus "
    "load leaves the battery only {room:.0f} A, so a healthy battery would hold it there too: shed "
    "load and read again.",
    "taper_missing.service": "The battery current hardly falls: {value:.1f} A less over the "
    "readings where a healthy one falls by at least {limit:.1f} A. Unless a bus load was left "
    "out, suspect a shorted cell or a worn battery.",
    "taper_missing.watch": "The current does not fall by more than the meter can tell, and the bus "
    "load is not known: a full battery and one that takes a steady current look alike. Read the "
    "load before the battery joins, or clamp the battery lead.",
    "taper_missing.steps": "The battery current does not seem to fall, but a load changed that "
    "nobody marked: repeat the readings with the loads left alone, or clamp the battery lead.",
    "taper_missing.ok": "The battery current falls, by {value:.1f} A over the readings.",
    "taper_missing.unseen": "The battery current has not clearly fallen yet: a slow taper falls by "
    "{limit:.1f} A over these readings.",
    "current_rising.disconnect": "The battery current rises at constant voltage, by {value:.1f} A "
    "over the last {minutes}, with no load switched on: a sign of thermal runaway.",
    "current_rising.voltage": "The battery current rises by {value:.1f} A over the last "
    "{minutes}, and so does the supply's voltage: hold it constant and read again; "
    "power off if battery or current keep rising.",
    "current_rising.load": "The current rises by {value:.1f} A over the last {minutes}. The "
    "supply's meter cannot tell whether a bus load takes more or the battery begins to run away: "
    "clamp the battery lead or feel for warmth.",
    "current_rising.jump": "The battery current rises by {value:.1f} A, most of it from one "
    "reading to the next: something else than the battery may hang on its lead, or the clamp "
    "moved. Look, read again at once, and power off if the battery warms or the current keeps "
    "rising.",
    "current_rising.small": "The battery current rises by {value:.1f} A over the last "
    "{minutes}, too little to hurt yet: feel for warmth, and power off if it keeps "
    "rising.",
    "battery_temperature.ok": "{of} at {value:.0f} °C, within {low:.0f} to {high:.0f} °C.",
    "battery_temperature.hot": "{of} at {value:.0f} °C, above the {limit:.0f} °C at which "
    "charging must stop.",
    "battery_temperature.was_hot": "The battery reached {value:.0f} °C during the readings, above "
    "the {limit:.0f} °C at which charging must stop.",
    "battery_temperature.cold": "{of} at {value:.0f} °C, below the {limit:.0f} °C at which "
    "charging may begin: a cold battery takes little current and looks fuller than it is.",
    "battery_temperature.unknown": "Battery temperature not given: measure it at the battery.",
    "battery_temperature.asked": "Temperature at the battery not given: a nickel-cadmium battery "
    "is not topped off before it is measured there, since one that warms can run away.",
    "current_out.watch": "The clamp on the battery lead shows {value:.1f} A out of the battery: it "
    "is turned round, or the battery feeds the bus.",
    "typing_slip.tenfold": "The reading at {at:.0f} s says {value:.10g} {unit} between "
    "{before:.10g} and {after:.10g}: is a decimal point missing or too many?{more}",
    "typing_slip.temperature": "The reading at {at:.0f} s says {value:.10g} {unit} between "
    "{before:.10g} and {after:.10g}: is that a slip? Measure again at the battery.{more}",
    "clock_back.watch": "The times go back in some rows, and all rows were sorted: did the clock "
    "step back, or was a time mistyped?",
    "two_connections.watch": "After a pause of {minutes} the current stands at {value:.1f} A at "
    "{at:.0f} s and falls anew: two connections, or a load switched on? Give each connection a "
    "file of its own, or mark what was switched on as an event.",
    "supply_trip.watch": "The supply gave nothing from {at:.0f} to {until:.0f} s, and the battery "
    "fed the bus: find out why, and read a taper without a break.",
    "supply_trip.fell": "The supply gave no more than {most:.1f} A from {at:.0f} to {until:.0f} s, "
    "next to nothing of what it gave else: find out why, and read a taper without a break.",
    "supply_trip.low": "Since {at:.0f} s the supply gives no more than {most:.1f} A, next to "
    "nothing of what it gave: is it on? If it is, the battery takes nothing more. Look and read "
    "again.",
    "supply_trip.ended": "The supply has given nothing since {at:.0f} s: a current of zero is no "
    "full battery; switch it on and read again.",
    "clamp.load": "Supply less clamp differs by {value:.1f} A from the bus load that was given "
    "(at most {limit:.1f} A is the meters'): the clamp misses a lead, or the load is wrong.",
    "clamp.change": "Supply and clamp drift apart by {value:.1f} A (at most {limit:.1f} A is the "
    "meters'): the clamp misses a lead, or the bus load changes.",
    "temperature_rise.service": "The battery warms by {value:.1f} °C a minute, faster than "
    "{limit:.1f} °C a minute.",
    "set_voltage.ok": "The supply's {value:.1f} V suit the battery's temperature ({low:.1f} to "
    "{high:.1f} V).",
    "set_voltage.setting": "The supply's set voltage of {value:.1f} V suits the battery's "
    "temperature ({low:.1f} to {high:.1f} V); the voltage at the battery was not read.",
    "set_voltage.was_high": "The voltage was {value:.1f} V for a minute or more, {by:.1f} V too "
    "high for this battery{at}.",
    "set_voltage.high": "{value:.1f} V is {by:.1f} V too high for this battery{at}.",
    "set_voltage.low": "{value:.1f} V is {by:.1f} V too low to fill this battery{at}: it will stop "
    "short of full.",
    "floor_current.ok": "After the taper {value:.1f} A remains, at most {limit:.1f} A is normal.",
    "floor_current.service": "After the taper {value:.1f} A remains where at most {limit:.1f} A is "
    "normal: leakage, a shorted cell, gassing or a load that was not declared.",
    "floor_current.watch": "After the taper some {value:.1f} A seem to remain where at most "
    "{limit:.1f} A is normal, but the taper may not be over: keep reading.",
    "capacity.ok": "The last capacity check gave {value} % of rated, at least {limit:.0f} % is "
    "asked.",
    "capacity.note": "The last capacity check gave {value} % of rated, close to the "
    "{limit:.0f} % asked: repeat it soon.",
    "capacity.service": "The last capacity check gave {value} % of rated, below the "
    "{limit:.0f} % asked.",
    "capacity_check_overdue.none": "No capacity check on file: the rated capacity is assumed, and "
    "a worn battery is emptier than shown.",
    "capacity_check_overdue.note": "The last capacity check is {age} old; the next has been "
    "due since {since}, by an interval of {limit}.",
    "capacity_check_overdue.ok": "The last capacity check is {age} old; one is due after {limit}.",
    "contradiction.evidence": "The {first} says {first_soc:.0f} % and the {second} says "
    "{second_soc:.0f} %: suspect a shorted cell, a poor connection, a load not declared or a "
    "wrong reading.",
    "contradiction.rest": "Rest voltage {value:.2f} V is below the {limit:.2f} V of an empty "
    "battery, and the current does not tell why: suspect a failed cell, a poor connection or a "
    "wrong reading.",
    "contradiction.load": "The meter shows {value:.1f} A beside the taper where {limit:.1f} A of "
    "load was given: a load is not declared or the taper is hidden.",
    "undeclared_load_step.watch": "The current jumps by {value:+.1f} A at {at:.0f} s with no event "
    "marked there: find the load and mark it as an event.",
    "undeclared_load_step.passing": "A reading jumps by {value:+.1f} A at {at:.0f} s with no event "
    "marked there, but the current does not stay changed: a short load, or a meter that is hard to "
    "read. Leave the loads alone and read on.",
    "load_unknown.note": "The bus load without the battery is not known, which widens every "
    "interval: read the meter before the battery joins, or clamp the battery lead.",
    "short_window.few": "Readings at constant voltage so far: {count}. To tell a taper takes at "
    "least {least} of them.",
    "short_window.both": "Readings at constant voltage so far: {count}, over {value} s. To tell a "
    "taper takes at least {least} of them, over {limit} s.",
    "short_window.late": "The first reading was taken {value:.0f} minutes after connection (later "
    "than {limit:.0f}): what the battery took before is not seen, and it may have been far emptier "
    "than shown. The rest voltage before connecting, or a connection read from its start, tells.",
    "short_window.watch": "The readings at constant voltage cover {value} s so far. To tell a "
    "taper takes at least {limit} s of them.",
    "taper_shape.watch": "The readings scatter {value:.1f} A around the taper, more than the "
    "meter explains ({limit:.1f} A): something else changes on the bus.",
    "wall_circuit.note": "{value:.0f} A is drawn steadily; the wall circuit carries {limit:.0f} A "
    "of output over hours. Shed load, or use a larger circuit.",
}

HEADLINE = "{words}: {reason}"
TOPPING_OFF = (
    "the battery was about {soc:.0f} % charged at connection; some {minutes} of topping off remain."
)
NEARLY_DONE = "the battery was about {soc:.0f} % charged at connection and is full now."

NEXT_STEPS = {
    Outcome.TOP_OFF: (
        "Leave ground power on and read the meter again {wait} after the last reading: the current "
        "must keep falling.",
        "Stop when the current no longer falls; the supply does not stop by itself.",
    ),
    Outcome.KEEP_WATCHING: ("Feel for a warm battery and stop if it warms or the current rises.",),
    Outcome.SERVICE: (
        "Switch ground power off, or isolate the battery from the bus.",
        "Have the battery charged and checked by its maker's instructions: a fixed-voltage supply "
        "watches neither state of charge, temperature nor taper.",
    ),
    Outcome.DISCONNECT: (
        "Switch ground power off now and isolate the battery.",
        "Let the battery cool with the bay ventilated; do not reconnect it.",
        "Have it inspected by licensed maintenance staff by its maker's instructions.",
    ),
}

DOUBT_NOTE = (
    "The current may mislead, so the ranges of the charge and of the time to go are drawn wide: "
    "they hold even if it tells nothing in one case of seven."
)
"""Said of numbers that `rules.doubts` widened."""

KIND_COUNTS = (
    "What is expected of this battery rests on {taught} of {batteries} of its kind on record too "
    "({plate})"
)
KIND_COUNTS_LITTLE = (
    "{taught} of {batteries} of its kind on record ({plate}) make little difference to this answer"
)
KIND_LEFT_OUT = (
    "The current does not fall as {taught} of {batteries} of its kind on record ({plate}) lead to "
    "expect, so these were left out"
)
WITHOUT_KIND = (
    "This answer is given as if {taught} of {batteries} of its kind on record ({plate}) were not "
    "there: with them the outcome would be better, and they may narrow a range but never do that"
)
"""What the answer says of the other batteries of the kind."""


def kind_words(kind: KindBelief, battery: Battery) -> dict[str, str]:
    """What stands in `KIND_COUNTS` and its like.

    Parameters
    ----------
    kind : KindBelief
    battery : Battery

    Returns
    -------
    dict of str to str
        ``taught``, ``batteries`` and ``plate``.
    """
    parts = [(kind.connections, "connection"), (len(kind.checks), "capacity check")]
    counted = [f"{n} {word}{'s' * (n != 1)}" for n, word in parts if n]
    others = "another battery" if kind.batteries == 1 else f"{kind.batteries} other batteries"
    label, plate = data_for(battery.chemistry).label, f"{battery.rated_capacity_ah:g} Ah"
    return {
        "taught": " and ".join(counted),
        "batteries": others,
        "plate": f"{label}, {battery.cells} cells, {plate}",
    }


RISING_STEP = (
    "Feel the battery now: power off if it is warm, or if the current still rises at the next "
    "reading."
)
"""Next step in place of those of `NEXT_STEPS` that keep watching, where the current rises."""

KEEP_READING = "Keep reading meanwhile; the next useful reading is {wait} after the last."

OBSERVATIONS = {
    "read_again": "Keep reading: the next useful reading is {minutes} after the last.",
    "bus_load": "Isolate the battery for ten seconds and read the meter: that is the bus load.",
    "temperature": "Measure the battery's temperature at the battery.",
    "clamp": "Put a clamp meter round the battery lead and read the battery's own current.",
    "rest_voltage": "Isolate the battery, let it rest, and read its voltage.",
    "capacity_check": "Have the battery's capacity checked on the bench.",
    "plate": "Read the rated capacity on the battery's plate again.",
    "set_voltage": "Bring the supply to the battery's voltage and keep it there.",
    "clamp_again": "Check that the clamp encloses every lead of the battery and is the right way "
    "round.",
    "load_change": "Find what was switched and mark it as an event in the readings.",
    "less_load": "Switch off what the bus can spare.",
    "supply_on": "Find out why the supply gives nothing, switch it on, and read again.",
}
"""What to observe or set right next, by its name."""

TOLD_TEMPERATURE = "Battery or air around it, as told,"
"""Whose temperature it is where none was measured at the battery."""

OBSERVATION_REASONS = {
    "read_again": "a longer fall tells a full battery from one that takes little",
    "rise": "a current that rises on means power off",
    "bus_load": "it tells what the battery takes from what the bus takes",
    "temperature": "a battery that is too hot or too cold must not be charged",
    "clamp": "it shows what the battery itself takes",
    "rest_voltage": "it tells a full battery from a low one",
    "capacity_check": "it tells a worn battery from a sound one",
    "plate": "all figures rest on it",
    "set_voltage": "at another voltage the current does not tell the charge",
    "clamp_again": "what it shows does not fit the supply's meter",
    "load_change": "until then the change may hide the taper",
    "less_load": "the bus load leaves the battery too little",
    "supply_on": "while it is off nothing charges, and a current of zero tells no charge",
}

OBSERVATION_WHY = {
    "needed": "Without it the battery cannot be topped off: {reason}.",
    "gain": "The chance of a wrong decision should fall from {now} to {after}: {reason}.",
    "most": "It tells most now: {reason}.",
}


NEXT_STEPS_FULL = (
    "Take ground power off the battery when the aircraft no longer needs it: topping off is done.",
    "A current that rises from here on, or a battery that warms, means power off at once.",
)

SHORT_CAUTIONS = (
    "Advice only: the aircraft's manual and the maker's instructions govern.",
    "Ventilate; no sparks.",
    "Not for engine starting.",
)

CAUTIONS = (
    "This is advice. The aircraft's manual and the battery maker's instructions govern, and work "
    "on batteries belongs to licensed maintenance staff.",
    "Charging makes explosive gas: ventilate the battery bay and keep sparks and flames away.",
    "A ground supply for bus power is not for engine starting.",
)

NICD_CAUTION = (
    "A nickel-cadmium battery that warms while its current rises can run away: take power off."
)

GENERIC_MARK = "generic"


def source_words(source: str | None, generic: bool) -> str:
    """Where a limit comes from, marked where it is no maker's.

    Parameters
    ----------
    source : str, optional
    generic : bool

    Returns
    -------
    str
    """
    return f"{GENERIC_MARK}; {source or ''}".rstrip("; ") if generic else source or ""


def meaning_of(outcome: Outcome, *, topped_off: bool = False) -> str:
    """What an outcome means, in one sentence.

    Parameters
    ----------
    outcome : Outcome
    topped_off : bool
        Whether topping off is done (`rules.results.is_topped_off`).

    Returns
    -------
    str
    """
    return TOPPED_OFF_MEANING if topped_off else OUTCOME_MEANING[outcome]


def say(key: str, **values: object) -> str:
    """The sentence under a key of `TEXTS` with its values filled in.

    Parameters
    ----------
    key : str
        Rule and variant, such as ``deep_discharge.ok``.
    **values : object
        By the names in the sentence's braces.

    Returns
    -------
    str
    """
    return TEXTS[key].format(**values)


def chance_words(probability: float) -> str:
    """A probability in percent, never as none or all; a tenth only below one percent.

    Parameters
    ----------
    probability : float
        [0..1].

    Returns
    -------
    str
    """
    percent = 100.0 * probability
    if percent < 0.1:
        return "under 0.1 %"
    if percent > 99.0:
        return "over 99 %"
    return f"{percent:.1f} %" if percent < 0.95 else f"{percent:.0f} %"


def not_checked_words(names: tuple[str, ...]) -> str:
    """What was not checked, in one sentence; empty where everything was.

    Parameters
    ----------
    names : tuple of str
        Keys of `CHECK_WORDS`.

    Returns
    -------
    str
    """
    what = ", ".join(CHECK_WORDS[name] for name in names)
    return NOT_CHECKED.format(what=what) if names else ""


def conditions_words(conditions: tuple[ConditionChance, ...]) -> str:
    """Conditions that fit the readings with their chance, in one sentence; empty without any.

    Parameters
    ----------
    conditions : tuple of ConditionChance

    Returns
    -------
    str
        Those below `LEAST_SHOWN_CHANCE` are left out.
    """
    what = ", ".join(
        f"{CONDITION_WORDS[c.name]} {chance_words(c.probability)}"
        for c in conditions
        if c.probability >= LEAST_SHOWN_CHANCE
    )
    return CONDITIONS_SHOWN.format(what=what) if what else ""


def doubts(
    outcome: Outcome, names: tuple[str, ...], conditions: tuple[ConditionChance, ...]
) -> tuple[str, ...]:
    """What was not checked; and what else fits, while power is still to stay on.

    Parameters
    ----------
    outcome : Outcome
    names : tuple of str
        What was not checked: keys of `CHECK_WORDS`.
    conditions : tuple of ConditionChance

    Returns
    -------
    tuple of str
        One sentence each.
    """
    staying = outcome in (Outcome.TOP_OFF, Outcome.KEEP_WATCHING)
    said = (not_checked_words(names), conditions_words(conditions) if staying else "")
    return tuple(words for words in said if words)


def minutes_words(minutes: float) -> str:
    """Whole minutes in words.

    Parameters
    ----------
    minutes : float

    Returns
    -------
    str

    >>> minutes_words(1.2), minutes_words(8.0)
    ('1 minute', '8 minutes')
    """
    return f"{minutes:.0f} minute" + "s" * (f"{minutes:.0f}" != "1")
